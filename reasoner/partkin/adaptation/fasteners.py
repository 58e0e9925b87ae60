"""Bolts, spacers and clips that go with an adaptation: stack-up, thread engagement, preferred lengths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from partkin.adaptation.choices import Bench, FixingChoices, as_it_is
from partkin.adaptation.dressing import priced_action
from partkin.adaptation.limits import OPENINGS
from partkin.adaptation.pairs import THREADED
from partkin.model.adapting import Action, AdaptationQuestion
from partkin.tables.work import edge_rule, material_of, next_bolt_length_mm, washer_for


@dataclass(frozen=True)
class Stack:
    """What lies under a bolt's head, top to bottom, and how much of it must turn in thread; all in mm."""

    clamped_mm: float
    washer_mm: float
    spacer_mm: float
    engaged_mm: float

    @property
    def needed_mm(self) -> float:
        """Shortest bolt, under its head, that does."""
        return self.clamped_mm + self.washer_mm + self.spacer_mm + self.engaged_mm


def engagement_mm(bolt_mm: float, material: str | None) -> tuple[float, str]:
    """How much of a bolt must turn in a tapped hole or nut of that material, and whose figure it is.

    Examples
    --------
    >>> engagement_mm(8.0, "steel")[0], engagement_mm(8.0, "cast aluminium")[0], engagement_mm(5.0, "PP")[0]
    (8.0, 12.0, 10.0)
    """
    group = material_of(material)
    wanted = edge_rule("engagement", group.engages_as if group else "steel")
    return wanted.value * bolt_mm, wanted.source


def stack_of(bolt_mm: float, clamped_mm: float, spacer_mm: float = 0.0, threaded_in: str | None = None) -> Stack:
    """Stack up the parts that a bolt clamps against a thread of some material.

    Parameters
    ----------
    bolt_mm
        Diameter.
    clamped_mm
        Thickness of the parts with a clearance hole, together.
    spacer_mm
    threaded_in
        Material that the thread is in; None: a steel nut.

    Examples
    --------
    M8 through 3 mm, a plain washer of 1.6 and a spacer of 2, into a steel nut: 3 + 1.6 + 2 + 8.

    >>> round(stack_of(8.0, 3.0, 2.0).needed_mm, 3)
    14.6
    """
    washer = washer_for(bolt_mm)
    return Stack(clamped_mm, washer.thickness_mm if washer else 0.0, spacer_mm, engagement_mm(bolt_mm, threaded_in)[0])


def fastener_jobs(bench: Bench, units: Sequence[FixingChoices]) -> tuple[tuple[Action, ...], tuple[str, ...]]:
    """List what each fixing needs besides cutting: a spacer or longer bolt, a new clip.

    Returns
    -------
    actions, notes
        One action at most a fixing; notes say what could not be told.
    """
    thicker_mm = _thicker_mm(bench.question)
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
    """Say what a donor that goes on as it is asks for besides: spacers, longer bolts, new clips; and what to see to.

    Parameters
    ----------
    question
    pairs
        (fixing, feature) as it lies.
    """
    bench, task = Bench(question), question.task
    fixings, features = ({spot.id: spot for spot in spots} for spots in (task.fixings, task.features))
    options = {(option.fixing, option.feature): option for option in task.options}
    return fastener_jobs(bench, [as_it_is(bench, fixings[a], features[b], options.get((a, b))) for a, b in pairs])


def _thicker_mm(question: AdaptationQuestion) -> float:
    """How much thicker the donor is than the original; 0 where that does not matter or is not known."""
    donor_mm, original_mm = question.donor.thickness_mm, question.original.thickness_mm if question.original else None
    thicker_mm = 0.0 if donor_mm is None or original_mm is None else round(donor_mm - original_mm, 3)
    return thicker_mm if abs(thicker_mm) >= edge_rule("thickness that matters").value else 0.0


def _job_at(bench: Bench, unit: FixingChoices, thicker_mm: float) -> Action | None:
    feature = unit.feature.id if unit.feature is not None else f"new-{unit.fixing.id}"

    def job(do: str, says: str) -> Action:
        return priced_action(bench, do, feature, "donor", f"At {unit.fixing.id}: {says}", unit.fixing.id)

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
    return stack_of(unit.bolt_mm, clamped_mm, threaded_in=threaded_in)
