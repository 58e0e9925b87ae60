"""Solutions that can be carried out, made from those that cannot: an upper bound for the search."""

from __future__ import annotations

from partkin.strip.access import carried, has_left, lump_of_wanted
from partkin.strip.blocking import Blocking
from partkin.strip.bodies import Assembly
from partkin.strip.master import Chosen, cost_minutes


class Repair:
    """What is wanted of a solution, and what can be done at most.

    Parameters
    ----------
    asm
    wanted
        Fasteners that have to be undone.
    lifted
        Whether the wanted part is carried away in the end.
    can, on_vehicle
        Fasteners that some order reaches: at all, and on the vehicle.
    guide
        How much the relaxation uses each fastener: what it uses is added first and left out last.
    """

    def __init__(
        self,
        asm: Assembly,
        wanted: tuple[int, ...],
        lifted: bool,
        can: frozenset[int],
        on_vehicle: frozenset[int],
        guide: tuple[float, ...],
    ) -> None:
        self.asm = asm
        self.wanted = wanted
        self.lifted = lifted
        self.can = can
        self.on_vehicle = on_vehicle
        self.guide = guide
        self.reach = {in_place: Blocking(asm, in_place) for in_place in (False, True)}

    def _run(self, allowed: frozenset[int], in_place: bool) -> frozenset[int]:
        """Return what comes undone when only these may: `access.run`, in bits."""
        bits = self.reach[in_place].run(sum(1 << index for index in allowed))
        return frozenset(index for index in allowed if bits >> index & 1)

    def good(self, chosen: Chosen) -> bool:
        """Whether a solution can be carried out and does what is wanted."""
        asm = self.asm
        if not chosen.undone.issuperset(self.wanted):
            return False
        if asm.on_bench:
            return self._run(chosen.undone, False) == chosen.undone
        first = chosen.undone - chosen.at_bench
        if self._run(first, True) != first:
            return False
        if not chosen.at_bench:
            return True
        if not has_left(asm, first):
            return False
        along = carried(asm, chosen.at_bench, lump_of_wanted(asm, first))
        # Whatever is reached in place is reached when nothing is held in place, so one run does for both.
        return len(along) == len(chosen.at_bench) and self._run(chosen.undone, False) == chosen.undone

    def tidied(self, chosen: Chosen) -> Chosen:
        """Leave out whatever is not needed, dearest first, where that does not make the lift dearer.

        Again and again, because what only helped something that was left out later is not needed any more then.
        """
        chosen, count = self._at_least(chosen), -1
        while len(chosen.undone) != count:
            count = len(chosen.undone)
            chosen = self._less(chosen)
        return chosen

    def _less(self, chosen: Chosen) -> Chosen:
        asm = self.asm
        cost = cost_minutes(asm, chosen, self.lifted)
        order = sorted(
            chosen.undone - frozenset(self.wanted),
            key=lambda i: (round(self.guide[i], 3), -asm.fasteners[i].minutes, i),
        )
        for index in order:
            gone = frozenset([index])
            smaller = Chosen(chosen.undone - gone, chosen.at_bench - gone, chosen.carried)
            if self.good(smaller):
                smaller = self._at_least(smaller)
                less = cost_minutes(asm, smaller, self.lifted)
                if less <= cost:
                    chosen, cost = smaller, less
        return chosen

    def repaired(self, chosen: Chosen) -> Chosen:
        """Add what is missing until it can be carried out, the cheapest each time; then leave out again."""
        asm = self.asm
        if asm.on_bench:
            grown = self._grown(chosen.undone, self.can, False)
            return self.tidied(Chosen(grown, frozenset(), asm.wanted))
        first = self._grown(chosen.undone - chosen.at_bench, self.on_vehicle, True)
        if first.issuperset(self.wanted):
            return self.tidied(Chosen(first, frozenset(), asm.wanted))
        options = [self._with_bench(first, chosen.undone), self._with_bench(self.on_vehicle, chosen.undone)]
        if self.on_vehicle.issuperset(self.wanted):
            grown = self._grown(chosen.undone | frozenset(self.wanted), self.on_vehicle, True)
            options.append(Chosen(grown, frozenset(), asm.wanted))
        tidied = [self.tidied(option) for option in options if option is not None and self.good(option)]
        return min(tidied, key=lambda option: cost_minutes(asm, option, self.lifted))

    def _with_bench(self, first: frozenset[int], undone: frozenset[int]) -> Chosen | None:
        """Return a solution that does `first` on the vehicle and the rest at the bench; None where that cannot be."""
        asm = self.asm
        if not has_left(asm, first):
            return None
        everything = frozenset(range(len(asm.fasteners))) - asm.without
        along = frozenset(carried(asm, everything - first, lump_of_wanted(asm, first)))
        reach = self._run(along | first, False) - first
        second = self._grown((undone | frozenset(self.wanted)) - first, reach, False, first)
        return Chosen(first | second, second, asm.wanted)

    def _at_least(self, chosen: Chosen) -> Chosen:
        """Carry to the bench only what is still joined to the part then."""
        if not chosen.at_bench:
            return Chosen(chosen.undone, frozenset(), self.asm.wanted)
        first = chosen.undone - chosen.at_bench
        return Chosen(chosen.undone, chosen.at_bench, lump_of_wanted(self.asm, first))

    def _grown(
        self, start: frozenset[int], among: frozenset[int], in_place: bool, before: frozenset[int] = frozenset()
    ) -> frozenset[int]:
        """Add the cheapest of what a blocked one waits for, until none is blocked.

        Whatever is among `among` can be reached with the rest of it.
        """
        asm, blocking = self.asm, self.reach[in_place]
        nothing = [0.0] * len(asm.fasteners)
        chosen = start & among
        while True:
            blocked = sorted(chosen - self._run(chosen | before, in_place))
            if not blocked:
                return chosen
            index = blocked[0]
            order = sorted(
                (among | before) - {index},
                key=lambda i: (
                    i not in before,
                    i not in chosen,
                    round(self.guide[i], 3),
                    -asm.fasteners[i].minutes,
                    i,
                ),
            )
            others = blocking.others(index, order, nothing, float("inf"))
            missing = [other for other in others or () if other not in chosen]
            if not missing:
                chosen |= self._opened(index, chosen, among, in_place, before)
                continue
            chosen |= {min(missing, key=lambda i: (-round(self.guide[i], 3), asm.fasteners[i].minutes, i))}

    def whittled(self, keep: frozenset[int], dearest: bool = False) -> Chosen | None:
        """Leave out of all that can be undone what is not needed, `keep` last; None where it cannot be done so.

        Quick where a repair would be long: whole pieces are left out at once. `dearest`: the dearest first, else
        what the relaxation uses least.
        """
        asm = self.asm
        among = self.can if asm.on_bench else self.on_vehicle
        wanted = frozenset(self.wanted)
        if not wanted <= among:
            return None
        kept = self._whittled(wanted, among, keep, not asm.on_bench, frozenset(), dearest)
        return self.tidied(Chosen(self._run(kept, not asm.on_bench), frozenset(), asm.wanted))

    def _opened(
        self, index: int, chosen: frozenset[int], among: frozenset[int], in_place: bool, before: frozenset[int]
    ) -> frozenset[int]:
        """Return what opens a circle among the chosen: of all that can be undone, what one blocked fastener needs."""
        kept = self._whittled(frozenset([index]), among, chosen, in_place, before)
        return (kept | chosen) - before

    def _whittled(
        self,
        target: frozenset[int],
        among: frozenset[int],
        keep: frozenset[int],
        in_place: bool,
        before: frozenset[int],
        dearest: bool = False,
    ) -> frozenset[int]:
        """Return some of `among` that reach a target, left out in ever smaller pieces."""
        minutes = [fastener.minutes for fastener in self.asm.fasteners]
        kept = self._run(among | before, in_place)
        order = sorted(
            kept - target - before,
            key=lambda i: (i in keep, dearest * -minutes[i], round(self.guide[i], 3), -minutes[i], i),
        )
        size = len(order)
        while size:
            for start in range(0, len(order), size):
                fewer = kept - frozenset(order[start : start + size])
                if target <= self._run(fewer | before, in_place):
                    kept = fewer
            order = [i for i in order if i in kept]
            size = min(size, len(order) + 1) // 2
        return kept
