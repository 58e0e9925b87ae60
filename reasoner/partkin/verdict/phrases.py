"""The sentences of a verdict and its table of pairs, made from the numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from partkin.model.adapting import Adaptation
from partkin.model.fitting import Conflict, FitTask, PairFit, Placement, Spot
from partkin.model.mating import Mating
from partkin.model.verdict import Laid, Pair, Trial, Unpaired
from partkin.model.words import PairState, mm, off_words
from partkin.trial.findings import Findings

OPEN_PLAY_MM = 1.0e4


def listed(names: tuple[str, ...] | list[str]) -> str:
    """Join names as a person would.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def odd_says(laid: Laid) -> str:
    """How many fixings hold where the most do, and of each odd one how far its feature stands off and which way.

    >>> from partkin.model.fitting import OddHole
    >>> pairs = Pair("F1", "a", 0.2, 0.5, 0.3, "lines up"), Pair("F2", "b", 3.2, 0.5, -2.7, "out of reach")
    >>> odd_says(Laid(None, pairs, odd=(OddHole("F2", "b", (-3.2, 0.1), 2.2),)))
    '1 of 2 fixings holds; b on F2 is 3.2 mm to the left'
    """
    holds = "holds" if laid.holding == 1 else "hold"
    states = {pair.fixing: pair for pair in laid.pairs}
    told = [f"{laid.holding} of {laid.count} fixings {holds}"]
    off: list[str] = []
    for odd in laid.odd:
        name, pair = f"{odd.feature} on {odd.fixing}", states.get(odd.fixing)
        if pair is not None and pair.state == "blocked":
            told.append(f"{odd.feature} does not go on {odd.fixing}{f' ({pair.why})' if pair.why else ''}")
        elif pair is not None:
            off.append(f"{name} {'' if off else 'is '}{off_words(odd.out_mm)}")
    told += [listed(off)] if off else []
    alone = [left.fixing for left in laid.unpaired if left.fixing and left.need == "must"]
    told += [f"nothing goes on {listed(alone)}"] if alone else []
    return "; ".join(told)


def conflict_says(trial: Trial, shown: tuple[Pair, ...]) -> str:
    """Why the named fixings cannot all be held, with the numbers to check it by hand.

    `shown`: the pairs as every other output shows them.
    """
    conflict = trial.answer.conflict
    if conflict is None:
        return ""
    if conflict.shortfall_mm is None:
        return _no_partner(trial, conflict)
    if not conflict.pairs:
        nearest = _too_small(trial, trial.answer.pairs[0]) if trial.answer.pairs else "none is wide enough"
        return f"no feature of the donor goes on any fixing; the one that comes nearest: {nearest}"
    if len(conflict.pairs) == 1:
        return _too_small(trial, conflict.pairs[0])
    if trial.task.dims == 3:
        return _in_space(trial.task, conflict)
    if len(conflict.pairs) == 2:
        return _two_apart(trial.task, conflict, _as_shown(trial.task, conflict, shown))
    same = {(p.fixing, p.feature) for p in conflict.pairs} <= {(p.fixing, p.feature) for p in shown}
    pairs = f" ({listed([f'{p.feature} on {p.fixing}' for p in conflict.pairs])})" if same else ""
    how = "whatever goes on which," if not trial.task.given else "however it is turned and shifted,"
    named = listed((*conflict.fixings, *conflict.features))
    return (
        f"{how} {named} never all go on together: at best{pairs} they are still "
        f"{mm(conflict.shortfall_mm)} out of reach"
    )


def _as_shown(task: FitTask, conflict: Conflict, shown: tuple[Pair, ...]) -> tuple[PairFit, ...]:
    """The two pairs of a conflict as they are shown; those of the conflict where one of them is not."""
    feature = {pair.fixing: pair.feature for pair in shown}
    options = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
    pairs = [replace(pair, feature=feature.get(pair.fixing, "")) for pair in conflict.pairs]
    if any((pair.fixing, pair.feature) not in options for pair in pairs):
        return conflict.pairs
    return tuple(replace(pair, allowed_mm=options[pair.fixing, pair.feature]) for pair in pairs)


def _too_small(trial: Trial, pair: PairFit) -> str:
    mating = trial.matings.get((pair.fixing, pair.feature))
    why = mating.blocked if mating is not None and mating.blocked else f"its play is {mm(pair.allowed_mm)}"
    return f"{pair.feature} does not go on {pair.fixing}: {why}"


def _two_apart(task: FitTask, conflict: Conflict, pairs: tuple[PairFit, ...]) -> str:
    one, other = pairs
    host_mm = _between(task.fixings, one.fixing, other.fixing)
    donor_mm = _between(task.features, one.feature, other.feature)
    play_mm = one.allowed_mm + other.allowed_mm
    travel_mm = _travel(task, one) + _travel(task, other)
    slots = f" and the slots take {mm(travel_mm)} along their length" if travel_mm > 0 else ""
    way = "further from" if donor_mm > host_mm else "nearer to"
    short = f"{mm(conflict.shortfall_mm or 0.0)} short at best"
    if [(p.fixing, p.feature) for p in pairs] != [(p.fixing, p.feature) for p in conflict.pairs]:
        at_best = f"whatever goes on {one.fixing} and {other.fixing}, each stays {short}"
    else:
        at_best = f"each is {short}{'' if task.given else '; no other pairing does better'}"
    return (
        f"{other.feature} stands {mm(abs(donor_mm - host_mm))} {way} {one.feature} than {other.fixing} from "
        f"{one.fixing} (donor {donor_mm:.1f}, host {host_mm:.1f} mm); the play there allows {mm(play_mm)} between "
        f"them{slots}; {at_best}"
    )


def _in_space(task: FitTask, conflict: Conflict) -> str:
    pairs = listed([f"{p.feature} on {p.fixing}" for p in conflict.pairs])
    how = "however it is turned and shifted," if task.given else "whatever goes on which,"
    worst = min(conflict.pairs, key=lambda pair: pair.margin_mm)
    if worst.direction == "lean":
        still = f"the axis of {worst.feature} still points {worst.lean_deg:.0f} degrees off that of {worst.fixing}"
    else:
        still = (
            f"they are still {mm(conflict.shortfall_mm or 0.0)} out of reach, {worst.direction} the axis of "
            f"{worst.fixing} among others"
        )
    named = listed((*conflict.fixings, *conflict.features))
    text = f"{how} {named} never all go on together: at best ({pairs}) {still}"
    if len(conflict.pairs) == 2:
        one, other = conflict.pairs
        host_mm = _between(task.fixings, one.fixing, other.fixing)
        donor_mm = _between(task.features, one.feature, other.feature)
        if worst.direction == "lean":
            host_deg = _between_axes(task.fixings, one.fixing, other.fixing)
            donor_deg = _between_axes(task.features, one.feature, other.feature)
            apart = f"point {donor_deg:.0f} degrees apart", f"{host_deg:.0f} degrees"
        else:
            apart = f"are {donor_mm:.1f} mm apart", f"{host_mm:.1f} mm"
        text += f" ({one.feature} and {other.feature} {apart[0]}, {one.fixing} and {other.fixing} {apart[1]})"
    return text


def _between(spots: tuple[Spot, ...], one: str, other: str) -> float:
    at = {spot.id: spot.at_mm for spot in spots}
    return math.dist(at[one], at[other])


def _between_axes(spots: tuple[Spot, ...], one: str, other: str) -> float:
    axis = {spot.id: spot.axis for spot in spots}
    cosine = sum(a * b for a, b in zip(axis[one], axis[other], strict=True))
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


def _travel(task: FitTask, pair: PairFit) -> float:
    host = next(s for s in task.fixings if s.id == pair.fixing)
    donor = next(s for s in task.features if s.id == pair.feature)
    return host.half_travel_mm + donor.half_travel_mm


def _no_partner(trial: Trial, conflict: Conflict) -> str:
    alone = [name for name in conflict.fixings if not any(o.fixing == name for o in trial.task.options)]
    if alone:
        return "; ".join(f"nothing of the donor goes on {name}{_why_not(trial, name)}" for name in alone)
    unheld = [name for name in conflict.features if not any(o.feature == name for o in trial.task.options)]
    if unheld:
        return f"nothing of the host takes {listed(unheld)} of the donor, which must be used"
    partners = {o.feature for o in trial.task.options if o.fixing in conflict.fixings}
    if conflict.fixings:
        count = f"{len(conflict.fixings)} fixings ({listed(conflict.fixings)})"
        return f"{count} and only {len(partners)} features of the donor that can go on them"
    return f"{listed(conflict.features)} of the donor must be used, and the host has too few fixings that take them"


def _why_not(trial: Trial, fixing: str) -> str:
    whys = [m.blocked for pair, m in trial.matings.items() if pair[0] == fixing and m.blocked]
    different = list(dict.fromkeys(whys))
    return f" ({different[0]})" if len(different) == 1 else ""


TIGHT_MM = 0.1
ZERO_MM = 1e-6


def state(margin_mm: float, blocked: bool) -> PairState:
    """Name how a pair stands.

    Examples
    --------
    >>> state(0.29, False), state(0.0, False), state(-0.4, False), state(-0.5, True)
    ('lines up', 'tight', 'out of reach', 'blocked')
    """
    if blocked:
        return "blocked"
    if margin_mm < -ZERO_MM:
        return "out of reach"
    return "tight" if margin_mm < TIGHT_MM else "lines up"


def laid(findings: Findings, trial: Trial, placement: Placement | None, fits: Iterable[PairFit]) -> Laid:
    """A way of laying the donor on, with the state of every pair and what is left over.

    Every pair that is measured, and those that goes_on names and that cannot go together.
    """
    fits = tuple(fits)
    found = [
        _pair(pair, trial.matings.get((pair.fixing, pair.feature))) for pair in fits if pair.allowed_mm < OPEN_PLAY_MM
    ]
    found += _blocked_as_given(trial, {pair.fixing for pair in found})
    order = {spot.id: number for number, spot in enumerate(trial.task.fixings)}
    listed = tuple(sorted(found, key=lambda pair: order.get(pair.fixing, len(order))))
    return Laid(placement, listed, _unpaired(findings, trial, fits, {pair.fixing for pair in listed}))


def after_work(adaptation: Adaptation | None) -> Laid | None:
    """How the donor lies once the work is done; None: there is none, or where it then lies is not known."""
    if adaptation is None or adaptation.placement is None:
        return None
    return Laid(adaptation.placement, tuple(_pair(pair, None) for pair in adaptation.stands))


def _pair(pair: PairFit, mating: Mating | None) -> Pair:
    why = mating.blocked if mating is not None else None
    blocked = why is not None
    if not blocked and pair.direction == "lean" and pair.margin_mm < 0:
        why = f"its axis points {pair.lean_deg:.0f} degrees off that of the fixing"
    return Pair(
        pair.fixing, pair.feature, pair.offset_mm, pair.allowed_mm, pair.margin_mm,
        state(pair.margin_mm, blocked), why, pair.direction, pair.along_mm, pair.lean_deg,
    )  # fmt: skip


def _blocked_as_given(trial: Trial, shown: set[str]) -> list[Pair]:
    """Pairs that the sheet names with goes_on and that cannot go together (thread, kind)."""
    named: dict[str, list[Pair]] = {}
    for (fixing, feature), mating in trial.matings.items():
        named.setdefault(fixing, []).append(Pair(fixing, feature, None, None, None, "blocked", mating.blocked))
    return [
        pair for fixing, (pair, *others) in named.items()
        if fixing not in shown and not others and not trial.matings[fixing, pair.feature].option
    ]  # fmt: skip


def _unpaired(findings: Findings, trial: Trial, fits: tuple[PairFit, ...], shown: set[str]) -> tuple[Unpaired, ...]:
    """Fixings and features that are left over, and why."""
    used = {name for pair in fits for name in ((0, pair.fixing), (1, pair.feature))}
    host_needs = needs(findings, donor=False)
    donor_needs = needs(findings, donor=True)
    open_ends = [pair.fixing for pair in fits if pair.allowed_mm >= OPEN_PLAY_MM]
    found = [
        Unpaired(fixing, None, host_needs.get(fixing, "must"), "not everything is measured here")
        for fixing in open_ends
    ]
    found += [
        Unpaired(spot.id, None, host_needs.get(spot.id, "must"), why_left(trial, spot.id))
        for spot in trial.task.fixings if (0, spot.id) not in used and spot.id not in shown
    ]  # fmt: skip
    for spot in trial.task.features:
        need = donor_needs.get(spot.id, "should")
        if (1, spot.id) not in used and need != "spare":
            found.append(Unpaired(None, spot.id, need, _why_feature_left(findings, spot.id)))
    return tuple(found)


def needs(findings: Findings, *, donor: bool) -> dict[str, str]:
    """Need of each feature, by id; fixings shown by the original keep the original's."""
    known = findings.known
    if donor:
        return {f.feature: f.need or "should" for f in known.donor.features}
    side = known.host if known.host.features or known.original is None else known.original
    return {f.feature: f.need or "must" for f in side.features}


def why_left(trial: Trial, fixing: str) -> str:
    """Why no donor feature was paired with a fixing."""
    task: FitTask = trial.task
    considered = [m for pair, m in trial.matings.items() if pair[0] == fixing]
    if not any(o.fixing == fixing for o in task.options):
        blocked = list(dict.fromkeys(m.blocked for m in considered if m.blocked))
        return blocked[0] if len(blocked) == 1 else "no feature of the donor can go on it"
    if trial.answer.limit and not trial.answer.pairs:
        return "what goes on it was not searched to the end"
    return "no feature of the donor is in reach"


def _why_feature_left(findings: Findings, feature: str) -> str:
    kind = next((f.kind for f in findings.known.donor.features if f.feature == feature), "hole")
    if kind in ("stud", "peg"):
        return f"this {kind} meets no hole of the host as listed: see that it stands clear, or it holds the part off"
    return "no fixing of the host is in reach"
