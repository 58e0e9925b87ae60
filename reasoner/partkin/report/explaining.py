"""The because-chain of a verdict, as a person would tell it."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.verdict import Reason, Verdict
from partkin.model.words import folded
from partkin.report.text import listed


def chain_text(verdict: Verdict, disagreeing: Iterable[tuple[str, str]] = ()) -> str:
    """The verdict and what it rests on, each reason under the one that it carries; ends in a newline.

    `disagreeing`: (says, what decides) of each disagreement.
    """
    by_id = {reason.id: reason for reason in verdict.reasons}
    lines = [f"{verdict.donor} on {verdict.host}: {verdict.verdict}"]
    lines += folded(verdict.says, "  ", "  ")
    because = _under(verdict.reasons[0], by_id, 1) if verdict.reasons else []
    if because:
        lines += ["", "because", *because]
    told = list(disagreeing)
    if told:
        lines += ["", "where the evidence disagrees"]
        for says, decides in told:
            lines += [*folded(says, "  - ", "    "), *folded(f"decides: {decides}", "    ", "    ")]
    lines += listed("and not known", (unknown.says for unknown in verdict.unknown), "  ? ")
    lines += listed("at other levels", (level.says for level in verdict.levels))
    return "\n".join(lines) + "\n"


def _under(reason: Reason, by_id: dict[str, Reason], depth: int) -> list[str]:
    lines: list[str] = []
    indent = "  " * depth
    for because in reason.because:
        below = by_id[because]
        source = f" [{below.source}]" if below.source else ""
        lines += folded(below.says + source, f"{indent}- ", f"{indent}  ")
        lines += _under(below, by_id, depth + 1)
    return lines


def changes_text(verdict: Verdict, changes: Iterable[tuple[str, str]]) -> str:
    """What would have to be true for another verdict: (says, source) each; ends in a newline."""
    lines = [f"{verdict.donor} on {verdict.host}: {verdict.verdict}", "", "For another verdict"]
    for says, source in changes:
        lines += folded(f"{says} [{source}]", "  - ", "    ")
    return "\n".join(lines) + "\n"
