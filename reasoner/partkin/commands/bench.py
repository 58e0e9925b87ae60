"""The bench sheet of a donor: the work, the gaps to its neighbours, the connectors, in the order of doing."""

from __future__ import annotations

from partkin import pipeline
from partkin.adaptation import surroundings
from partkin.adaptation.bench_sheet import worklist
from partkin.model.adapting import Adaptation, BenchStep
from partkin.model.build import Build
from partkin.model.verdict import Verdict


def bench(build: Build, donor: str, host: str | None = None) -> tuple[Verdict, tuple[BenchStep, ...]]:
    """Lay out what has to be done to a donor; no steps where it does not go on.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    findings = pipeline.find_out(build, donor, host)
    verdict = pipeline.decided(build, findings)
    after_work = surroundings.after_work(build, findings, verdict)
    if after_work is None:
        return verdict, ()
    pairs = tuple((pair.fixing, pair.feature) for pair in verdict.pairs)
    as_it_is = Adaptation((), 0.0, 0.0, verdict.margin_mm or 0.0, True, pairs=pairs)
    work = verdict.adaptation or as_it_is
    return verdict, worklist(after_work.question, work, verdict.besides, verdict.edges, verdict.connectors)
