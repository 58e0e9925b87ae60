"""The bench sheet of a donor: the work, the gaps to its neighbours, the connectors, in the order of doing."""

from __future__ import annotations

from dataclasses import dataclass

from partkin import adapting, pipeline, trying
from partkin.adaptation import compare_connectors, edge_gaps, trim_jobs, worklist
from partkin.model.adapting import Action, Adaptation, AdaptationQuestion, ConnectorLine, EdgeGap, RuledOut, Step
from partkin.model.build import Build
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, WITH_ADAPTATION
from partkin.verdict import Findings, decide

NOTHING = Adaptation((), 0.0, 0.0, 0.0, True)


@dataclass(frozen=True)
class Bench:
    """A verdict with the work that goes with it."""

    verdict: Verdict
    gaps: tuple[EdgeGap, ...]
    connectors: tuple[ConnectorLine, ...]
    trims: tuple[Action, ...]
    refused: tuple[RuledOut, ...]
    steps: tuple[Step, ...]


def bench(build: Build, donor: str, host: str | None = None) -> Bench:
    """Lay out what has to be done to a donor; no steps where it does not go on."""
    findings = pipeline.find_out(build, donor, host)
    verdict = decide(findings)
    known = findings.known
    original = known.original
    connectors = compare_connectors(original.connectors if original else (), known.donor.connectors)
    if findings.trial is None or verdict.placement is None:
        return Bench(verdict, (), connectors, (), (), ())
    question = _question(build, findings)
    gaps = _gaps(build, findings, verdict)
    trims, refused = trim_jobs(question, gaps, verdict.placement.matrix)
    ruled = tuple(r if isinstance(r, RuledOut) else RuledOut("trim edge", "edge", r.says, r.source) for r in refused)
    steps: tuple[Step, ...] = ()
    if verdict.verdict in (BOLTS_ON, WITH_ADAPTATION):
        steps = worklist(question, verdict.adaptation or NOTHING, trims, gaps, connectors)
    return Bench(verdict, gaps, connectors, trims, ruled, steps)


def _question(build: Build, findings: Findings) -> AdaptationQuestion:
    trial = findings.trial
    assert trial is not None
    places = trying.places_of(findings.known)
    prepared = trying.prepared_task(findings.known, places, mirrored=trial.mirrored)
    return adapting.question_of(build, findings, trial, prepared)


def _gaps(build: Build, findings: Findings, verdict: Verdict) -> tuple[EdgeGap, ...]:
    """Gaps to the neighbours that the host or the original has."""
    known = findings.known
    owners = {side.part.part for side in (known.host, known.original, known.donor) if side is not None}
    rows = [row for row in build.neighbours if row.part in owners]
    names = {row.neighbour for row in rows}
    ours = [o for o in build.outlines if o.part == known.donor.part.part]
    theirs = [o for o in build.outlines if o.part in names]
    if not rows or not ours or not theirs or verdict.placement is None:
        return ()
    return edge_gaps(ours, theirs, rows, verdict.placement.matrix)
