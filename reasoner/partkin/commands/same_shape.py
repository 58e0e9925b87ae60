"""A listing's photograph against the host's pattern: are they different, or may they be the same?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

from partkin.graph import known_of
from partkin.model.build import Build, Part
from partkin.model.known import Known, Side
from partkin.model.problem import refused
from partkin.model.words import folded
from partkin.photo.photo import undistorted
from partkin.photo.sameness import PhotoAnswer, can_match
from partkin.readings.picks import camera_of, checked_error_px, read_picks
from partkin.readings.record_command import record_command
from partkin.readings.typed_readings import Faults
from partkin.trial import trying
from partkin.trial.trying import Places

PLAY_MM = 2.0
FLAT_WITHIN_MM = 1.0
ANSWERS = {
    "different": "[x] DIFFERENT", "agrees": "[?] THE SHAPE AGREES, SIZE UNKNOWN", "four points": "[?] TOO FEW POINTS",
    "not tried": "[?] NOT TOLD",
}  # fmt: skip


class ShapeQuestion(NamedTuple):
    """What was asked: `part`, a host or a donor of it; `face` of the part that the picture shows, where known."""

    part: str
    image: Path
    points: Path
    face: str | None = None
    play_mm: float = PLAY_MM
    error_px: float = 1.5
    camera: str | None = None
    corrected: bool = False


@dataclass(frozen=True)
class Compared:
    """The answer, with the host that it is about, what each fixing is called, and the donor's features."""

    host: str
    donor: str | None
    answer: PhotoAnswer
    sought: bool
    notes: tuple[str, ...]
    called: tuple[tuple[str, str], ...] = ()
    donors_own: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class _Pattern:
    host: str
    donor: str | None
    donors_own: frozenset[str]
    names: tuple[str, ...]
    at_mm: np.ndarray
    slack_mm: np.ndarray
    face: str | None
    also_called: Mapping[str, str]
    notes: tuple[str, ...]
    unsettled: str | None


def compare(build: Build, asked: ShapeQuestion) -> Compared:
    """Test whether a picture without scale can be one of the host's pattern.

    `asked`: picks may have the names of the fixings, of the donor's features that go on them, or any other names: then
    which shows which is sought.

    Raises
    ------
    FaultyInput
        The part, the picture or the picks cannot be used.
    """
    faults = Faults("same-shape")
    picks = faults.kept(read_picks, asked.image, asked.points)
    patterns = faults.kept(_patterns, build, asked)
    faults.kept(checked_error_px, "same-shape", asked.error_px)
    if not 0.0 <= asked.play_mm < 1000.0:
        faults.add("play", f"a play of {asked.play_mm:g} mm cannot be", "Say how far a hole may be off, about 2")
    camera = faults.kept(camera_of, asked.camera) if asked.camera is not None else None
    faults.raise_any()
    if picks is None or patterns is None:
        raise AssertionError("both are there, or a fault says why not")
    at_px = np.array(list(picks.at_px.values()))
    lens_free = asked.corrected
    if camera is not None:
        try:
            at_px, lens_free = undistorted(camera, at_px), True
        except ValueError as fault:
            raise _refused("camera", str(fault), "See that the calibration is of this camera at this size") from None
    found = [_held_against(pattern, asked, list(picks.at_px), at_px, lens_free) for pattern in patterns]
    alike = [one for one in found if one.answer.answer != "different"]
    if len(alike) < len(found):
        return _where_some_differ(found, alike, patterns[0].unsettled)
    return found[0]


def _where_some_differ(found: list[Compared], alike: list[Compared], unsettled: str | None) -> Compared:
    """A picture differs from the host only if it differs from every layout that the readings allow."""
    host = found[0].host
    if alike:
        note = f"The readings of {host} leave {len(found)} layouts, and {len(alike)} may be what the picture shows."
        return replace(alike[0], notes=(*alike[0].notes, note))
    if unsettled is None:
        return found[0]
    says = f"It looks different, but the readings of {host} are not settled: {unsettled}"
    return replace(found[0], answer=PhotoAnswer("not tried", says))


def _held_against(
    pattern: _Pattern, asked: ShapeQuestion, picked: list[str], at_px: np.ndarray, lens_free: bool
) -> Compared:
    same_face = None if asked.face is None or pattern.face is None else asked.face == pattern.face
    names = [name if name in pattern.names else pattern.also_called.get(name) for name in picked]
    meant = [name if name in pattern.names else None for name in names]
    told = all(meant) and len(set(meant)) == len(meant)
    rows = [pattern.names.index(name or "") for name in meant] if told else list(range(len(pattern.names)))
    answer = can_match(
        pattern.at_mm[rows], at_px, asked.error_px, [pattern.names[row] for row in rows],
        picks=None if told else picked, slack_mm=pattern.slack_mm[rows], same_face=same_face, lens_free=lens_free,
    )  # fmt: skip
    called = tuple(zip((name or "" for name in meant), picked, strict=True)) if told else answer.pairs
    notes = (*pattern.notes, *_naming_notes(picked, meant, told))
    # What is read is taken down under the donor's own names, where they are known.
    own = pattern.donors_own
    own_names = {fixing: name for name, fixing in pattern.also_called.items() if name in own}
    called = tuple((fixing, pick if pick in own else own_names.get(fixing, pick)) for fixing, pick in called)
    return Compared(pattern.host, pattern.donor, answer, not told, notes, called, own)


def _naming_notes(picked: list[str], meant: list[str | None], told: bool) -> list[str]:
    if told or not any(meant):
        return []
    strange = [name for name, fixing in zip(picked, meant, strict=True) if fixing is None]
    if strange:
        return [f"{strange[0]} is no fixing of the host, so which pick shows which fixing was sought."]
    return ["Two picks stand for one fixing, so which pick shows which fixing was sought."]


_refused = partial(refused, "same-shape", 0)


def _patterns(build: Build, asked: ShapeQuestion) -> list[_Pattern]:
    """The host's pattern, in every layout that its readings leave."""
    known = _known(build, asked.part)
    places = trying.places_of(known)
    layouts = range(max(1, len(places.host.layouts)))
    return [_pattern(build, asked, known, trying.in_layouts(places, (at, 0))) for at in layouts]


def _unsettled(places: Places) -> str | None:
    """Why the host may be of another shape than any layout of it that is tried."""
    host = places.host
    if not host.flat:
        return host.missing[0].says
    doubted = next((suspect.says for suspect in host.suspects if not suspect.left_out), None)
    if doubted is None and trying.layouts_left_out(places):
        return "they leave more layouts than are tried"
    return doubted


def _pattern(build: Build, asked: ShapeQuestion, known: Known, places: Places) -> _Pattern:
    host, shown = places.host, places.hosted.placed_by
    fixings = [f for f in places.hosted.fixings if shown.get(f.feature.feature) in host.features]
    if not fixings:
        mend = "Measure its fixings first, or the holes of the part that came off"
        raise _refused("part", f"no fixing of {known.host.part.part} has a place", mend)
    names = tuple(f.feature.feature for f in fixings)
    rows = [host.features.index(shown[name]) for name in names]
    at_mm, notes = _flat(host.xyz_mm[rows], known.host.part.part)
    allowed = _allowed(known, places) if known.donor.features else {}
    slack = np.array(
        [
            max(0.0, allowed.get(name, asked.play_mm)) + fixing.play_mm + fixing.play_half_travel_mm
            + float(host.half_width_mm[row])
            for name, fixing, row in zip(names, fixings, rows, strict=True)
        ]
    )  # fmt: skip
    called = places.hosted.also_called
    goes_on = {row.feature: row.goes_on for row in known.donor.features if row.goes_on}
    also = {name: fixing if fixing in names else called.get(fixing, fixing) for name, fixing in goes_on.items()}
    donor = known.donor.part.part if build.part(known.donor.part.part) is not None else None
    return _Pattern(
        known.host.part.part, donor, frozenset(f.feature for f in build.features_of(donor or "")), names, at_mm, slack,
        # Distances alone are those of the mirror image as well.
        places.host_side.part.seen_from if host.handed else None,
        {**called, **also}, notes, _unsettled(places),
    )  # fmt: skip


def _known(build: Build, part: str) -> Known:
    own = build.must_have(part)
    if own.origin == "donor":
        return known_of(build, part)
    host = part if own.origin != "original" or own.takes_place_of is None else own.takes_place_of
    original = build.original_on(host)
    nobody = Side(Part("nothing yet"), None, (), (), (), ())
    host_part = build.part(host)
    assert host_part is not None
    return Known(_side(build, host_part), nobody, None if original is None else _side(build, original), (), ())


def _side(build: Build, part: Part) -> Side:
    return Side(part, None, build.features_of(part.part), build.readings_of(part.part), (), ())


def _allowed(known: Known, places: Places) -> dict[str, float]:
    """The most that any feature of the donor may stand off each fixing, slots included, where it is known."""
    prepared = trying.prepared_task(known, places, mirrored=False)
    most: dict[str, float] = {}
    for (fixing, feature), mating in prepared.matings.items():
        if mating.option and mating.allowed_mm is not None:
            spot = next(s for s in prepared.task.features if s.id == feature)
            most[fixing] = max(most.get(fixing, 0.0), mating.allowed_mm + spot.half_travel_mm)
    return most


def _flat(at_mm: np.ndarray, part: str) -> tuple[np.ndarray, tuple[str, ...]]:
    if at_mm.shape[1] == 2:
        return at_mm, ()
    centred = at_mm - at_mm.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    off_mm = float(np.abs(centred @ axes[-1]).max())
    if off_mm > FLAT_WITHIN_MM:
        what = f"the fixings of {part} do not lie in one plane (up to {off_mm:.1f} mm off it)"
        raise _refused("part", what, "A picture can only be held against fixings of one flat face")
    along = np.stack([axes[0], axes[1]])
    if np.cross(axes[0], axes[1])[2] < 0.0:
        along[1] = -along[1]
    return centred @ along.T, (f"The fixings of {part} lie in one plane within {off_mm:.1f} mm.",)


def compared_text(found: Compared, folder: str) -> str:
    """The answer as lines of text, ending in a newline."""
    answer = found.answer
    lines = [f"{ANSWERS[answer.answer]}: the picture against the fixings of {found.host}"]
    lines += folded(answer.says, "    ")
    for note in found.notes:
        lines += folded(note, "    ")
    if answer.answer == "agrees":
        if found.sought:
            lines += folded(
                "Laid on so: " + ", ".join(f"{pick} on {fixing}" for fixing, pick in answer.pairs)
                + ". Other ways may agree as well.",
                "    ",
            )  # fmt: skip
        lines += folded("A picture never shows that a part fits: a view takes any size, and some stretch.", "    ")
        lines += _next(found, folder)
    return "\n".join(lines) + "\n"


def _next(found: Compared, folder: str) -> list[str]:
    read = found.answer.read
    if read is None:
        return []
    called = dict(found.called)
    a, b = (called.get(name, name) for name in read)
    if found.donor is None:
        return ["", f"Next: ask for {a} to {b}, from middle to middle."]
    if not {a, b} <= found.donors_own:
        where = f"under the names that the two have among the features of {found.donor}"
        says = f"Next: ask the seller for {a} to {b}, from middle to middle, and take it down {where}."
        return ["", *folded(says, "    ")]
    command = record_command(found.donor, "centres", a, b, "seller", folder)
    return ["", f"Next: ask the seller for {a} to {b}, from middle to middle, then:", f"  {command}"]


# What is kept of an answer, in the words of looks.csv.
KEPT = {"different": "different", "agrees": "alike"}


def row_to_keep(found: Compared, asked: ShapeQuestion, on: str | None = None) -> dict[str, str] | None:
    """The row of looks.csv that an answer makes; None where it tells nothing.

    Raises
    ------
    FaultyInput
        The picture is of no donor, so that it speaks for none.
    """
    if found.donor is None:
        raise _refused("part", f"{asked.part} is no donor: the picture speaks for none", "Name the donor that it shows")
    looks = KEPT.get(found.answer.answer)
    if looks is None:
        return None
    return {
        "part": found.donor, "beside": found.host, "looks": looks, "picture": asked.image.name, "on": on or "",
        "note": "" if not found.sought else "which hole is which was sought",
    }  # fmt: skip


def compared_json(found: Compared) -> str:
    """The answer as JSON, the same bytes each time."""
    tree = asdict(found.answer)
    tree["pairs"] = [list(pair) for pair in found.answer.pairs]
    head = {"partkin": 1, "host": found.host, "donor": found.donor, "sought": found.sought, "notes": list(found.notes)}
    return json.dumps({**head, **tree}, indent=1, ensure_ascii=False) + "\n"
