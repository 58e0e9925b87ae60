"""Solutions that can be carried out, made from those that cannot: an upper bound for the search."""

from __future__ import annotations

from partkin.strip.assembly import Assembly
from partkin.strip.formulation import Chosen

Fasteners = frozenset[int]
NONE: Fasteners = frozenset()


class Repair:
    """What is wanted of a solution.

    Parameters
    ----------
    asm
    wanted
        Fasteners that have to be undone.
    lifted
        Whether the wanted part is carried away in the end.
    guide
        How much the relaxation uses each fastener: what it uses is added first and left out last.
    """

    def __init__(self, asm: Assembly, wanted: tuple[int, ...], lifted: bool, guide: tuple[float, ...]) -> None:
        self.asm, self.wanted, self.lifted, self.guide = asm, frozenset(wanted), lifted, guide

    def good(self, chosen: Chosen) -> bool:
        """Whether a solution can be carried out and does what is wanted."""
        asm = self.asm
        if not chosen.undone >= self.wanted:
            return False
        if asm.on_bench:
            return asm.reach.run(chosen.undone) == chosen.undone
        first = chosen.undone - chosen.at_bench
        if asm.reach_in_place.run(first) != first:
            return False
        if not chosen.at_bench:
            return True
        if not asm.reach.has_left(first):
            return False
        along = asm.carried(chosen.at_bench, asm.reach.with_wanted(first))
        # Whatever is reached in place is reached when nothing is held in place, so one run does for both.
        return len(along) == len(chosen.at_bench) and asm.reach.run(chosen.undone) == chosen.undone

    def tidied(self, chosen: Chosen) -> Chosen:
        """Leave out whatever is not needed, dearest first, where that does not make the lift dearer.

        Again and again, because what only helped something that was left out later is not needed any more then.
        """
        chosen, count = self._least_carried(chosen), -1
        while len(chosen.undone) != count:
            count, cost = len(chosen.undone), chosen.cost_minutes(self.asm, self.lifted)
            for index in sorted(chosen.undone - self.wanted, key=self._least_used):
                smaller = Chosen(chosen.undone - {index}, chosen.at_bench - {index}, chosen.carried)
                if self.good(smaller):
                    smaller = self._least_carried(smaller)
                    less = smaller.cost_minutes(self.asm, self.lifted)
                    if less <= cost:
                        chosen, cost = smaller, less
        return chosen

    def _least_used(self, index: int) -> tuple[float, float, int]:
        return round(self.guide[index], 3), -self.asm.fasteners[index].minutes, index

    def repaired(self, chosen: Chosen) -> Chosen:
        """Add what is missing until it can be carried out, the cheapest each time; then leave out again."""
        asm, wanted = self.asm, self.asm.wanted
        if asm.on_bench:
            return self.tidied(Chosen(self._grown(chosen.undone, asm.can, False), NONE, wanted))
        first = self._grown(chosen.undone - chosen.at_bench, asm.can_on_vehicle, True)
        if first >= self.wanted:
            return self.tidied(Chosen(first, NONE, wanted))
        options = [self._with_bench(first, chosen.undone), self._with_bench(asm.can_on_vehicle, chosen.undone)]
        if asm.can_on_vehicle >= self.wanted:
            options.append(Chosen(self._grown(chosen.undone | self.wanted, asm.can_on_vehicle, True), NONE, wanted))
        tidied = [self.tidied(option) for option in options if option is not None and self.good(option)]
        return min(tidied, key=lambda option: option.cost_minutes(asm, self.lifted))

    def _with_bench(self, first: Fasteners, undone: Fasteners) -> Chosen | None:
        """Return a solution that does `first` on the vehicle and the rest at the bench; None where that cannot be."""
        asm = self.asm
        if not asm.reach.has_left(first):
            return None
        everything = frozenset(range(len(asm.fasteners))) - asm.without
        along = asm.carried(everything - first, asm.reach.with_wanted(first))
        among = asm.reach.run(first.union(along)) - first
        second = self._grown((undone | self.wanted) - first, among, False, first)
        return Chosen(first | second, second, asm.wanted)

    def _least_carried(self, chosen: Chosen) -> Chosen:
        """Carry to the bench only what is still joined to the part then."""
        carried = self.asm.wanted
        if chosen.at_bench:
            carried = self.asm.reach.with_wanted(chosen.undone - chosen.at_bench)
        return Chosen(chosen.undone, chosen.at_bench, carried)

    def _grown(self, start: Fasteners, among: Fasteners, in_place: bool, before: Fasteners = NONE) -> Fasteners:
        """Add the cheapest of what a blocked one waits for, until none is blocked.

        Whatever is among `among` can be reached with the rest of it.
        """
        asm, guide = self.asm, self.guide
        reach = asm.reach_in_place if in_place else asm.reach
        chosen = start & among
        while True:
            blocked = sorted(chosen - reach.run(chosen | before))
            if not blocked:
                return chosen
            index, have = blocked[0], chosen
            order = sorted(
                (among | before) - {index}, key=lambda i: (i not in before, i not in have, *self._least_used(i))
            )
            others = reach.others(index, order, [0.0] * len(asm.fasteners), float("inf"))
            missing = [other for other in others or () if other not in chosen]
            if missing:
                chosen |= {min(missing, key=lambda i: (-round(guide[i], 3), asm.fasteners[i].minutes, i))}
            else:
                # They wait for each other: of all that can be undone, what this one needs.
                chosen |= self._needed(frozenset([index]), among, chosen, in_place, before) - before

    def whittled(self, keep: Fasteners, dearest: bool = False) -> Chosen | None:
        """Leave out of all that can be undone what is not needed, `keep` last; None where it cannot be done so.

        Quick where a repair would be long: whole pieces are left out at once. `dearest`: the dearest first, else
        what the relaxation uses least.
        """
        asm = self.asm
        among = asm.can if asm.on_bench else asm.can_on_vehicle
        if not self.wanted <= among:
            return None
        kept = self._needed(self.wanted, among, keep, not asm.on_bench, dearest=dearest)
        reach = asm.reach if asm.on_bench else asm.reach_in_place
        return self.tidied(Chosen(reach.run(kept), NONE, asm.wanted))

    def _needed(
        self,
        target: Fasteners,
        among: Fasteners,
        keep: Fasteners,
        in_place: bool,
        before: Fasteners = NONE,
        dearest: bool = False,
    ) -> Fasteners:
        """Return some of `among` that reach a target, left out in ever smaller pieces."""
        reach = self.asm.reach_in_place if in_place else self.asm.reach
        minutes = [fastener.minutes for fastener in self.asm.fasteners]
        kept = reach.run(among | before)
        order = sorted(kept - target - before, key=lambda i: (i in keep, dearest * -minutes[i], *self._least_used(i)))
        size = len(order)
        while size:
            for start in range(0, len(order), size):
                fewer = kept - frozenset(order[start : start + size])
                if target <= reach.run(fewer | before):
                    kept = fewer
            order = [i for i in order if i in kept]
            size = min(size, len(order) + 1) // 2
        return kept
