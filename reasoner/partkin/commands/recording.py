"""A reading taken down: understood, added to its sheet, held against the others, and what it changes said."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from partkin import pipeline
from partkin.commands.doubts import donors_concerned, suspects_of
from partkin.commands.progress import State, Work
from partkin.model.build import Build, Reading, by_id
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict
from partkin.model.words import MM_PER_UNIT, NOT_ENOUGH, SIDES, WITH_ADAPTATION, WITHDRAWN
from partkin.readings.typed_cells import Typed, plain_number, understood_cells
from partkin.readings.typed_readings import FEATURES, TypedWords, taken_back, understood
from partkin.sheets import cells_of, in_folder
from partkin.tables.instruments import greatest_error_mm
from partkin.trial.places import DOUBTED

READINGS = "readings.csv"
Shown = Callable[[State], None]
MOST_TRIES = 5


class VerdictChange(NamedTuple):
    """A donor's verdict before and after a reading; None: it could not be checked, and `why`."""

    donor: str
    before: Verdict | None
    after: Verdict | None
    why: str = ""


class Recorded(NamedTuple):
    """What was taken down.

    `reading`: None where places were filled in. `surprise`: in words, where the reading is far from what the
    rest predicts. `changes`: of the donors concerned.
    """

    part: str
    says: str
    reading: Reading | None
    surprise: str | None
    changes: tuple[VerdictChange, ...]
    warnings: tuple[Problem, ...] = ()


def record(folder: Path, typed: TypedWords, shown: Shown | None = None) -> Recorded:
    """Take down a reading.

    `typed`: names and value; which names come before the value, `NAMES` says. `shown`: shows the checks of the donors
    concerned. A reading that the others contradict is taken down all the same, and `surprise` says so.

    Raises
    ------
    FaultyInput
        Something was typed that cannot be meant, or the sheets hold faults; then nothing was changed.
    """
    build, warnings = pipeline.read(folder)
    reading = appended(folder, build, lambda now: understood(now, typed))
    says = f"recorded {reading.reading} of {reading.part}: {reading_in_words(reading)}"
    return _recorded(folder, build, reading.part, says, warnings, shown, reading)


def take_back(folder: Path, part: str, named: str | None = None, shown: Shown | None = None) -> Recorded:
    """Take back a reading by a later row: of a correction the reading before it counts again.

    `folder`, `shown`: as in `record`. `part`: its id. `named`: the reading; None: the last one of the part that counts.

    Raises
    ------
    FaultyInput
        There is no such part or reading, or it does not count any more; then nothing was changed.
    """
    build, warnings = pipeline.read(folder)
    reading = appended_back(folder, build, part, named)
    says = f"recorded {reading.reading} of {part}: {reading.corrects} does not count any more"
    if reading.quantity != WITHDRAWN:
        says += f"; {reading_in_words(reading)}, as before it"
    return _recorded(folder, build, reading.part, says, warnings, shown, reading)


def appended_back(folder: Path, build: Build, part: str, named: str | None = None) -> Reading:
    """Add the row that takes back a reading, and return it; as `take_back`, and nothing is checked."""
    return appended(folder, build, lambda now: taken_back(now, part, named))


def _recorded(
    folder: Path, build: Build, part: str, says: str, warnings: tuple[Problem, ...], shown: Shown | None,
    reading: Reading | None = None,
) -> Recorded:  # fmt: skip
    """Say what a recorded row or cell changes for each donor, or why a donor could not be checked."""
    now, _ = pipeline.read(folder)
    before, after = (verdicts(one, part, shown) for one in (build, now))
    odd = None if reading is None else surprise_of(now, reading)
    return Recorded(part, says, reading, odd, changes(before, after), warnings)


def unexpected(fault: Exception) -> str:
    """Name a fault of the program, for a person whose reading is kept all the same."""
    return f"a fault of this program: {type(fault).__name__}: {fault}"


def fill_in(folder: Path, words: TypedWords, typed: Typed, shown: Shown | None = None) -> Recorded:
    """Fill empty cells of a feature: its place, what goes through it (or through several), its direction or float.

    `folder`, `shown`: as in `record`. `words`: names and no value. `typed`: for the cells.

    Raises
    ------
    FaultyInput
        A cell is filled already: it is never written over. Or as in `record`.
    """
    from partkin.sheets import fill

    build, warnings = pipeline.read(folder)
    filled = understood_cells(build, words, typed)
    fill(folder, FEATURES, {(words.part, feature): filled.cells for feature in filled.features})
    says = f"wrote into {FEATURES}, {', '.join(filled.features)} of {words.part}: {filled.says}"
    return _recorded(folder, build, words.part, says, warnings, shown)


def next_id(build: Build, part: str, of: Reading | None = None) -> str:
    """Return the next free reading id of a part: r1, r2 and so on.

    The newest of several readings of one thing is the one with the highest id. So where an earlier reading `of` the
    same has an id of another kind that comes after these, the next one goes on from there.

    Examples
    --------
    >>> next_id(Build(readings=(Reading("p", "r7", "mass", 1.0, "kg"), Reading("q", "r9", "mass", 1.0, "kg"))), "p")
    'r8'
    >>> next_id(Build(readings=(Reading("p", "t3", "mass", 1.0, "kg"),)), "p", Reading("p", "", "mass", 1.1, "kg"))
    't4'
    """
    mine = build.readings_of(part)
    ids = {row.reading for row in mine}
    taken = [int(match[1]) for match in (re.fullmatch(r"r(\d{1,9})", one) for one in ids) if match]
    found = f"r{max(taken, default=0) + 1}"
    same = [row.reading for row in mine if of is not None and _of_what(row) == _of_what(of)]
    last = max([found, *same], key=by_id)
    if last == found:
        return found
    stem = last.rstrip("0123456789")
    number = int(last[len(stem) :] or 0) + 1
    while f"{stem}{number}" in ids:
        number += 1
    return f"{stem}{number}"


def _of_what(row: Reading) -> tuple[str | None, ...]:
    return row.quantity, row.from_feature, row.to_feature


def appended(folder: Path, build: Build, meant: Callable[[Build], Reading]) -> Reading:
    """Add a row under the next free id, and return it; somebody else may take that id in between."""
    return appended_all(folder, build, lambda now: (meant(now),), after_its_like=True)[0]


def appended_all(
    folder: Path, build: Build, meant: Callable[[Build], Sequence[Reading]], after_its_like: bool = False
) -> tuple[Reading, ...]:
    """Add rows under the next free ids, all or none, and return them; somebody else may take such an id in between.

    `after_its_like`: the id comes after those of earlier readings of the same, as `next_id` does with `of`.
    """
    from partkin.sheets import append_all

    readings = meant(build)
    for turn in range(MOST_TRIES):
        if turn:
            build, _ = pipeline.read(folder)
            readings = meant(build)
        numbered: tuple[Reading, ...] = ()
        for reading in readings:
            so_far = replace(build, readings=(*build.readings, *numbered))
            numbered += (replace(reading, reading=next_id(so_far, reading.part, reading if after_its_like else None)),)
        try:
            append_all(folder, {READINGS: cells_of(READINGS, numbered)})
        except FaultyInput as fault:
            if turn + 1 < MOST_TRIES and all(p.sheet == READINGS and p.column == "reading" for p in fault.problems):
                continue
            raise
        return numbered
    raise AssertionError("left by return or raise")


def reading_in_words(reading: Reading) -> str:
    """Say a reading in words, with how far it may be out."""
    what = _what(reading)
    if reading.value is None or reading.unit is None:
        return what
    head = f"{what}, {plain_number(reading.value)} {reading.unit}"
    if reading.quantity == "mass":
        return head
    if reading.plus_minus is not None:
        return f"{head}, plus or minus {plain_number(reading.plus_minus)} {reading.unit}"
    length_mm = reading.value * MM_PER_UNIT[reading.unit]
    error_mm = greatest_error_mm(reading.instrument, length_mm, reading.quantity)
    how = reading.instrument or "nobody said what with, so as a seller's"
    return f"{head}, plus or minus {plain_number(round(error_mm, 2))} mm ({how})"


BETWEEN = {
    "centres": "centre to centre", "near edges": "near edge to near edge", "far edges": "far edge to far edge",
}  # fmt: skip


def _what(reading: Reading) -> str:
    a, b = reading.from_feature, reading.to_feature
    if reading.quantity in BETWEEN:
        return f"{a} to {b}, {BETWEEN[reading.quantity]}"
    if reading.quantity in SIDES:
        return f"{a} {reading.quantity} the line from {reading.line_from} to {reading.line_to}"
    if reading.quantity == "gap":
        return f"gap of {a} to {b}"
    if reading.quantity in ("across", "length"):
        return f"{a} {'across' if reading.quantity == 'across' else 'end to end'}"
    return f"{reading.quantity} at {a}" if a else reading.quantity


def surprise_of(build: Build, reading: Reading) -> str | None:
    """Say that a reading of the build is far from what the others tell; None where it is not, or cannot be told.

    A fault of this program is said too: the reading is in its sheet, and must not look as if it were not.
    """
    try:
        return _surprise(build, reading)
    except Exception as fault:
        return f"it could not be held against the others ({unexpected(fault)})"


def _surprise(build: Build, reading: Reading) -> str | None:
    from partkin.positions.not_flat import or_not_flat

    if reading.quantity not in ("centres", "near edges", "far edges", "across", "length", *SIDES):
        return None
    suspects = suspects_of(build, reading.part)
    own = next((one for one in suspects if one.reading == reading.reading), None)
    if own is not None and own.likely >= DOUBTED:
        return own.says
    # A new reading that shows an earlier one to be wrong is not itself called surprising.
    if (suspects and suspects[0].likely >= DOUBTED) or _was_odd(build, reading):
        return None
    says = _unexpected(build, reading)
    if own is None:
        return says
    bent = or_not_flat(reading.part)
    return f"{says}{bent}" if says is not None and bent in own.says else says or own.says


def _was_odd(build: Build, reading: Reading) -> bool:
    """Whether a size is read anew that was doubted as it was told before."""
    if reading.quantity != "across":
        return False
    own = reading.part, reading.reading
    before = replace(build, readings=tuple(row for row in build.readings if (row.part, row.reading) != own))
    return any(
        (one.quantity, one.from_feature) == ("across", reading.from_feature)
        for one in suspects_of(before, reading.part)
    )


def _unexpected(build: Build, reading: Reading) -> str | None:
    from partkin.positions import adjust, surprise
    from partkin.positions.lengths import current
    from partkin.positions.sides import wrong_side

    features = build.features_of(reading.part)
    rest = tuple(row for row in current(build.readings_of(reading.part)) if row.reading != reading.reading)
    found = adjust(reading.part, features, rest)
    return wrong_side(found, reading) if reading.quantity in SIDES else surprise(found, reading, features, rest)


def correction_command(reading: Reading, folder: str) -> str:
    """The command that takes a reading's place: its value once more, or of left and right the other answer.

    Examples
    --------
    >>> correction_command(Reading("top", "r7", "left of", None, None, "c", line_from="a", line_to="b"), ".")
    'partkin record top c --right-of a b --corrects r7'
    """
    what = "VALUE"
    if reading.quantity in SIDES:
        other = "right" if reading.quantity == "left of" else "left"
        what = f"{reading.from_feature} --{other}-of {reading.line_from} {reading.line_to}"
    return f"partkin record {reading.part} {what} --corrects {reading.reading}{in_folder(folder)}"


def verdicts(build: Build, part: str, shown: Shown | None = None) -> dict[str, Verdict | str]:
    """Check every donor concerned: its verdict, or why it could not be checked, be it a fault of this program.

    The reading is in its sheet by then, and what goes wrong here must not look as if it were not.
    """
    donors = donors_concerned(build, part)
    found: dict[str, Verdict | str] = {}
    for donor in Work("donors", len(donors), shown).each(donors):
        try:
            found[donor] = pipeline.check(build, donor)
        except FaultyInput as fault:
            found[donor] = "; ".join(problem.what for problem in fault.problems)
        except Exception as fault:
            found[donor] = unexpected(fault)
    return found


def changes(before: dict[str, Verdict | str], after: dict[str, Verdict | str]) -> tuple[VerdictChange, ...]:
    """Set verdicts before and after side by side."""
    found = []
    for donor, now in after.items():
        was = before.get(donor)
        known = was if isinstance(was, Verdict) and isinstance(now, Verdict) else None
        says = now if isinstance(now, str) else ""
        found.append(VerdictChange(donor, known, None if isinstance(now, str) else now, says))
    return tuple(found)


def change_says(change: VerdictChange) -> str:
    """Say in one line how a verdict changed, and what it now hangs on where that is another thing than before."""
    if change.after is None:
        return f"{change.donor} was not checked: {change.why}"
    now, first = _verdict_says(change.after), _open_first(change.after)
    if change.before is None:
        return f"{change.donor}: {now}"
    was = _verdict_says(change.before)
    asks = f"; now open: {first}" if first and first != _open_first(change.before) else ""
    return f"{change.donor}: {now}, as before{asks}" if was == now else f"{change.donor}: {was} -> {now}{asks}"


def _open_first(verdict: Verdict) -> str:
    """What a verdict that is not reached hangs on first; empty where it is reached."""
    return verdict.unknown[0].what if verdict.verdict == NOT_ENOUGH and verdict.unknown else ""


def _verdict_says(verdict: Verdict) -> str:
    chance = stated_chance(verdict)
    return verdict.verdict if chance is None else f"{verdict.verdict} (chance {chance})"


def stated_chance(verdict: Verdict) -> str | None:
    """The chance in words, where it is that of the whole verdict.

    None after work, and where it holds for one of several ways only that are still open.
    """
    if verdict.chance is None or verdict.verdict == WITH_ADAPTATION:
        return None
    one_of_several = any(
        u.quantity in (*SIDES, "seen_from") or u.what.startswith(("which of", "reading ")) for u in verdict.unknown
    )
    if one_of_several and verdict.verdict == NOT_ENOUGH:
        return None
    return verdict.chance.says
