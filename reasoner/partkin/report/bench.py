"""The adaptations of a donor, and the bench sheet: lines to read and boxes to tick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from partkin.model.adapting import BenchStep
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, WITH_ADAPTATION, folded
from partkin.report.text import holds, verdict_work


def adapt_text(verdict: Verdict, currency: str | None) -> str:
    """What to do to a donor, the next ways of doing it, what is ruled out, what goes with it; ends in a newline."""
    lines = [
        f"{verdict.donor} on {verdict.host}: {verdict.verdict}",
        *folded(verdict.says, "  "),
        *holds(verdict, "  "),
    ]
    lines += verdict_work(verdict, currency)
    if verdict.adaptation is not None and not verdict.other_adaptations:
        lines += ["", "No other way was found that does without one of these jobs and is sure enough."]
    if verdict.verdict not in (BOLTS_ON, WITH_ADAPTATION) and verdict.next_step:
        lines += ["", *folded(verdict.next_step, "")]
    return "\n".join(lines) + "\n"


def no_work_text(verdict: Verdict, currency: str | None = None) -> str:
    """Why there is no bench sheet, and what to do instead; ends in a newline."""
    yet = "nothing to be cut yet" if verdict.likely_work is not None else "nothing to work at"
    says = f"{verdict.donor}: {verdict.verdict}, so there is {yet}. {verdict.says}"
    likely = verdict_work(verdict, currency) if verdict.likely_work is not None else []
    return "\n".join([*folded(says, ""), *holds(verdict, "  "), *likely, *folded(verdict.next_step, "")]) + "\n"


def worklist_text(verdict: Verdict, steps: Sequence[BenchStep]) -> str:
    """The bench sheet; ends in a newline."""
    lines = [f"Bench sheet: {verdict.donor} on {verdict.host}", *folded(verdict.says, ""), *holds(verdict, "  ")]
    for step in steps:
        lines += ["", *_step(step)]
    minutes = sum(step.minutes or 0.0 for step in steps)
    lines += ["", f"In all {minutes:g} min." if minutes else "No time is counted."]
    return "\n".join(lines) + "\n"


def _step(step: BenchStep) -> Iterator[str]:
    time = f" ({step.minutes:g} min)" if step.minutes else ""
    yield from folded(f"{step.says}{time}", f"[ ] {step.order}. ", "      ")
    for caution in step.cautions:
        yield from folded(f"Take care: {caution}", "      ! ", "        ")
    end = "its far end" if step.do == "slot" else "its centre"
    for lead, text, rest in (
        (f"mark {end}: ", ", and ".join(mark.says for mark in step.marks), " " * 12),
        ("tools: ", ", ".join(step.tools), None),
        ("before you cut: ", step.before, None),
        ("then check: ", step.check, None),
    ):
        if text:
            yield from folded(text, f"      {lead}", rest)
