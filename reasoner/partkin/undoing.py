"""Joins the sheets and the strip stage: the plan that frees a part, what is left, what is stuck, the way back."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap

from partkin.model.build import Build
from partkin.model.problem import FaultyInput, Problem
from partkin.model.stripping import NoPlan, StripPlan
from partkin.strip.across import move_across
from partkin.strip.circles import impossible
from partkin.strip.drawing import drawing
from partkin.strip.holding import left, stuck, undone_by
from partkin.strip.planning import plan
from partkin.strip.refit import refit as way_back
from partkin.strip.text import labels, lines, moved_lines, stuck_lines

WIDTH = 96


@dataclass(frozen=True)
class Asked:
    """What the person wants to know of getting a part out.

    `done`: step numbers of the whole plan. `across_from`: an original whose other things are to be moved over.
    """

    part: str
    done: tuple[int, ...] = ()
    without: tuple[str, ...] = ()
    stuck: str | None = None
    across_from: str | None = None


@dataclass(frozen=True)
class Told:
    """The answer as lines; `planned` False: there is no plan."""

    lines: tuple[str, ...]
    labels: tuple[str, ...] = ()
    drawing: str | None = None
    planned: bool = True


def numbers(text: str) -> tuple[int, ...]:
    """Read step numbers as `3,4,7`.

    Raises
    ------
    FaultyInput
        Where something else stands there.
    """
    words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
    bad = [word for word in words if not word.isdigit()]
    if bad:
        mend = "Give the numbers of the plan's steps, as --done 3,4,7"
        raise FaultyInput((Problem("strip", 0, "--done", f"{bad[0]!r} is no step number", mend),))
    return tuple(dict.fromkeys(int(word) for word in words))


def strip(build: Build, asked: Asked) -> Told:
    """Plan the least work that frees a part, and answer what goes with it."""
    _refuse(build, asked)
    whole = plan(build, asked.part, without=frozenset(asked.without))
    if isinstance(whole, NoPlan):
        return Told((f"No plan frees {asked.part}: {whole.reason}",), planned=False)
    undone = undone_by(whole, asked.done)
    told = lines(whole)
    if asked.done:
        told = _what_is_left(whole, asked.done)
    if asked.stuck is not None:
        told = [f"What may still hold {asked.stuck}", "", *stuck_lines(stuck(build, asked.stuck, done=undone))]
    if asked.across_from is not None:
        moved = move_across(build, asked.across_from, asked.part)
        told += ["", f"To move across from {asked.across_from}", *moved_lines(moved)]
    return Told(tuple(told), tuple(labels(whole)), drawing(whole))


def _what_is_left(whole: StripPlan, done: tuple[int, ...]) -> list[str]:
    steps = left(whole, done)
    listed = [f"{len(steps)} of {len(whole.steps)} steps left"]
    place = None
    for step in steps:
        if step.place != place:
            place = step.place
            listed.append(f"{place}:")
        listed += _folded(f"[ ] {step.number:>3}  ", step.says)
        listed += [line for caution in step.cautions for line in _folded("         ! ", caution.says)]
    return listed


def _folded(lead: str, text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_on_hyphens=False)


def _refuse(build: Build, asked: Asked) -> None:
    """Every fault of the question at once."""
    fasteners = {row.fastener for row in build.holdings}
    faults = list(impossible(build))
    if build.part(asked.part) is None:
        mend = "Name a part of parts.csv"
        faults.append(Problem("parts.csv", 0, "part", f"there is no part {asked.part!r}", mend))
    faults += [
        Problem("held_by.csv", 0, "fastener", f"there is no fastener {name!r}", "Name one of held_by.csv")
        for name in (*asked.without, *((asked.stuck,) if asked.stuck else ()))
        if name not in fasteners and build.part(name) is None
    ]
    if asked.across_from is not None and build.part(asked.across_from) is None:
        mend = "Name the part that came off"
        faults.append(Problem("parts.csv", 0, "part", f"there is no part {asked.across_from!r}", mend))
    if faults:
        raise FaultyInput(tuple(faults))


def refit(build: Build, part: str, without: tuple[str, ...] = ()) -> tuple[list[str], bool]:
    """The way back of the plan that frees a part, as lines; False: there is no plan."""
    _refuse(build, Asked(part, without=without))
    whole = plan(build, part, without=frozenset(without))
    if isinstance(whole, NoPlan):
        return [f"No plan frees {part}, so there is no way back to write: {whole.reason}"], False
    return lines(way_back(build, whole)), True
