"""What goes with a part that goes on, however its fixings are met: gaps to its neighbours, connectors, their jobs.

Of the original's connectors and the donor's: what matches, what needs an adapter, what to move over.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain

from partkin.adaptation.choices import Bench
from partkin.adaptation.dressing import priced_action
from partkin.adaptation.fasteners import fasteners_as_it_is
from partkin.adaptation.limits import LICENSED
from partkin.adaptation.outlines import edge_gaps, trim_jobs
from partkin.adaptation.question import question_of
from partkin.model.adapting import Action, AdaptationQuestion, ConnectorLine, EdgeGap, RuledOut
from partkin.model.build import Build, Connector
from partkin.model.fitting import Placement
from partkin.model.verdict import Verdict
from partkin.model.words import GOES_ON, NOT_JUDGED
from partkin.trial import trying
from partkin.trial.findings import Findings

RESTRAINT = re.compile(r"(?<![a-z])(air[ -]?bag|srs|squib|pretensioner|restraint|seat[ -]?belt)", re.IGNORECASE)
LICENSED_ONLY = "licensed practice only"
ONLY_ON_DONOR = "only on the donor. Cap it and tie it back, or move the original's part over in its place."


def compare_connectors(original: Iterable[Connector], donor: Iterable[Connector]) -> tuple[ConnectorLine, ...]:
    """Say for each connector how the donor meets it.

    Connectors go together by name, else by the same ways and keying. A connector of a restraint is never
    adapted, whatever its ways.

    Returns
    -------
    tuple of ConnectorLine
        The original's in order, then the donor's that nothing takes.

    Examples
    --------
    >>> lamp = Connector("O", "lamp", ways=4, keyed_as="A")
    >>> [line.state for line in compare_connectors([lamp], [Connector("D", "lamp", ways=6, keyed_as="B")])]
    ['needs an adapter']
    """
    left, lines = list(donor), []
    for wanted in original:
        found = _counterpart(wanted, left)
        if found is not None:
            left.remove(found)
        state, says = _missing(wanted) if found is None else _met(wanted, found)
        name = wanted.connector
        lines.append(ConnectorLine(name, name, found.connector if found else None, state, f"{name}: {says}"))
    for spare in left:
        state, says = "not used", ONLY_ON_DONOR
        if RESTRAINT.search(spare.connector):
            state, says = LICENSED_ONLY, f"only on the donor, and of a restraint: leave it unplugged; {LICENSED}."
        lines.append(ConnectorLine(spare.connector, None, spare.connector, state, f"{spare.connector}: {says}"))
    return tuple(lines)


def connector_jobs(question: AdaptationQuestion, lines: Iterable[ConnectorLine]) -> tuple[Action, ...]:
    """Make a job of each connector that needs an adapter or is moved over; of a restraint's never.

    A part whose duty lets nothing be altered gets its plugs moved over or adapted all the same: that is the loom's.
    """
    bench, jobs = Bench(question), {"needs an adapter": "connector adapter", "move over": "move over"}
    asked = [line for line in lines if line.state in jobs]
    return tuple(priced_action(bench, jobs[x.state], x.connector, "donor", x.says, None) for x in asked)


def _counterpart(wanted: Connector, among: list[Connector]) -> Connector | None:
    named = [other for other in among if other.connector == wanted.connector]
    alike = [other for other in among if (other.ways, other.keyed_as) == (wanted.ways, wanted.keyed_as)]
    known = wanted.ways is not None and wanted.keyed_as is not None
    return next(iter((*named, *(alike if known else ()))), None)


def _met(wanted: Connector, found: Connector) -> tuple[str, str]:
    """How a connector that is on both goes together."""
    differ, unknown = [], []
    if wanted.ways is None or found.ways is None:
        unknown.append("ways")
    elif wanted.ways != found.ways:
        differ.append(f"{wanted.ways} ways on the original, {found.ways} on the donor")
    if wanted.keyed_as is None or found.keyed_as is None:
        unknown.append("keying")
    elif wanted.keyed_as and found.keyed_as and wanted.keyed_as != found.keyed_as:
        differ.append(f"keyed {wanted.keyed_as} on the original, {found.keyed_as} on the donor")
    if differ and RESTRAINT.search(wanted.connector):
        return LICENSED_ONLY, f"{', '.join(differ)}. A connector of a restraint is never adapted; {LICENSED}."
    if differ:
        return "needs an adapter", f"{', '.join(differ)}: make or buy an adapter, or move the original's loom over."
    if unknown:
        return "to be found out", f"{' and '.join(unknown)} not known on both: look at both plugs."
    return "matches", f"{wanted.ways} ways, keyed {wanted.keyed_as}, plugs in. Compare the wiring pin by pin."


def _missing(wanted: Connector) -> tuple[str, str]:
    if wanted.need == "spare":
        return "not used", "spare on the original; the donor has none. Nothing to do."
    if RESTRAINT.search(wanted.connector):
        return LICENSED_ONLY, f"the donor has none. A restraint's wiring is never moved or made up; {LICENSED}."
    return "move over", "the donor has none. Move it over from the original, with what it belongs to."


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
