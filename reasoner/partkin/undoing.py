"""Joins the sheets and the strip stage: the plan that frees a part, what is left, what is stuck, the way back."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from textwrap import wrap

from partkin.given_files import in_folder
from partkin.model.build import Build
from partkin.model.problem import FaultyInput, Problem
from partkin.model.stripping import NoPlan, PlanView, StripPlan
from partkin.strip.across import move_across
from partkin.strip.bodies import children_of, family
from partkin.strip.circles import impossible
from partkin.strip.holding import left, stuck, undone_by
from partkin.strip.planning import plan
from partkin.strip.refit import refit as way_back
from partkin.strip.text import labels, lines, moved_lines, nothing_known, said, stuck_lines, tools

WIDTH = 96


@dataclass(frozen=True)
class Asked:
    """What the person wants to know of getting a part out.

    `done`: step numbers of the whole plan. `across_from`: an original whose other things are to be moved over.
    `folder`: of the build, for the commands that are named.
    """

    part: str
    done: tuple[int, ...] = ()
    without: tuple[str, ...] = ()
    stuck: str | None = None
    across_from: str | None = None
    folder: str = "."


@dataclass(frozen=True)
class Told:
    """The answer as lines; `plan` None: there is none.

    `warnings`: fasteners that wait for each other by what is only guessed (certain ones are refused where the
    sheets are read), and parts of which none is the vehicle.
    """

    lines: tuple[str, ...]
    labels: tuple[str, ...] = ()
    plan: StripPlan | None = None
    warnings: tuple[Problem, ...] = ()


def numbers(text: str) -> tuple[int, ...]:
    """Read step numbers as `3,4,7`.

    Raises
    ------
    FaultyInput
        Where something else stands there.
    """
    words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
    bad = [word for word in words if not (word.isascii() and word.isdigit())]
    if bad:
        raise FaultyInput(tuple(_no_step(repr(word), "is no step number") for word in bad))
    return tuple(dict.fromkeys(int(word) for word in words))


def _no_step(name: str, what: str) -> Problem:
    return Problem("strip", 0, "--done", f"{name} {what}", "Give the numbers of the plan's steps, as --done 3,4,7")


def strip(build: Build, asked: Asked) -> Told:
    """Plan the least work that frees a part, and answer what goes with it."""
    _refuse(build, asked)
    whole = plan(build, asked.part, without=frozenset(asked.without))
    told: list[str] = []
    if isinstance(whole, NoPlan):
        told = [f"No plan frees {asked.part}: {whole.reason}"]
    else:
        strange = [number for number in asked.done if not 0 < number <= len(whole.steps)]
        if strange:
            raise FaultyInput(
                tuple(_no_step(str(number), f"is none of the plan's {len(whole.steps)} steps") for number in strange)
            )
        told = _what_is_left(whole, asked.done) if asked.done else lines(whole)
    if asked.stuck is not None:
        undone = undone_by(whole, asked.done) if isinstance(whole, StripPlan) else frozenset()
        told = [f"What may still hold {asked.stuck}", "", *stuck_lines(stuck(build, asked.stuck, done=undone))]
        told += ["", *_without(build, asked, whole)]
    original = asked.across_from or original_of(build, asked.part)
    if original is not None and asked.stuck is None:
        told += ["", f"To move across from {original}", *moved_lines(move_across(build, original, asked.part))]
    warnings = impossible(build)
    if isinstance(whole, NoPlan):
        return Told(tuple(told), warnings=warnings)
    return Told(tuple(told), tuple(labels(whole)), whole, warnings)


def original_of(build: Build, donor: str) -> str | None:
    """Return the original whose place a donor takes: as with a check the first that is measured, else the first."""
    found = build.part(donor)
    if found is None or found.origin != "donor" or found.takes_place_of is None:
        return None
    place = found.takes_place_of
    originals = [part for part in build.parts if part.origin == "original"]
    if any(part.part == place for part in originals):
        return place
    measured = {feature.part for feature in build.features if feature.x_mm is not None}
    there = [part.part for part in originals if part.takes_place_of == place]
    return next((name for name in there if name in measured), next(iter(there), None))


def _without(build: Build, asked: Asked, whole: StripPlan | NoPlan) -> list[str]:
    """What it takes to leave a fastener alone that will not come."""
    name = asked.stuck
    if name is None or all(row.fastener != name for row in build.holdings):
        return []
    if isinstance(whole, StripPlan) and name not in whole.undone:
        return _folded("", f"The plan for {asked.part} leaves {name} alone as it is.")
    other = plan(build, asked.part, without=frozenset((*asked.without, name)))
    if isinstance(other, NoPlan):
        return _folded("", f"Without undoing {name} nothing frees {asked.part}: {other.reason}.")
    more = ""
    if isinstance(whole, StripPlan):
        more = f", {other.cost_minutes - whole.cost_minutes:.1f} min more than with it"
    along = f"; it then comes off with {', '.join(other.with_it)}" if other.with_it else ""
    words = " ".join(f"--without {fastener}" for fastener in (*asked.without, name))
    told = _folded(
        "", f"If {name} will not come at all: another way takes {other.cost_minutes:.1f} min{more}{along}. "
        "It is listed by:",
    )  # fmt: skip
    return [*told, f"  partkin strip {asked.part} {words}{in_folder(asked.folder)}"]


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
    faults = []
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


def refit(build: Build, part: str, without: tuple[str, ...] = (), folder: str = ".") -> tuple[list[str], bool]:
    """The way back of the plan that frees a part, as lines; False: there is no plan."""
    _refuse(build, Asked(part, without=without))
    whole = plan(build, part, without=frozenset(without))
    if isinstance(whole, NoPlan):
        return [f"No plan frees {part}, so there is no way back to write: {whole.reason}"], False
    if nothing_known(whole):
        return [f"{said(whole)[0]} The way back is written from the plan."], True
    told = lines(way_back(build, whole))
    original = original_of(build, part)
    if original is not None:
        told = [*_folded("", f"{part} is a donor: this is the way back onto the assembly that it comes off. On the "
                         f"vehicle it goes as {original} came off:"),
                f"  partkin refit {original}{in_folder(folder)}", "", *told]  # fmt: skip
    return told, True


def view_of(build: Build, part: str, without: tuple[str, ...] = ()) -> PlanView:
    """Return a part's plan with all that the report and the page show beside it.

    Raises
    ------
    FaultyInput
        No such part or fastener.
    """
    _refuse(build, Asked(part, without=without))
    found = build.part(part)
    name = f"{found.name} ({part})" if found is not None and found.name else part
    original = original_of(build, part)
    moved = move_across(build, original, part) if original is not None else ()
    whole = plan(build, part, without=frozenset(without))
    if isinstance(whole, NoPlan):
        return PlanView(part, name, (f"No plan frees {part}: {whole.reason}.",), moved_from=original, moved=moved)
    # A donor goes back onto nothing that it came off.
    back = way_back(build, whole) if original is None else None
    return PlanView(part, name, said(whole), whole, back, tools(whole), tuple(labels(whole)), original, moved)


def to_plan(build: Build, donors: Collection[str]) -> tuple[str, ...]:
    """Return the parts that a report of some donors plans for, in the order of their ids.

    They are the donors and the originals whose place these take, where a row of held_by.csv joins them to
    anything; restraint parts are left to licensed practice.
    """
    originals = {original_of(build, donor) for donor in donors}
    held = {name for row in build.holdings for name in (row.part, row.held_to)}
    children = children_of(build)
    return tuple(
        part.part for part in build.parts
        if (part.part in donors or part.part in originals) and part.duty != "restraint"
        and held.intersection(family(children, part.part))
    )  # fmt: skip
