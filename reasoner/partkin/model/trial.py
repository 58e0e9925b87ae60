"""One way of laying the donor on the host (as seen, or mirrored), and how it came out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from partkin.model.adapting import Adaptation
from partkin.model.fitting import Chance, Conflict, FitAnswer, FitTask, LikelyPlaces
from partkin.model.mating import Mating
from partkin.model.positions import Missing

Stand = Literal["fits", "does not", "unsure", "missing", "undecided"]


@dataclass(frozen=True)
class SeamCheck:
    """Where the donor's tear seams and airbag doors lie against the original's at the placement.

    `too_far`: (zone kind, departure_mm, limit_mm). `unknown_on_donor`, `unknown_on_original`: zone kinds that
    one side has and the other does not list. `conflict`: the proof that no placement puts the seams right.
    """

    is_airbag_panel: bool
    coincide: tuple[tuple[str, float, float], ...] = ()
    too_far: tuple[tuple[str, float, float], ...] = ()
    unknown_on_donor: tuple[str, ...] = ()
    unknown_on_original: tuple[str, ...] = ()
    not_compared: str | None = None
    conflict: Conflict | None = None


@dataclass(frozen=True)
class Trial:
    """The geometry's answer with what the verdict needs beside it.

    `stand`: fits (chance at or above the confidence), does not (a conflict that no reading still missing
    can undo), unsure (in between), missing (a needed value is not known), undecided (limit reached).
    `matings`: (fixing, feature) -> how the two go together, for every pair that was considered.
    `missing`: what is needed and not known; empty unless `stand` is missing.
    `layouts`: number of the host's and of the donor's layout that was tried. `without`: (part, reading) that
    was left out for this trial, because it or another one must be wrong. `seams`: how they lie, on a panel that an
    airbag bursts through. `nowhere`: fixings and features of which no place is known; the task has them at its origin.
    `work`: what was done to the donor first; None: it was laid on as it is. `likely`: of one that fits, places within
    the errors of all readings that let it go on.
    """

    mirrored: bool
    task: FitTask
    answer: FitAnswer
    chance: Chance | None
    stand: Stand
    matings: dict[tuple[str, str], Mating]
    missing: tuple[Missing, ...] = ()
    layouts: tuple[int, int] = (0, 0)
    without: tuple[str, str] | None = None
    seams: SeamCheck | None = None
    nowhere: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())
    work: Adaptation | None = None
    likely: LikelyPlaces | None = None

    @property
    def says(self) -> Stand:
        """How it stands, seams and all: a panel that goes on with its seam elsewhere does not fit."""
        wrong = self.seams is not None and bool(self.seams.too_far)
        return "does not" if wrong and self.stand in ("fits", "unsure") else self.stand


# The better of two answers first.
BEST_FIRST: dict[Stand, int] = {"fits": 0, "unsure": 1, "missing": 2, "undecided": 3, "does not": 4}


def better_way_round(trials: Iterable[Trial]) -> frozenset[Stand]:
    """What several ways of laying a part come to, each the way round that is better for it."""
    best: dict[object, Stand] = {}
    for trial in trials:
        key = (trial.layouts, trial.without)
        best[key] = min(best.get(key, trial.says), trial.says, key=BEST_FIRST.__getitem__)
    return frozenset(best.values())
