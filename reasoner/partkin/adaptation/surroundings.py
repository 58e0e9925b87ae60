"""What goes with a part that goes on, however its fixings are met: gaps to its neighbours, connectors, their jobs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain

from partkin.adaptation.connectors import compare_connectors, connector_jobs
from partkin.adaptation.fasteners import fasteners_as_it_is
from partkin.adaptation.outlines import edge_gaps, trim_jobs
from partkin.adaptation.question import question_of
from partkin.model.adapting import AdaptationQuestion, EdgeGap, RuledOut
from partkin.model.build import Build
from partkin.model.fitting import Placement
from partkin.model.verdict import Verdict
from partkin.model.words import GOES_ON, NOT_JUDGED
from partkin.trial import trying
from partkin.trial.findings import Findings


@dataclass(frozen=True)
class AfterWork:
    """A donor that goes on: what may be done to it, and where it then lies (None: it was not laid on)."""

    question: AdaptationQuestion
    placement: Placement | None


def with_surroundings(build: Build, findings: Findings, verdict: Verdict) -> Verdict:
    """Add gaps along its edges, connectors, fasteners, and the jobs that these ask for, where the donor goes on."""
    known = findings.known
    if verdict.verdict == NOT_JUDGED:
        return verdict
    original = known.original.connectors if known.original is not None else ()
    connectors = compare_connectors(original, known.donor.connectors)
    there = after_work(build, findings, verdict)
    if there is None:
        return replace(verdict, connectors=connectors)
    jobs = connector_jobs(there.question, connectors)
    if verdict.adaptation is None and verdict.pairs:
        more, notes = fasteners_as_it_is(there.question, [(pair.fixing, pair.feature) for pair in verdict.pairs])
        jobs, verdict = (*more, *jobs), replace(verdict, notes=(*verdict.notes, *notes))
    if there.placement is None:
        return replace(verdict, connectors=connectors, besides=jobs)
    edges = _edges(build, findings, verdict, there.placement)
    trims, refused = trim_jobs(there.question, edges, there.placement.matrix) if edges else ((), ())
    ruled_out = tuple(RuledOut("trim edge", "edge", refusal.says, refusal.source) for refusal in refused)
    return replace(verdict, edges=edges, connectors=connectors, besides=(*trims, *jobs), besides_ruled_out=ruled_out)


def after_work(build: Build, findings: Findings, verdict: Verdict) -> AfterWork | None:
    """How a donor that goes on lies once its work is done; None: it does not go on, or nothing of it was laid on."""
    trial = findings.trial
    if trial is None or verdict.verdict not in GOES_ON:
        return None
    places = trying.as_tried(findings.known, trying.places_of(findings.known), trial)
    prepared = trying.prepared_task(findings.known, places, mirrored=trial.mirrored)
    question = question_of(build, findings, prepared)
    return AfterWork(question, (verdict.after or verdict.shown).placement)


def _edges(build: Build, findings: Findings, verdict: Verdict, placement: Placement) -> tuple[EdgeGap, ...]:
    """Gaps to the neighbours that the host or the original has."""
    known = findings.known
    owners = {side.part.part for side in (known.host, known.original, known.donor) if side is not None}
    rows = [row for row in build.neighbours if row.part in owners]
    names = {row.neighbour for row in rows}
    ours = [o for o in build.outlines if o.part == known.donor.part.part]
    theirs = [o for o in build.outlines if o.part in names]
    if not ours or not theirs or any(len(at) > 2 for _, at in chain(verdict.host_positions, verdict.donor_positions)):
        return ()
    return edge_gaps(ours, theirs, rows, placement.matrix, landmarks=dict(verdict.host_positions))
