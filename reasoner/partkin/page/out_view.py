"""Getting one part out: its plan with what holds what, the steps to tick, and what to do where something is stuck.

The ticks stand in the address (`?done=B1&done=take off:cowl`) and nowhere else: the sheets say what holds what, not
how far somebody is. A step is known there by its fastener or by what is carried, so that ticks outlive a changed sheet.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

from partkin.model.build import Build
from partkin.model.problem import FaultyInput
from partkin.model.stripping import PlanView
from partkin.page.desk import Desk
from partkin.page.frame import faults, refusal, whole
from partkin.report.html_pieces import Sources
from partkin.strip import StripQuestion, answer, view_of

KEPT = 8
Key = tuple[int, str, tuple[str, ...]]


@dataclass(frozen=True)
class OutAsked:
    """What the address says: steps that are ticked, fasteners to leave alone, and the one that is stuck."""

    done: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    stuck: str | None = None


class Plans:
    """Plans that were made for the sheets as they stand, the last few; another start or sheet makes them anew."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Key, PlanView] = OrderedDict()

    def view(self, number: int, build: Build, part: str, without: tuple[str, ...]) -> PlanView:
        """Return a plan. FaultyInput: as with `strip.view_of`."""
        key = (number, part, without)
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = view_of(build, part, without)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return found


def out_page(desk: Desk, plans: Plans, part: str, asked: OutAsked) -> tuple[str | None, int]:
    """Return the page of a part's plan, None where there is no such part, and its status."""
    sheets = desk.sheets()
    build = sheets.build
    if build is None:
        return faults(desk), 200
    if build.part(part) is None:
        return None, 404
    try:
        view = plans.view(sheets.number, build, part, asked.without)
        stuck = _stuck(build, part, view, asked)
    except FaultyInput as fault:
        why = refusal(fault.problems, "There is no plan")
        return whole(desk, "out.html", f"Out: {part}", build=build, part=part, why=why), 422
    page = whole(
        desk, "out.html", f"Out: {part}", build=build, part=part, why=None, view=view, asked=asked, stuck=stuck,
        sources=Sources(),
    )  # fmt: skip
    return page, 200


def _stuck(build: Build, part: str, view: PlanView, asked: OutAsked) -> tuple[str, ...]:
    if asked.stuck is None or view.plan is None:
        return ()
    numbers = tuple(step.number for step in view.plan.steps if step.key in asked.done)
    return answer(build, StripQuestion(part, numbers, asked.without, asked.stuck)).lines
