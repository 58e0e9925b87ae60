"""Work that makes a donor go on whatever a missing size turns out to be, listed beside the reading that is asked for.

Where all that is missing is how wide holes of the donor are, the worst is that they are too narrow to start with.
Work that makes each of them as wide as it has to be does whatever they are.
"""

from __future__ import annotations

from dataclasses import replace

from partkin.model.adapting import Adaptation
from partkin.model.build import Build
from partkin.model.fitting import Chance
from partkin.model.known import Known
from partkin.model.trial import Trial
from partkin.verdict import Findings

# Narrower than any stud: a hole that has to be made wider whatever goes through it.
NARROWEST_MM = 1.0
SIZES = ("across", "length")
MADE = ("open out", "slot", "new hole")


def whatever_it_is(build: Build, findings: Findings, *, others: bool = True) -> Findings:
    """Add the work that makes the donor go on whatever the sizes are that it waits for, if there is any.

    Parameters
    ----------
    build
    findings
        Of a donor that waits for values.
    others
        Look for the next different ways as well.
    """
    unsized = _unsized(findings)
    if not unsized:
        return findings
    from partkin.judging import adapting, trying

    known = _at_worst(findings.known, unsized)
    places = trying.places_of(known)
    trials = trying.trials(known, places, findings.confidence)
    if len(trials) != 1 or trials[0].missing:
        return findings
    asked = replace(findings, known=known, trials=trials)
    found = adapting.look(build, asked, places, others=others)
    answer, chance = found.adapting, found.adapted_chance
    kept = tuple(one for one in (answer.adaptations if answer else ()) if _makes(one, unsized, trials[0]))
    if answer is None or not kept or kept[0] is not answer.adaptations[0] or not _sure(chance, findings):
        return findings
    kept = tuple(_told(one, unsized) for one in kept)
    # What is forbidden was found for holes narrower than they are.
    return replace(findings, adapting=replace(answer, adaptations=kept, ruled_out=()), adapted_chance=chance)


def _told(adaptation: Adaptation, unsized: frozenset[str]) -> Adaptation:
    """In words that name no size that nobody has read."""
    actions = tuple(
        replace(action, says=action.says.replace(f" from {NARROWEST_MM:.1f} to ", " to "))
        if action.feature in unsized else action
        for action in adaptation.actions
    )  # fmt: skip
    notes = tuple(
        f"How wide {name} is need not be read first: where it is that wide already, leave it."
        for name in sorted(unsized)
    )  # fmt: skip
    return replace(adaptation, actions=actions, notes=(*adaptation.notes, *notes))


def _sure(chance: Chance | None, findings: Findings) -> bool:
    return chance is not None and chance.fits >= findings.confidence


def _unsized(findings: Findings) -> frozenset[str]:
    """Donor holes and slots whose sizes are all that is missing; empty where anything else is too."""
    trial = findings.trial
    if trial is None or len(findings.trials) != 1 or trial.stand != "missing":
        return frozenset()
    part = findings.known.donor
    cut = {f.feature for f in part.features if f.kind in ("hole", "slot")}
    sizes = [m for m in trial.missing if m.part == part.part.part and m.quantity in SIZES and m.from_feature in cut]
    names = {m.from_feature for m in sizes if m.from_feature is not None}
    return frozenset(names) if len(sizes) == len(trial.missing) else frozenset()


def _at_worst(known: Known, unsized: frozenset[str]) -> Known:
    """The donor with every hole whose size is missing as narrow as can be."""
    features = tuple(
        replace(f, across_mm=NARROWEST_MM, length_mm=NARROWEST_MM if f.kind == "slot" else f.length_mm)
        if f.feature in unsized else f
        for f in known.donor.features
    )  # fmt: skip
    return replace(known, donor=replace(known.donor, features=features), supposed=unsized)


def _makes(adaptation: Adaptation, unsized: frozenset[str], trial: Trial) -> bool:
    """Whether every such hole that is used afterwards has been given its size by the work."""
    made = {action.feature for action in adaptation.actions if action.do in MADE and action.side == "donor"}
    used = {feature for _, feature in adaptation.pairs}
    return bool(adaptation.actions) and not (unsized & used) - made
