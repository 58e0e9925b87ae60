"""The verdict for a person: the word first, then why with the numbers, then what to do next."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from partkin.model.adapting import Action, Adaptation, together
from partkin.model.verdict import Pair, Verdict
from partkin.model.words import DOES_NOT_FIT, NOT_ENOUGH, folded, mm

if TYPE_CHECKING:
    from partkin.model.drawing import OptionRow

MARKS = {
    "bolts on": "[=]", "bolts on with adaptation": "[~]", "does not fit": "[x]", "not enough measured": "[?]",
    "not judged": "[!]",
}  # fmt: skip
# Connectors that ask for something.
UNSETTLED = ("needs an adapter", "move over", "to be found out", "licensed practice only")
PAIR_MARKS = {"lines up": "=", "tight": "-", "out of reach": "x", "blocked": "#"}


def verdict_text(verdict: Verdict, currency: str | None = None) -> str:
    """The verdict as lines of text, ending in a newline."""
    told = {verdict.conflict_says, verdict.odd.says if verdict.odd is not None else None}
    why = (one for one in verdict.reasons if one.id != "r1" and one.says not in told)
    levels = (folded(f"{one.verdict}: {one.says}", f"  {MARKS[one.verdict]} ") for one in verdict.levels)
    care = (f"{one.rule}: {one.says} [{one.source}]" for one in verdict.safety if not one.hold)
    lines = [
        f"{MARKS[verdict.verdict]} {verdict.verdict.upper()}: {verdict.donor} on {verdict.host}",
        *folded(verdict.says, "    "), *holds(verdict, "    "),
        *listed("What is odd", [odd_text(verdict)] * (verdict.odd is not None), "    "),
        *listed("What proves it", [sentence(verdict.conflict_says)] if verdict.conflict_says else (), "    "),
        *listed("Why", (f"{one.says}{f' [{one.source}]' * bool(one.source)}" for one in why)),
        *_pairs(verdict), *_work(verdict, currency), *_beside(verdict, currency),
        *listed("Not known", (one.says for one in verdict.unknown), "  ? "),
        *_under("At other levels", (line for level in levels for line in level)),
        *listed("Take care", care, "    "),
        *(["", *folded(verdict.next_step, "")] if verdict.next_step else ()),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _under(heading: str, lines: Iterable[str]) -> list[str]:
    """Put lines under a heading, a blank one above it; nothing where there are none."""
    told = list(lines)
    return ["", heading, *told] if told else []


def listed(heading: str, texts: Iterable[str], lead: str = "  - ") -> list[str]:
    """Put folded texts under a heading."""
    return _under(heading, (line for text in texts for line in folded(text, lead)))


def holds(verdict: Verdict, lead: str) -> list[str]:
    """What a licensed person has to say before anything is done, as lines."""
    told = (f"HOLD, {one.rule}: {one.says} [{one.source}]" for one in verdict.safety if one.hold)
    return [line for text in told for line in folded(text, lead)]


def three_figures(verdict: Verdict, row: OptionRow | None, currency: str | None) -> list[tuple[str, str, str]]:
    """How sure, the odd or the tightest fixing, and what it takes until done: label, figure, what stands below it."""
    chance, after = verdict.chance, verdict.adapted_chance
    as_it_is = f"{chance.says} as it is" if chance is not None else ""
    sure = (f"{after.says} after the work", as_it_is) if after is not None else (as_it_is or "not known yet", "")
    minutes = sum(job.minutes or 0.0 for job in verdict.besides)
    costs = [job.cost or 0.0 for job in verdict.besides]
    if verdict.adaptation is not None:
        minutes, costs = minutes + verdict.adaptation.minutes, [*costs, verdict.adaptation.cost or 0.0]
    work = f"{minutes:g} min{_money(sum(costs) or None, currency)} of work" if minutes else "no work listed"
    price = None if row is None else row.total if row.total is not None else row.price
    least = "at least " if row is not None and row.at_least else ""
    comes_to = "" if price is None else f"comes to {least}{price:.2f} {currency or ''}".rstrip()
    telling = ("Tightest", "not known", "")
    known = [pair for pair in verdict.shown.pairs if pair.margin_mm is not None]
    if verdict.odd is not None:
        where, _, others = verdict.odd.says.partition("; ")
        telling = ("Odd", others or "none", where)
    elif known:
        worst = min(known, key=lambda pair: pair.margin_mm or 0.0)
        margin_mm = worst.margin_mm or 0.0
        told = f"{mm(margin_mm)} to spare" if margin_mm >= -1e-6 else f"{mm(-margin_mm)} out of reach"
        unsure = margin_mm < -1e-6 and verdict.verdict == NOT_ENOUGH
        telling = (
            "Tightest",
            f"{worst.feature} on {worst.fixing}: {told}",
            "as read, and readings may be out" * unsure,
        )
    return [("How sure", *sure), telling, ("Until it is done", work, comes_to)]


def odd_text(verdict: Verdict) -> str:
    """What is odd, and how far out of reach it stays wherever the donor is laid; empty: nothing is."""
    if verdict.odd is None:
        return ""
    short = [f"{odd.feature} {odd.short_mm:.2f} mm" for odd in verdict.odd.odd]
    stays = f" However it is laid with the others held, these stay out of reach: {', '.join(short)}." if short else ""
    return sentence(verdict.odd.says) + stays


def sentence(text: str) -> str:
    """Return a sentence with the stop at its end."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


def laid_how(verdict: Verdict) -> str:
    """Say how the donor is laid where it does not go on as it is; empty: by its best margin."""
    return "" if verdict.odd is None else "laid where the most hold"


def _pairs(verdict: Verdict) -> list[str]:
    shown = verdict.shown
    width = max([len(p.fixing) for p in shown.pairs] + [6])
    other = max([len(p.feature) for p in shown.pairs] + [7])
    lines = [f"    {'fixing':<{width}}  {'feature':<{other}}  {'offset':>8} {'allowed':>8} {'margin':>8}"]
    for pair in shown.pairs:
        why = f" ({pair.why})" if pair.why else ""
        names = f"{pair.fixing:<{width}}  {pair.feature:<{other}}"
        lines.append(f"  {PAIR_MARKS[pair.state]} {names}  {_figures(pair)}  {pair.state}{why}")
    for left in shown.unpaired:
        name, whose = (left.fixing, "") if left.fixing else (left.feature, " of the donor")
        lines += folded(f"{name}{whose} ({left.need}) is left over: {left.why}", "    ")
    heading = f"Fixing by fixing (mm{', ' * bool(verdict.odd)}{laid_how(verdict)})"
    return _under(heading, lines if shown.pairs or shown.unpaired else ())


def _figures(pair: Pair) -> str:
    cells = (pair.offset_mm, pair.allowed_mm, pair.margin_mm)
    return " ".join(f"{'?':>8}" if cell is None else f"{cell + 0.0:8.2f}" for cell in cells)


def verdict_work(verdict: Verdict, currency: str | None) -> list[str]:
    """The work with its tools, what is ruled out, and what goes with it, as lines."""
    return [*_work(verdict, currency, tools=True), *_beside(verdict, currency, tools=True)]


def _work(verdict: Verdict, currency: str | None, tools: bool = False) -> list[str]:
    lines = []
    if verdict.adaptation is not None:
        beside = " (whichever way the readings fall)" if verdict.verdict == NOT_ENOUGH else ""
        lines += ["", f"What to do to it{beside}"]
        lines += _jobs(verdict.adaptation, currency, tools, _sure(verdict.adaptation))
        if verdict.adapted_chance is not None:
            lines += folded(f"Chance that it goes on after that: {verdict.adapted_chance.says}.", "    ")
        for number, other in enumerate(verdict.other_adaptations, start=2):
            lines += [f"  Another way ({number})", *_jobs(other, currency, tools)]
    if verdict.likely_work is not None:
        lines += ["", "Likely work, nothing to be cut yet", *folded(likely_says(verdict), "    ")]
        lines += _jobs(verdict.likely_work, currency, tools)
    return lines + listed("Ruled out", (f"{ruled.says} [{ruled.source}]" for ruled in verdict.ruled_out))


def likely_says(verdict: Verdict) -> str:
    """What stands before work that is likely; empty: there is none."""
    if verdict.likely_work is None or verdict.likely_chance is None:
        return ""
    return (
        "As everything was read this work would make it go on, but the readings may be out: after it, it goes on in "
        f"{round(100 * verdict.likely_chance.fits)} of 100 ways that they may be. Take the readings below first; they "
        "may change what has to be cut."
    )


def _sure(adaptation: Adaptation) -> str:
    if adaptation.proved_cheapest:
        return ""
    if adaptation.proved_as_paired:
        return "; the cheapest for this way of laying it on, and there is another"
    return "; not proved to be the cheapest"


def _jobs(adaptation: Adaptation, currency: str | None, tools: bool, sure: str = "") -> list[str]:
    jobs = enumerate(together(adaptation.actions), start=1)
    lines = [line for number, job in jobs for line in _job(job, currency, tools, f"  {number}. ", "     ")]
    total = f"in all {adaptation.minutes:g} min{_money(adaptation.cost, currency)}{sure}"
    return lines + [line for text in (total, *adaptation.notes) for line in folded(text, "     ")]


def _job(action: Action, currency: str | None, tools: bool, first: str, indent: str) -> list[str]:
    minutes = f" ({action.minutes:g} min{_money(action.cost, currency)})" if action.minutes is not None else ""
    lines = folded(f"{action.says}{minutes}", first, indent)
    if tools:
        used = _money(action.material_cost, currency).removeprefix(", ") if action.material_cost else ""
        told = [f"tools: {', '.join(action.tools)}" * bool(action.tools), f"material: {used}" * bool(used)]
        lines += folded("; ".join(filter(None, told)), indent)
    return lines


def _money(amount: float | None, currency: str | None) -> str:
    return "" if amount is None else f", {amount:.2f} {currency or ''}".rstrip()


def _beside(verdict: Verdict, currency: str | None, tools: bool = False) -> list[str]:
    """Gaps, connectors and their jobs: whichever way the fixings are met."""
    told = [gap.says for gap in verdict.edges]
    told += [f"{ruled.says} [{ruled.source}]" for ruled in verdict.besides_ruled_out]
    lines = [line for text in (*told, *connector_lines(verdict)) for line in folded(text, "  - ")]
    for action in together(verdict.besides):
        lines += _job(action, currency, tools, "  - ", "    ")
    return _under("Beside the fixings", lines)


def connector_lines(verdict: Verdict) -> list[str]:
    """What is to be seen to at the connectors of a donor that may go on, where no job of `besides` says it."""
    told = {action.feature for action in verdict.besides}
    if verdict.verdict == DOES_NOT_FIT:
        return []
    return [line.says for line in verdict.connectors if line.state in UNSETTLED and line.connector not in told]
