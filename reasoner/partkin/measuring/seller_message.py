"""A message to a seller: three questions at most, a sketch with letters, and no word of the trade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap

import numpy as np

from partkin.judging.trying import in_layouts
from partkin.measuring.asking_next import MOST_FOR_A_SELLER, Next, for_seller, record_command, side_commands
from partkin.measuring.next_readings import as_unknown
from partkin.measuring.text_sketch import sketch_of
from partkin.model.build import Feature
from partkin.model.fitting import Placement
from partkin.model.reasons import Unknown
from partkin.model.words import SIDES

WIDTH = 72
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
CALLED = {
    "hole": "hole", "slot": "long hole", "tapped hole": "threaded hole", "captive nut": "nut", "stud": "threaded pin",
    "peg": "pin", "peg hole": "hole", "clip": "clip", "clip hole": "hole",
}  # fmt: skip
FACES = {
    "outside": "seen from the side that shows when it is fitted",
    "inside": "seen from the back, the side that is hidden when it is fitted",
    None: "as it is drawn here; on your part it may be the other way round",
}

EITHER = "as it is drawn here or turned over (that is what I would like to know)"
SHOWN = {
    "inside": "Look at the back, the side that is hidden when it is fitted",
    "outside": "Look at the side that shows when it is fitted",
    None: "Look at the side that shows when it is fitted",
}


@dataclass(frozen=True)
class Message:
    """The message, and what it means for you: letters by feature, and how to take the answers down."""

    text: str
    notes: tuple[str, ...]


def message_for(found: Next, folder: str) -> Message | None:
    """Write to the seller; None where nothing needs to be asked of the donor."""
    questions = _questions(found)
    if not questions:
        return None
    kinds = {row.feature: row for row in found.known.donor.features}
    letters = _letters(questions, kinds)
    donor = found.known.donor.part
    lines = _opening(donor.name or "part", len(questions))
    for number, one in enumerate(questions, start=1):
        lines += wrap(
            _question(one, letters, kinds, SHOWN[donor.seen_from]),
            WIDTH,
            initial_indent=f"{number}. ",
            subsequent_indent="   ",
        )
    if any(one.quantity == "centres" for one in questions):
        lines += ["", *wrap(HOW, WIDTH)]
    drawn = _places(found, list(letters))
    sketch = sketch_of(drawn, letters)
    if sketch:
        turned = any(one.quantity in SIDES for one in questions)
        lines += ["", *wrap(f"The {donor.name or 'part'}, {EITHER if turned else FACES[donor.seen_from]}:", WIDTH), ""]
        lines += sketch
        if any(name not in letters for name in drawn):
            lines += ["", "o: other holes and pins, to find your way by"]
    lines += ["", "Thank you!"]
    return Message("\n".join(lines) + "\n", _notes(found, questions, letters, folder))


HOW = (
    "Please measure in a straight line from middle to middle, with a tape or ruler, as exactly as you can read it "
    "(half a millimetre if possible). If the part is curved, hold the tape straight and not along the curve."
)


def _questions(found: Next) -> list[Unknown]:
    """What is needed, with what tells a place from its mirror image at once; then what is wanted."""
    trial = found.findings.trial if found.findings is not None else None
    thirds = {(m.from_feature, m.to_feature): m.third for m in trial.missing if m.third} if trial is not None else {}
    questions: list[Unknown] = []
    for one in found.needed:
        if _askable(one, found.verdict.donor):
            questions.append(one)
            third = thirds.get((one.from_feature, one.to_feature))
            if third is not None:
                says = f"the distance from {one.from_feature} to {third} tells which of two places it has"
                questions.append(Unknown(one.what, says, one.part, "centres", one.from_feature, third))
    return [*questions, *map(as_unknown, for_seller(found))][:MOST_FOR_A_SELLER]


def _askable(one: Unknown, donor: str) -> bool:
    if one.part != donor or one.quantity not in ("centres", "across", "length", *SIDES, "seen_from"):
        return False
    return one.quantity == "seen_from" or one.from_feature is not None


def _opening(name: str, count: int) -> list[str]:
    much = {1: "one question", 2: "two short questions", 3: "three short questions"}[count]
    return [*wrap(f"Hello, before I buy the {name} I would like to be sure that it fits. I have {much}:", WIDTH), ""]


def _letters(questions: Sequence[Unknown], kinds: Mapping[str, Feature]) -> dict[str, str]:
    """Letters of the features that are asked about, in the order of the questions."""
    names: list[str] = []
    for one in questions:
        beside = (one.to_feature or "").split()
        ends = (*beside, one.from_feature) if one.quantity in SIDES else (one.from_feature, *beside)
        names += [end for end in ends if end is not None and end in kinds]
    return dict(zip(dict.fromkeys(names), LETTERS, strict=False))


def _question(
    one: Unknown, letters: Mapping[str, str], kinds: Mapping[str, Feature], look: str
) -> str:
    def the(name: str | None) -> str:
        return f"{CALLED[kinds[name].kind]} {letters[name]}" if name is not None and name in letters else "the part"

    if one.quantity == "across":
        return f"How wide is {the(one.from_feature)} across, in millimetres? _____"
    if one.quantity == "length":
        return f"How long is {the(one.from_feature)}, from end to end, in millimetres? _____"
    if one.quantity == "seen_from":
        return "Your picture or your measures: were they taken from the side that shows when fitted, or from the back?"
    if one.quantity in SIDES:
        begin, end = (one.to_feature or " ").split(" ")
        return (
            f"{look}, and go from {the(begin)} to {the(end)}: is {the(one.from_feature)} on your left or on your right?"
        )
    ends = f"the middle of {the(one.from_feature)} to the middle of {the(one.to_feature)}"
    return f"How far is it from {ends}, in millimetres? _____"


def _notes(found: Next, questions: Sequence[Unknown], letters: Mapping[str, str], folder: str) -> tuple[str, ...]:
    notes = ["For you, not for the seller: " + ", ".join(f"{letter} is {name}" for name, letter in letters.items())]
    for number, one in enumerate(questions, start=1):
        if one.quantity in ("centres", "across", "length") and one.part and one.from_feature:
            command = record_command(one.part, one.quantity, one.from_feature, one.to_feature or "", "seller", folder)
            notes.append(f"  {number}. {command}")
        elif one.quantity in SIDES:
            first, second = side_commands(one, folder)
            notes += [f"  {number}. {first}", f"     {second}"]
        else:
            notes.append(f"  {number}. {one.says}")
    return tuple(notes)


def _places(found: Next, asked: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Where to draw each feature, in the donor's frame; what has no place where it has to be, if that is known."""
    if found.places is None:
        return {}
    trial = found.findings.trial if found.findings is not None else None
    places = in_layouts(found.places, trial.layouts) if trial is not None else found.places
    donor = places.donor
    at = {name: (float(x[0]), float(x[1])) for name, x in zip(donor.features, donor.xyz_mm, strict=True)}
    if trial is None or all(name in at for name in asked):
        return at
    onto_host = _partners(found)
    if not at:
        return {name: place for name, place in onto_host.items()}
    placement = trial.answer.placement
    if isinstance(placement, Placement) and len(at) > 1:
        back = np.linalg.inv(np.array(placement.matrix))
        for name, (x, y) in onto_host.items():
            if name not in at:
                place = back @ np.array([x, y, 0.0, 1.0])
                at[name] = (float(place[0]), float(place[1]))
    return at


def _partners(found: Next) -> dict[str, tuple[float, float]]:
    """Host places of the donor features that have one fixing only to go on."""
    assert found.places is not None and found.findings is not None and found.findings.trial is not None
    host, shown = found.places.host, found.places.hosted.placed_by
    options = found.findings.trial.task.options
    at = {}
    for row in found.known.donor.features:
        fixings = [o.fixing for o in options if o.feature == row.feature]
        if len(fixings) == 1 and shown.get(fixings[0]) in host.features:
            x = host.xyz_mm[host.features.index(shown[fixings[0]])]
            at[row.feature] = (float(x[0]), float(x[1]))
    return at
