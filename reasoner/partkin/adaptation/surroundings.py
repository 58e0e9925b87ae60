"""What goes with a part that goes on, however its fixings are met: gaps to neighbours, connectors, bolts and clips.

Of the original's connectors and the donor's: what matches, what needs an adapter, what to move over.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import chain
from typing import NamedTuple

from partkin.adaptation.choices import FixingChoices, as_it_is
from partkin.adaptation.limits import LICENSED, OPENINGS
from partkin.adaptation.outlines import edge_gaps, trim_jobs
from partkin.adaptation.question import Bench, question_of
from partkin.adaptation.sizes import THREADED
from partkin.model.adapting import Action, AdaptationQuestion, ConnectorLine, EdgeGap, RuledOut
from partkin.model.build import Build, Connector
from partkin.model.fitting import Placement
from partkin.model.verdict import Verdict
from partkin.model.words import GOES_ON, NOT_JUDGED
from partkin.tables.work import edge_rule, material_of, next_bolt_length_mm, washer_for
from partkin.trial import trying
from partkin.trial.findings import Findings

RESTRAINT = re.compile(r"(?<![a-z])(air[ -]?bag|srs|squib|pretensioner|restraint|seat[ -]?belt)", re.IGNORECASE)
LICENSED_ONLY = "licensed practice only"
ONLY_ON_DONOR = "only on the donor. Cap it and tie it back, or move the original's part over in its place."


def compare_connectors(original: Iterable[Connector], donor: Iterable[Connector]) -> tuple[ConnectorLine, ...]:
    """Say for each connector how the donor meets it: the original's in order, then the donor's that nothing takes.

    Connectors go together by name, else by the same ways and keying. A connector of a restraint is never
    adapted, whatever its ways.

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
    return tuple(bench.action(jobs[x.state], x.connector, x.says) for x in asked)


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


def with_surroundings(build: Build, findings: Findings, verdict: Verdict) -> Verdict:
    """Add gaps along its edges, connectors, fasteners, and the jobs that these ask for, where the donor goes on."""
    known = findings.known
    if verdict.verdict == NOT_JUDGED:
        return verdict
    original = known.original.connectors if known.original is not None else ()
    connectors = compare_connectors(original, known.donor.connectors)
    question, placement = after_work(build, findings, verdict)
    if question is None:
        return replace(verdict, connectors=connectors)
    jobs = connector_jobs(question, connectors)
    if verdict.adaptation is None and verdict.pairs:
        more, notes = fasteners_as_it_is(question, [(pair.fixing, pair.feature) for pair in verdict.pairs])
        jobs, verdict = (*more, *jobs), replace(verdict, notes=(*verdict.notes, *notes))
    if placement is None:
        return replace(verdict, connectors=connectors, besides=jobs)
    edges = _edges(build, findings, verdict, placement)
    trims, refused = trim_jobs(question, edges, placement.matrix) if edges else ((), ())
    ruled_out = tuple(RuledOut("trim edge", "edge", refusal.says, refusal.source) for refusal in refused)
    return replace(verdict, edges=edges, connectors=connectors, besides=(*trims, *jobs), besides_ruled_out=ruled_out)


def after_work(
    build: Build, findings: Findings, verdict: Verdict
) -> tuple[AdaptationQuestion | None, Placement | None]:
    """What may be done to a donor that goes on, and where it lies after work; None: it does not, or was not laid on."""
    trial = findings.trial
    if trial is None or verdict.verdict not in GOES_ON:
        return None, None
    places = trying.as_tried(findings.known, trying.places_of(findings.known), trial)
    prepared = trying.prepared_task(findings.known, places, mirrored=trial.mirrored)
    return question_of(build, findings, prepared), (verdict.after or verdict.shown).placement


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


class Stack(NamedTuple):
    """What lies under a bolt's head, top to bottom, and how much of it must turn in thread; all in mm."""

    clamped_mm: float
    washer_mm: float
    engaged_mm: float

    @property
    def needed_mm(self) -> float:
        """Shortest bolt, under its head, that does."""
        return self.clamped_mm + self.washer_mm + self.engaged_mm


def engagement_mm(bolt_mm: float, material: str | None) -> tuple[float, str]:
    """How much of a bolt must turn in a tapped hole or nut of that material, and whose figure it is.

    >>> engagement_mm(8.0, "steel")[0], engagement_mm(8.0, "cast aluminium")[0], engagement_mm(5.0, "PP")[0]
    (8.0, 12.0, 10.0)
    """
    group = material_of(material)
    wanted = edge_rule("engagement", group.engages_as if group else "steel")
    return wanted.value * bolt_mm, wanted.source


def stack_of(bolt_mm: float, clamped_mm: float, threaded_in: str | None = None) -> Stack:
    """Stack up the parts that a bolt clamps: `threaded_in`: material that the thread is in; None: a steel nut.

    M8 through 3 mm and a plain washer of 1.6, into a steel nut: 3 + 1.6 + 8.

    >>> round(stack_of(8.0, 3.0).needed_mm, 3)
    12.6
    """
    washer = washer_for(bolt_mm)
    return Stack(clamped_mm, washer.thickness_mm if washer else 0.0, engagement_mm(bolt_mm, threaded_in)[0])


def fastener_jobs(bench: Bench, units: Sequence[FixingChoices]) -> tuple[tuple[Action, ...], tuple[str, ...]]:
    """List what each fixing needs besides cutting: a spacer or longer bolt, a new clip; and what could not be told."""
    # How much thicker the donor is than the original; 0 where that does not matter or is not known.
    donor, original = bench.question.donor, bench.question.original
    thicker_mm = 0.0
    if donor.thickness_mm is not None and original is not None and original.thickness_mm is not None:
        thicker_mm = round(donor.thickness_mm - original.thickness_mm, 3)
    if abs(thicker_mm) < edge_rule("thickness that matters").value:
        thicker_mm = 0.0
    found = (_job_at(bench, unit, thicker_mm) for unit in units)
    studs = ", ".join(unit.fixing.id for unit in units if unit.host.kind == "stud")
    notes: tuple[str, ...] = ()
    if thicker_mm > 0.0 and studs:
        notes = (
            f"The donor is {thicker_mm:.1f} mm thicker than the original: see that each stud ({studs}) still stands "
            "out far enough for its nut to engage over one diameter.",
        )
    return tuple(action for action in found if action is not None), notes


def fasteners_as_it_is(
    question: AdaptationQuestion, pairs: Sequence[tuple[str, str]]
) -> tuple[tuple[Action, ...], tuple[str, ...]]:
    """Say what a donor that goes on as it is asks for besides: spacers, longer bolts, new clips; and what to see to."""
    bench, task = Bench(question), question.task
    fixings, features = ({spot.id: spot for spot in spots} for spots in (task.fixings, task.features))
    options = {(option.fixing, option.feature): option for option in task.options}
    return fastener_jobs(bench, [as_it_is(bench, fixings[a], features[b], options.get((a, b))) for a, b in pairs])


def _job_at(bench: Bench, unit: FixingChoices, thicker_mm: float) -> Action | None:
    feature = unit.feature.id if unit.feature is not None else f"new-{unit.fixing.id}"

    def job(do: str, says: str) -> Action:
        return bench.action(do, feature, f"At {unit.fixing.id}: {says}", unit.fixing.id)

    if "clip" in (unit.host.kind, unit.donor.kind if unit.donor else None):
        return job("new clip", "use a new clip; old ones break or loosen when they come off.")
    bolted = unit.host.kind in (*THREADED, *OPENINGS) and unit.bolt_mm is not None
    if thicker_mm < 0.0 and (bolted or unit.host.kind == "stud"):
        says = (
            f"put a spacer or washers {-thicker_mm:.1f} mm thick between donor and fixing. The donor is that much "
            "thinner than the original, and its face is to lie where the original's lay. The bolt stays as long."
        )
        return replace(job("spacer", says), to_mm=-thicker_mm)
    stack = _stack_at(bench.question, unit) if thicker_mm > 0.0 and bolted else None
    length_mm = next_bolt_length_mm(stack.needed_mm) if stack is not None else None
    if stack is None or length_mm is None:
        return None
    says = (
        f"use an M{unit.bolt_mm:g} bolt {length_mm:g} mm long or longer: {stack.clamped_mm:g} mm clamped + "
        f"{stack.washer_mm:g} washer + {stack.engaged_mm:g} in the thread = {stack.needed_mm:.1f} mm. The donor is "
        f"{thicker_mm:.1f} mm thicker than the original. See that it does not reach the bottom."
    )
    return replace(job("longer bolt", says), to_mm=unit.bolt_mm, length_mm=length_mm)


def _stack_at(question: AdaptationQuestion, unit: FixingChoices) -> Stack | None:
    """What the bolt of a fixing clamps; None where it is not known."""
    donor_mm, host, through = question.donor.thickness_mm, question.host, unit.host.kind in OPENINGS
    if unit.bolt_mm is None or donor_mm is None or (through and host.thickness_mm is None):
        return None
    clamped_mm = donor_mm + (host.thickness_mm or 0.0 if through else 0.0)
    threaded_in = host.material if unit.host.kind == "tapped hole" else None
    return stack_of(unit.bolt_mm, clamped_mm, threaded_in)
