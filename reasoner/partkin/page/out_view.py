"""Getting one part out: its plan with what holds what, the steps to tick, and what to do where something is stuck.

The ticks stand in the address (`?done=B1&done=take off:cowl`) and nowhere else: the sheets say what holds what, not
how far somebody is. A step is known there by its fastener or by what is carried, so that ticks outlive a changed sheet.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from urllib.parse import urlencode

from partkin import undoing
from partkin.model.build import Build
from partkin.model.problem import FaultyInput
from partkin.model.stripping import PlanView, Step
from partkin.page.desk import Desk
from partkin.page.frame import address, faults, refusal, whole
from partkin.page.markup import Html, tag, text
from partkin.report.html_donor import called
from partkin.report.html_pieces import Sources
from partkin.report.html_plan import head, held_figure, label_list, moved, step_list, way_back

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
        """Return a plan. FaultyInput: as with `undoing.view_of`."""
        key = (number, part, without)
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = undoing.view_of(build, part, without)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return found


def out_page(desk: Desk, plans: Plans, part: str, asked: OutAsked) -> tuple[str, int] | None:
    """Return the page of a part's plan with its status; None: there is no such part."""
    sheets = desk.sheets()
    build = sheets.build
    if build is None:
        return whole(desk, "Faults", faults(sheets.problems)), 200
    if build.part(part) is None:
        return None
    back = tag("p", tag("a", Html(called(build, part)), href=address("part", part)))
    heading = tag("h1", "Getting it out: ", Html(called(build, part)))
    try:
        view = plans.view(sheets.number, build, part, asked.without)
        stuck = _stuck(build, part, view, asked)
    except FaultyInput as fault:
        body = [heading, back, refusal(fault.problems, "There is no plan")]
        return whole(desk, f"Out: {part}", text(body)), 422
    sources = Sources()
    told: list[Html] = [tag("h2", "The plan"), _by_others(part, asked), Html(head(view, sources))]
    if view.plan is not None and view.plan.undone:
        told.append(Html(held_figure(view.plan, "out")))
        told.append(tag("div", _sides(part, view, asked, sources), class_="sides"))
        told.append(_stuck_form(part, view, asked, stuck))
    told.append(Html(moved(view) + label_list(view.labels) + sources.section()))
    main = tag("div", heading, back, tag("div", told, id_="told-plan"), class_="plan")
    return whole(desk, f"Out: {part}", main, ("out.js",)), 200


def _sides(part: str, view: PlanView, asked: OutAsked, sources: Sources) -> list[Html]:
    assert view.plan is not None
    kept = [tag("input", type_="hidden", name="without", value=name) for name in asked.without]
    left = sum(step.key not in asked.done for step in view.plan.steps)
    steps = Html(step_list(view.plan, sources, _named, asked.done))
    form = tag(
        "form", kept,
        tag("p", tag("b", f"{left} of {len(view.plan.steps)} steps left", id_="left"), role="status"),
        steps,
        tag("p", tag("button", "Keep these ticks", id_="keep"), " ",
            tag("small", "Ticks are kept in the address of this page, not in the sheets: bookmark it to come back.")),
        method="get", action=address("part", part, "out"), id_="ticks",
    )  # fmt: skip
    out = tag("div", tag("h3", "Out: steps to tick"), form)
    if view.way_back is None:
        return [out]
    return [out, tag("div", tag("h3", "Back in: steps to tick"), Html(way_back(view.way_back, sources)))]


def _named(step: Step) -> str:
    return step.key


def _by_others(part: str, asked: OutAsked) -> Html:
    """Say that the plan leaves something alone, and how to get the first one back."""
    if not asked.without:
        return Html("")
    ticked = urlencode([("done", key) for key in asked.done])
    plain = address("part", part, "out") + (f"?{ticked}" if ticked else "")
    return tag("p", f"Planned without undoing {', '.join(asked.without)}. ", tag("a", "Plan with it again", href=plain))


def _stuck(build: Build, part: str, view: PlanView, asked: OutAsked) -> tuple[str, ...]:
    if asked.stuck is None or view.plan is None:
        return ()
    numbers = tuple(step.number for step in view.plan.steps if step.key in asked.done)
    return undoing.strip(build, undoing.Asked(part, numbers, asked.without, asked.stuck)).lines


def _stuck_form(part: str, view: PlanView, asked: OutAsked, stuck: tuple[str, ...]) -> Html:
    """Return a place to ask what still holds something, and the answer."""
    assert view.plan is not None
    waiting = [step.fastener for step in view.plan.steps if step.fastener and step.key not in asked.done]
    options = [tag("option", name, value=name, selected=name == asked.stuck) for name in waiting]
    kept = [tag("input", type_="hidden", name="done", value=key) for key in asked.done]
    kept += [tag("input", type_="hidden", name="without", value=name) for name in asked.without]
    field = tag("div", tag("label", "Fastener", for_="stuck"), tag("select", options, name="stuck", id_="stuck"),
                class_="field")  # fmt: skip
    buttons = tag("p", tag("button", "What may still hold it?"))
    form = tag("form", kept, tag("div", field, class_="fields"), buttons, method="get",
               action=address("part", part, "out") + "#stuck-answer", id_="ask-stuck")  # fmt: skip
    answer = None
    if stuck:
        other = urlencode([*(("done", key) for key in asked.done), *(("without", name) for name in asked.without),
                           ("without", str(asked.stuck))])  # fmt: skip
        link = tag("a", f"Plan without undoing {asked.stuck}", href=f"{address('part', part, 'out')}?{other}")
        answer = tag("div", tag("pre", "\n".join(stuck)), tag("p", link))
    return tag("section", tag("h3", "One that will not come"), form, tag("div", answer, id_="stuck-answer"))
