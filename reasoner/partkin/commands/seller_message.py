"""A message to a seller: few questions, a sketch with letters, and no word of the trade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap

from partkin.commands.asking_next import READING, next_for
from partkin.model.build import Build, Feature, Part
from partkin.model.verdict import Unknown, Verdict
from partkin.model.words import NOT_ENOUGH, NOT_JUDGED, SIDES
from partkin.positions.asking_for import WHICH_LAYOUT, tells_mirror_image
from partkin.readings.asked_together import (
    ExpectedPlaces,
    asked_together,
    expected_places,
    sketch_of,
    supposed_features,
)
from partkin.readings.next_readings import Next
from partkin.readings.record_command import record_command, side_commands

MOST_QUESTIONS = 3
MEASURED = ("centres", "across", "length")
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
NUMBERS = ("none", "one question", "two short questions", "three short questions", "four short questions",
           "five short questions", "six short questions")  # fmt: skip

EITHER = "as it is drawn here or turned over (that is what I would like to know)"
SHOWN = {
    "inside": "Look at the back, the side that is hidden when it is fitted",
    "outside": "Look at the side that shows when it is fitted",
    None: "Look at the side that shows when it is fitted",
}
FIRST_LOOK = (
    "Could you take a picture of the whole back, straight on and not from the side, with a ruler or tape lying flat "
    "along its longest edge?",
    "How many holes, pins and clips hold it? Please mark them on the picture, and write how far apart the two "
    "outermost are, from middle to middle, in millimetres: _____",
    "Is there a number on it, on a label or in the moulding? _____",
)


@dataclass(frozen=True)
class Message:
    """The message, and what it means for you: letters by feature, and how to take the answers down."""

    text: str
    notes: tuple[str, ...]


def message_to_seller(
    build: Build, donor: str, host: str | None = None, *, folder: str = ".", most: int = MOST_QUESTIONS,
    at_hand: bool | None = None,
) -> tuple[Message | None, Verdict]:  # fmt: skip
    """Write to the seller of a donor, of which nothing need be listed yet.

    `build`, `donor`, `host`: as with `pipeline.check`. `folder`: for the commands that take the answers down. `most`:
    questions at most. `at_hand`: as with `next_for`. Returns tuple of Message or None, Verdict: None where nothing
    needs to be asked of the donor; and how it stands now.
    """
    found = next_for(build, donor, host, at_hand)
    supposed = supposed_features(found.known)
    listed = found.known.donor.features
    if not supposed and not listed and found.verdict.verdict == NOT_ENOUGH:
        return _first_look(found.known.donor.part, most), found.verdict
    if not supposed or found.verdict.verdict == NOT_JUDGED:
        return message_for(found, folder, most), found.verdict
    asked = next_for(replace(build, features=(*build.features, *supposed)), donor, host, at_hand)
    message = message_for(asked, folder, most)
    if message is not None and not listed:
        rows = "; ".join(f"{row.part},{row.feature},{row.kind}" for row in supposed)
        first = f"Nothing of {donor} is listed. Before you take answers down, add to features.csv what it has: {rows}"
        message = replace(message, notes=(*message.notes, first))
    return message, found.verdict


def _first_look(donor: Part, most: int) -> Message:
    """Ask for what shows which holes and pins there are, where none is listed on either side."""
    wanted = FIRST_LOOK[:most]
    lines = _opening(donor.name or "part", len(wanted))
    for number, one in enumerate(wanted, start=1):
        lines += wrap(one, WIDTH, initial_indent=f"{number}. ", subsequent_indent="   ")
    note = (
        f"For you, not for the seller: list what the pictures show of {donor.part} in features.csv, a row for each "
        f"hole, slot and pin, and the fixings that it goes onto; then ask again for the distances that tell most"
    )
    return Message("\n".join([*lines, "", "Thank you!"]) + "\n", (note,))


def message_for(found: Next, folder: str, most: int = MOST_QUESTIONS) -> Message | None:
    """Write to the seller, `most` questions at most; None where nothing needs to be asked of the donor.

    `folder`: for the commands that take the answers down.
    """
    questions = _questions(found, most)
    if not questions:
        return None
    kinds = {row.feature: row for row in found.known.donor.features}
    letters = _letters(questions, kinds)
    donor = found.known.donor.part
    lines = _opening(donor.name or "part", len(questions))
    for number, one in enumerate(questions, start=1):
        asked = _question(one, letters, kinds, SHOWN[donor.seen_from])
        lines += wrap(asked, WIDTH, initial_indent=f"{number}. ", subsequent_indent="   ")
    if any(one.quantity == "centres" for one in questions):
        lines += ["", *wrap(HOW, WIDTH)]
    turned = any(map(tells_mirror_image, questions))
    lines += _drawn(expected_places(found), letters, donor.name or "part", EITHER if turned else FACES[donor.seen_from])
    lines += ["", "Thank you!"]
    return Message("\n".join(lines) + "\n", _notes(found, questions, letters, folder))


def _drawn(likely: ExpectedPlaces | None, letters: Mapping[str, str], name: str, face: str) -> list[str]:
    """The sketch, with what it rests on; nothing where something asked about has no place in it."""
    if likely is None:
        return []
    at = {name: (float(x[0]), float(x[1])) for name, x in zip(likely.features, likely.at_mm, strict=True)}
    sketch = sketch_of(at, letters)
    if not sketch:
        return []
    lines = ["", *wrap(_laid_out(likely, letters, name, face), WIDTH), "", *sketch]
    if any(name not in letters for name in likely.features):
        lines += ["", "o: other holes and pins, to find your way by"]
    return lines


def _laid_out(likely: ExpectedPlaces, letters: Mapping[str, str], name: str, face: str) -> str:
    """What the sketch rests on, where that is not the part itself."""
    if likely.source == "nothing":
        return (
            f"Where the holes of the {name} are I do not know yet. Here the letters only go round it in order, not to "
            f"scale. If yours stand otherwise, please write the letters on a picture of it:"
        )
    if likely.source == "host":
        return f"The {name}, laid out after the part that it would replace, not to scale, {face}:"
    guessed = [letter for feature, letter in letters.items() if feature not in likely.measured]
    expected = f" ({' and '.join(guessed)} only where I expect it)" if guessed else ""
    return f"The {name}{expected}, {face}:"


HOW = (
    "Please measure in a straight line from middle to middle, with a tape or ruler, as exactly as you can read it "
    "(half a millimetre if possible). If the part is curved, hold the tape straight and not along the curve."
)


def _questions(found: Next, most: int) -> list[Unknown]:
    """What no other answer can stand in for, the distances that tell most together, then which way round it is."""
    donor = found.verdict.donor
    needed = [
        one for one in found.needed
        if one.part == donor
        and (one.quantity == "seen_from" or (one.from_feature and one.quantity in (*MEASURED, *SIDES)))
    ]  # fmt: skip
    alone = [one for one in needed if one.quantity not in SIDES and not _is_place(one)]
    sides = [one for one in needed if one.quantity in SIDES]
    open_places = any(map(_is_place, needed)) or bool(found.findings is not None and found.findings.asks)
    # Something is learnt of where the holes are, however many sizes are wanted.
    first = alone[: max(1, most // 2) if open_places else most]
    apart = asked_together(found, most - len(first)) if open_places else ()
    distances = [Unknown("", "", donor, one.quantity, one.from_feature, one.to_feature or None) for one in apart]
    return [*first, *distances, *sides][:most]


def _is_place(one: Unknown) -> bool:
    """Whether a distance is wanted for where a feature is: others would tell as well."""
    return one.quantity == "centres" and not one.what.startswith((READING, WHICH_LAYOUT))


def _opening(name: str, count: int) -> list[str]:
    much = NUMBERS[count] if count < len(NUMBERS) else f"{count} short questions"
    return [*wrap(f"Hello, before I buy the {name} I would like to be sure that it fits. I have {much}:", WIDTH), ""]


def _letters(questions: Sequence[Unknown], kinds: Mapping[str, Feature]) -> dict[str, str]:
    """Letters of the features that are asked about, in the order of the questions."""
    names: list[str] = []
    for one in questions:
        beside = (one.to_feature or "").split()
        ends = (*beside, one.from_feature) if one.quantity in SIDES else (one.from_feature, *beside)
        names += [end for end in ends if end is not None and end in kinds]
    return dict(zip(dict.fromkeys(names), LETTERS, strict=False))


def _question(one: Unknown, letters: Mapping[str, str], kinds: Mapping[str, Feature], look: str) -> str:
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
        if one.quantity in MEASURED and one.part and one.from_feature:
            command = record_command(one.part, one.quantity, one.from_feature, one.to_feature or "", "seller", folder)
            notes.append(f"  {number}. {command}")
        elif one.quantity in SIDES:
            first, second = side_commands(one, folder)
            notes += [f"  {number}. {first}", f"     {second}"]
        else:
            notes.append(f"  {number}. {one.says}")
    return tuple(notes)
