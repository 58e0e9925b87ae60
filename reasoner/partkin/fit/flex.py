"""Donors that give: judged rigid first, then pulled by hand as far as the sheet says.

Out of its plane (along the fixings' axes) a pull lets each fixing engage from that much further off, which in
a flat pattern changes nothing; in its plane, where the sheet says that it gives there too, it widens what is
allowed at each fixing. Each fixing is pulled by itself: that a stiff part pulled at one fixing moves at the next
is not counted. How far a hole leans is not relaxed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from partkin.fit.arrays import WILD_MM
from partkin.model.fitting import FitAnswer, FitTask, Option, Spot

Solve = Callable[[FitTask], FitAnswer]

STEP_MM = 0.01
"""The pull that is needed is found to this."""


def gives(task: FitTask) -> bool:
    """Whether a pull by hand changes anything."""
    return task.flex_mm > 0 and (task.dims == 3 or task.flex_in_plane)


def pulled(task: FitTask, by_mm: float) -> FitTask:
    """The task of the donor pulled by this much at every fixing, rigid otherwise.

    Examples
    --------
    >>> flat = FitTask((Spot("F", (0.0, 0.0)),), (Spot("a", (0.0, 0.0)),), (Option("F", "a", 0.5),),
    ...                flex_mm=2.0, flex_in_plane=True)
    >>> pulled(flat, 1.5).options[0].allowed_mm
    2.0
    """
    options = task.options
    if task.flex_in_plane:
        options = tuple(_wider(option, by_mm) for option in options)
    fixings, features = task.fixings, task.features
    if task.dims == 3:
        held = {spot.id for spot in features if spot.grip_mm is not None}
        fastened = {option.fixing for option in options if option.feature in held}
        fixings = tuple(_further(spot, by_mm, spot.id in fastened) for spot in fixings)
        features = tuple(_further(spot, by_mm, True) for spot in features)
    return replace(
        task, fixings=fixings, features=features, options=options, flex_mm=0.0, pulled_mm=task.pulled_mm + by_mm
    )


def with_flex(task: FitTask, solve: Solve) -> FitAnswer:
    """Solve a task rigid, and where it does not fit so, pulled by hand no more than is needed.

    Parameters
    ----------
    task
    solve
        Judges a task as rigid.

    Returns
    -------
    FitAnswer
        `flex_used_mm` 0: as rigid. Where it fits pulled: the least pull that is enough for the pairing that fits
        best, to `STEP_MM`, and the placement under that pull. Where it fits not even pulled as far as it gives:
        the conflict that is left then.
    """
    rigid = solve(task)
    if rigid.fits is not False or not gives(task):
        return rigid
    full = solve(pulled(task, task.flex_mm))
    if full.fits is not True:
        return replace(full, flex_used_mm=task.flex_mm)
    by_mm = _least_pull_mm(task, _needed(task, full))
    answer = solve(pulled(task, by_mm))
    if answer.fits is not True:
        answer, by_mm = full, task.flex_mm
    return replace(answer, flex_used_mm=by_mm)


def _needed(task: FitTask, answer: FitAnswer) -> list[tuple[str, str]]:
    """The pairs that have to hold: those that cover a must, or all where nothing must be paired."""
    must = {s.id for s in task.fixings if s.must}, {s.id for s in task.features if s.must}
    shown = [(pair.fixing, pair.feature) for pair in answer.pairs]
    return [pair for pair in shown if pair[0] in must[0] or pair[1] in must[1]] or shown


def _least_pull_mm(task: FitTask, pairs: list[tuple[str, str]]) -> float:
    low, high = 0, math.ceil(task.flex_mm / STEP_MM)
    while high - low > 1:
        middle = (low + high) // 2
        if _holds(pulled(task, middle * STEP_MM), pairs):
            high = middle
        else:
            low = middle
    return min(round(high * STEP_MM, 6), task.flex_mm)


def _holds(task: FitTask, pairs: list[tuple[str, str]]) -> bool:
    """Whether these pairs hold together."""
    from partkin.fit.arrays import Pairs
    from partkin.fit.minimax import best_wherever

    known = Pairs.of(task, pairs)
    return best_wherever(known, stop_at_sign=True).fits


def _wider(option: Option, by_mm: float) -> Option:
    """A fastener that is too large for its hole stays so, and what is not known stays unknown."""
    if not 0 <= option.allowed_mm < WILD_MM:
        return option
    return replace(option, allowed_mm=option.allowed_mm + by_mm)


def _further(spot: Spot, by_mm: float, fastened: bool) -> Spot:
    """Where no fastener is known the faces have to meet, and the pull is all that brings them together."""
    if spot.grip_mm is None and fastened:
        return spot
    return replace(spot, grip_mm=(spot.grip_mm or 0.0) + by_mm)
