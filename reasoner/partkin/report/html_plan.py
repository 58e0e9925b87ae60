"""A plan of taking apart as part of a page: what holds what as a drawing, and lists to tick. For report and page."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from itertools import groupby

from partkin.model.reasons import Caution
from partkin.model.stripping import PlanView, RefitPlan, RefitStep, Step, StripPlan
from partkin.report.html_pieces import Sources, listed, prose
from partkin.report.plan_drawing import BROAD_PX, key_strokes, plan_svg
from partkin.report.svg import escaped

NARROW_PX = 330.0
# How the tick of a step is named where the page keeps it; None: nothing keeps it.
Named = Callable[[Step], str] | None


def plan_section(view: PlanView, sources: Sources, key: str) -> str:
    """Return a plan as a section of the report: to look at, and to tick with a pen.

    Parameters
    ----------
    view
    sources
        Of the report.
    key
        Start of the ids in it.
    """
    heading = f'<h2 id="{key}">Getting it out: {prose(view.name)}</h2>'
    body = head(view, sources)
    if view.plan is not None and view.plan.undone:
        out = f"<h3>Out: steps to tick</h3>{step_list(view.plan, sources)}"
        back = f"<h3>Back in: steps to tick</h3>{way_back(view.way_back, sources)}" if view.way_back else ""
        body += f'{held_figure(view.plan, key)}<div class="sides"><div>{out}</div><div>{back}</div></div>'
    body += moved(view) + label_list(view.labels)
    return f'<section class="plan" aria-labelledby="{key}">{heading}{body}</section>'


def head(view: PlanView, sources: Sources) -> str:
    """Return what is said before anything else: the verdict, what forbids, what to lay out, what is not known."""
    first, *rest = view.says or ("",)
    parts = [f'<p class="said">{prose(first)}</p>', *(f"<p>{prose(sentence)}</p>" for sentence in rest)]
    if view.plan is None:
        return "".join(parts)
    holds = [caution for caution in view.plan.cautions if caution.hold]
    if holds:
        says = "".join(f"<p>{_caution(caution, sources)}</p>" for caution in holds)
        parts.append(f'<div class="hold"><b>First of all</b>{says}</div>')
    if view.tools:
        lay_out = ", ".join(f"{prose(tool)} (undoes {count})" for tool, count in view.tools)
        parts.append(f"<p><b>Tools to lay out:</b> {lay_out}.</p>")
    if view.plan.unknowns:
        unknown = listed(prose(one.says) for one in view.plan.unknowns)
        parts.append(f"<h3>Not known: look before you pull</h3>{unknown}")
    return "".join(parts)


def held_figure(plan: StripPlan, key: str) -> str:
    """Return what holds what as a figure, laid out for a broad and for a narrow screen."""
    broad = plan_svg(plan, BROAD_PX, f"{key}b", "broad")
    narrow = plan_svg(plan, NARROW_PX, f"{key}n", "narrow", f"{key}b-d")
    strokes = "".join(f"<li>{sample} {escaped(words)}</li>" for sample, words in key_strokes(plan))
    frames = "Thickest frame: wanted. Thick: comes out with it. Dashed: comes off first. Double: stays."
    foot = f'<div class="foot"><div class="key"><ul>{strokes}</ul><p>{frames}</p></div></div>'
    return f'<figure class="sheet">{broad}{narrow}{foot}</figure>'


def step_list(
    plan: StripPlan, sources: Sources, named: Named = None, done: Collection[str] = (),
) -> str:  # fmt: skip
    """Return the steps place by place, each with a box to tick.

    Parameters
    ----------
    plan
    sources
    named
        Gives each box its value where a page keeps the ticks.
    done
        Keys of the steps that are ticked.
    """
    parts = []
    for place, steps in groupby(plan.steps, key=lambda step: step.place):
        items = []
        for step in steps:
            minutes = f" [{step.minutes:g} min]" if step.minutes else ""
            attributes = f' name="done" value="{escaped(named(step))}"' if named else ""
            if step.key in done:
                attributes += ' checked="checked"'
            items.append(
                _item(attributes, str(step.number), step.says + minutes, _also(step), step_cautions(step), sources)
            )
        parts.append(f'<h4>{prose(place or "anywhere")}</h4><ul class="ticks">{"".join(items)}</ul>')
    return "".join(parts)


def step_cautions(step: Step) -> tuple[Caution, ...]:
    """Return the cautions that are not the step itself."""
    return step.cautions if step.do != "prepare" else ()


def _also(step: Step) -> list[str]:
    found = []
    if step.mass_kg is not None:
        found.append(f"mass {step.mass_kg:g} kg" + (" at least" if step.mass_unknown else ""))
    if step.mark is not None:
        found.append(f"mark {step.mark}")
    if step.bag is not None:
        found.append(f"label: {step.bag.split(' | ')[0]}")
    return found


def _item(
    attributes: str, number: str, says: str, also: Sequence[str], cautions: Sequence[Caution], sources: Sources
) -> str:
    shown = f'<span class="no">{number}</span>' if number else ""
    more = "".join(f'<span class="also">{prose(text)}</span>' for text in also)
    more += "".join(f'<span class="also take-care">{_caution(caution, sources)}</span>' for caution in cautions)
    label = f'<label><input type="checkbox"{attributes}/>{shown}<span class="what">{prose(says)}</span></label>'
    return f"<li>{label}{more}</li>"


def _caution(caution: Caution, sources: Sources) -> str:
    return f"{prose(caution.says)}{sources.cite(caution.source)}"


def moved(view: PlanView) -> str:
    """Return what goes over from the original to the donor; empty where that was not asked."""
    if view.moved_from is None:
        return ""
    items = "".join(
        f'<li><span class="also take-care">{prose(one.says)}</span></li>'
        if one.hold
        else f'<li><label><input type="checkbox"/><span class="what">{prose(one.says)}</span></label></li>'
        for one in view.moved
    )
    heading = f"<h3>To move across from {prose(view.moved_from)}</h3>"
    if not view.moved:
        return f"{heading}<p>Nothing that the sheets know has to be moved across.</p>"
    return f'{heading}<ul class="ticks bare">{items}</ul>'


def way_back(plan: RefitPlan, sources: Sources) -> str:
    """Return the way back: what to have, and every step with a box to tick."""
    parts = []
    if plan.connectors:
        rows = ", ".join(plan.connector_rows)
        parts.append(f"<p>Plugs to count back in: {plan.connectors} ({prose(rows)}).</p>")
    if plan.buy:
        items = []
        for buy in plan.buy:
            kind = buy.kind if buy.count == 1 else f"{buy.kind}s"
            thread = f" {buy.thread}" if buy.thread else ""
            says = f"{buy.count} {kind}{thread} ({buy.fastener}): {buy.says}"
            items.append(f'<li><label><input type="checkbox"/><span class="what">{prose(says)}</span></label></li>')
        parts.append(f'<h4>To have before you begin</h4><ul class="ticks bare">{"".join(items)}</ul>')
    for place, steps in groupby(plan.steps, key=lambda step: step.place):
        rows = "".join(
            _item(
                "", str(step.number), step.says, _torque(step), step.cautions if step.do != "restore" else (), sources
            )
            for step in steps
        )
        parts.append(f'<h4>{prose(place or "to try")}</h4><ul class="ticks">{rows}</ul>')
    return "".join(parts)


def _torque(step: RefitStep) -> list[str]:
    return [step.torque_says] if step.torque_says else []


def label_list(labels: Sequence[str]) -> str:
    """Return the labels for bags and tags, to cut out along the dashes."""
    if not labels:
        return ""
    items = []
    for label in labels:
        number, *rest = label.split(" | ")
        items.append(f"<li><b>{prose(number)}</b>{''.join(f'<span>{prose(line)}</span>' for line in rest)}</li>")
    return f'<h3>Labels for bags and tags</h3><ul class="labels">{"".join(items)}</ul>'
