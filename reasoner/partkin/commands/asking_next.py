"""What to measure next on a donor: what is needed first, then readings worth taking, or why none is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from partkin import pipeline
from partkin.commands.recording import stated_chance
from partkin.model.build import Build
from partkin.model.verdict import Unknown, Verdict
from partkin.model.words import DOES_NOT_FIT, GOES_ON, NOT_JUDGED, SIDES, folded
from partkin.positions.lengths import current
from partkin.positions.next_reading import Candidate, meaning, named
from partkin.readings.could_read import donor_at_hand
from partkin.readings.next_readings import BETTER, LATER, Next, Wanted, wanted
from partkin.readings.record_command import alike, correcting, record_command, side_commands
from partkin.report.text import MARKS
from partkin.sheets import in_folder
from partkin.trial.findings import Findings
from partkin.trial.trying import places_of
from partkin.verdict import decide

MOST = 5
# Below this the best reading does not help much by itself.
LITTLE = 0.1
# What is no reading, and goes into an empty cell of features.csv.
FILLED = {"fastener": "--through THREAD", "angle": "--angle DIRECTION", "float": "--float MM"}
# How the verdict names a reading that the others contradict.
READING = "reading "


def next_for(build: Build, donor: str, host: str | None = None, at_hand: bool | None = None) -> Next:
    """Say what to measure next on a donor.

    `donor`, `host`: as with `pipeline.check`. `at_hand`: whether the donor lies before you; None: told by its readings.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    findings = pipeline.find_out(build, donor, host)
    verdict = decide(findings)
    near = donor_at_hand(findings.known.donor.readings) if at_hand is None else at_hand
    needed = _needed(findings, verdict)
    if findings.trial is None:
        return Next(verdict, findings.known, needed, at_hand=near, findings=findings)
    places = places_of(findings.known)
    readings: tuple[Wanted, ...] = ()
    if findings.asks:
        readings = wanted(findings, places, MOST, near, build.settings.labour_rate)
    return Next(verdict, findings.known, needed, readings, near, places, findings)


def _needed(findings: Findings, verdict: Verdict) -> tuple[Unknown, ...]:
    """The verdict's questions about measuring that are not readings of the ranking."""
    return tuple(
        one for one in verdict.unknown
        if one not in findings.asks and one.part is not None and one.quantity not in (None, "airbag", "duty", "goes_on")
    )  # fmt: skip


def next_json(found: Next) -> str:
    """What to measure next as JSON, the same bytes each time."""
    verdict = found.verdict
    tree: dict[str, Any] = {
        "partkin": 1,
        "donor": verdict.donor,
        "host": verdict.host,
        "verdict": verdict.verdict,
        "chance": None if verdict.chance is None else round(verdict.chance.fits, 4),
        "at_hand": found.at_hand,
        "needed": [{"what": one.what, "reading": _reading_tree(one), "says": one.says} for one in found.needed],
        "readings": [_wanted_tree(one) for one in found.readings],
    }
    return json.dumps(tree, indent=1, ensure_ascii=False) + "\n"


def _reading_tree(one: Unknown | Candidate) -> dict[str, str | None]:
    return {"part": one.part, "quantity": one.quantity, "from": one.from_feature, "to": one.to_feature or None}


def _wanted_tree(one: Wanted) -> dict[str, Any]:
    ask = one.ask
    return {
        "reading": _reading_tree(one.reading),
        "instrument": one.reading.instrument,
        "minutes": one.minutes,
        "price": one.price,
        "expected_mm": round(ask.expected_mm, 2),
        "give_or_take_mm": round(2.0 * ask.sigma_mm, 2),
        "settles": round(ask.settles, 3),
        "tells": None if ask.tells is None else round(ask.tells, 3),
        "values": [{"means": band.answer, "from_mm": band.from_mm, "to_mm": band.to_mm} for band in ask.bands],
        "then": None if one.then is None else _reading_tree(one.then),
        "says": one.says,
    }


def next_text(found: Next, folder: str) -> str:
    """What to measure next as lines of text, ending in a newline; `folder` for the commands."""
    return "\n".join(_lines(found, folder)) + "\n"


def _lines(found: Next, folder: str) -> Iterator[str]:
    verdict = found.verdict
    stated = stated_chance(verdict)
    chance = "" if stated is None else f" (chance {stated})"
    yield f"{MARKS[verdict.verdict]} {verdict.donor} on {verdict.host}: {verdict.verdict}{chance}"
    if verdict.verdict == NOT_JUDGED:
        yield from folded(f"{verdict.says} No reading changes that. {verdict.next_step}", "    ")
        return
    if found.needed:
        yield ""
        yield "Needed first"
        for number, question in enumerate(found.needed, start=1):
            yield from folded(question.says, f"  {number}. ", "     ")
            if question.what.startswith(READING):
                named = question.what.removeprefix(READING)
                yield from (f"     {line}" for line in correcting(question, named, folder))
            elif question.quantity in SIDES:
                yield from (f"     {line}" for line in side_commands(question, folder))
            else:
                yield from _how_to_record(question, found, folder)
    if found.readings:
        yield ""
        if found.readings[0].later:
            yield from folded(f"{_sentence(LATER)}:", "")
        else:
            likely = found.findings is not None and found.findings.likely is not None
            yield "Worth reading before the likely work, best first" if likely else "Worth reading, best first"
        for number, one in enumerate(found.readings, start=1):
            yield from _one(one, number, folder)
        best = found.readings[0].ask.tells
        if best is not None and best < LITTLE:
            yield ""
            yield from folded(_sentence(BETTER), "    ")
    if not found.needed and not found.readings:
        yield from folded(_nothing(found), "    ")


def _nothing(found: Next) -> str:
    trial = found.findings.trial if found.findings is not None else None
    if found.verdict.verdict in GOES_ON:
        return "No reading is needed. Before you pay, lay a paper template on the part, or have the seller do it."
    if found.verdict.verdict == DOES_NOT_FIT:
        ends = [p.feature for p in trial.answer.conflict.pairs][:2] if trial and trial.answer.conflict else []
        return f"No reading is needed to say so.{_to_be_safe(found, ends)}"
    return found.verdict.next_step or _sentence(BETTER)


def _to_be_safe(found: Next, ends: list[str]) -> str:
    """What to read before letting a donor go; once more only what was read."""
    if len(ends) < 2:
        return ""
    rows = current(found.known.donor.readings)
    was_read = any({row.from_feature, row.to_feature} == {*ends} for row in rows)
    again = "once more" if was_read else "on it, which nobody did yet"
    return f" Before you let it go, read {' to '.join(ends)} {again}: a slip looks the same."


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}" + ("." if text == BETTER else "")


def _one(one: Wanted, number: int, folder: str) -> Iterator[str]:
    it, ask = one.reading, one.ask
    cost = f"{one.minutes:g} min" + (f", {one.price:g}" if one.price else "")
    by = "told by the seller" if it.instrument == "seller" else f"with a {it.instrument}"
    spread = f"expected {ask.expected_mm:.1f} mm, give or take {2.0 * ask.sigma_mm:.1f}"
    yield from folded(f"{named(it)}, of {it.part}, {by} ({cost}): {spread}", f"  {number}. ", "     ")
    if ask.tells is not None:
        told = f"tells {100 * ask.tells:.0f} % of what is open"
        yield from folded(f"{told}; settles it in {100 * ask.settles:.0f} of 100 cases", "     ")
    said = meaning(ask.bands, 2 if it.quantity == "across" else 1)
    if said:
        yield from folded(said, "     ")
        if one.then is not None and any(band.answer == "between" for band in ask.bands):
            yield from folded(f"between: next {named(one.then)}, of {one.then.part}", "     ")
    yield f"     {record_command(it.part, it.quantity, it.from_feature, it.to_feature, it.instrument, folder)}"


def _how_to_record(one: Unknown, found: Next, folder: str) -> Iterator[str]:
    if one.from_feature and one.quantity in FILLED:
        record, told = f"partkin record {one.part}", f"{FILLED[one.quantity]}{in_folder(folder)}"
        yield f"     {record} {one.from_feature} {told}"
        names = alike(one, found.needed)
        if len(names) > 1 and names[0] == one.from_feature:
            yield f"     where all are alike: {record} {' '.join(names)} {told}"
        return
    between = one.quantity == "centres"
    if one.from_feature and (one.to_feature if between else one.quantity in ("across", "length")):
        far = one.part == found.known.donor.part.part and not found.at_hand
        instrument = "seller" if far else "tape" if between else "caliper"
        command = (one.part or "", one.quantity or "", one.from_feature, one.to_feature or "", instrument, folder)
        yield f"     {record_command(*command)}"
