"""Work that makes a donor go on whatever a missing size turns out to be, listed beside the reading that is asked for.

Where all that is missing is how wide holes of the donor are, the worst is that they are too narrow to start with.
Work that makes each of them as wide as it has to be does whatever they are.
"""

from __future__ import annotations

from dataclasses import replace

from partkin.model.adapting import Adaptation
from partkin.model.build import Build
from partkin.trial.findings import Findings

# Narrower than any stud: a hole that has to be made wider whatever goes through it.
NARROWEST_MM = 1.0
SIZES = ("across", "length")
MADE = ("open out", "slot", "new hole")


def work_for_any_size(build: Build, findings: Findings, *, others: bool = True) -> Findings:
    """Add the work that makes a donor go on whatever the sizes are that it waits for, if there is any."""
    unsized = _unsized(findings)
    if not unsized:
        return findings
    from partkin.adaptation import adapting
    from partkin.trial import trying

    # The donor with every hole whose size is missing as narrow as can be.
    features = []
    for f in findings.known.donor.features:
        if f.feature in unsized:
            f = replace(f, across_mm=NARROWEST_MM, length_mm=NARROWEST_MM if f.kind == "slot" else f.length_mm)
        features.append(f)
    donor = replace(findings.known.donor, features=tuple(features))
    known = replace(findings.known, donor=donor, supposed=unsized)
    places = trying.places_of(known)
    trials = trying.trials(known, places, findings.confidence)
    if len(trials) != 1 or trials[0].missing:
        return findings
    found = adapting.cheapest_work(build, replace(findings, known=known, trials=trials), places, others=others)
    answer, chance = found.adapting, found.adapted_chance
    if answer is None or chance is None or chance.fits < findings.confidence:
        return findings
    # Every such hole that is used afterwards has to be given its size by the work.
    kept = []
    for one in answer.adaptations:
        made = {action.feature for action in one.actions if action.do in MADE and action.side == "donor"}
        if one.actions and not (unsized & {feature for _, feature in one.pairs}) - made:
            kept.append(one)
    if not kept or kept[0] is not answer.adaptations[0]:
        return findings
    ways = tuple(_without_unread_sizes(one, unsized) for one in kept)
    # What is forbidden was found for holes narrower than they are.
    return replace(findings, adapting=replace(answer, adaptations=ways, ruled_out=()), adapted_chance=chance)


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


def _without_unread_sizes(adaptation: Adaptation, unsized: frozenset[str]) -> Adaptation:
    """In words that name no size that nobody has read."""
    actions = tuple(
        replace(a, says=a.says.replace(f" from {NARROWEST_MM:.1f} to ", " to ")) if a.feature in unsized else a
        for a in adaptation.actions
    )
    need_not = "need not be read first: where it is that wide already, leave it."
    notes = (f"How wide {name} is {need_not}" for name in sorted(unsized))
    return replace(adaptation, actions=actions, notes=(*adaptation.notes, *notes))
