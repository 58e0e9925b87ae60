"""Solutions that can be carried out, made from those that cannot: an upper bound for the search."""

from __future__ import annotations

from dataclasses import dataclass

from partkin.strip.access import carried, has_left, lump_of_wanted, run
from partkin.strip.bodies import Assembly
from partkin.strip.master import Chosen, cost_minutes


@dataclass(frozen=True)
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
    """

    asm: Assembly
    wanted: tuple[int, ...]
    lifted: bool
    can: frozenset[int]
    on_vehicle: frozenset[int]

    def good(self, chosen: Chosen) -> bool:
        """Whether a solution can be carried out and does what is wanted."""
        asm = self.asm
        if not chosen.undone.issuperset(self.wanted):
            return False
        if asm.on_bench:
            return run(asm, chosen.undone) == chosen.undone
        first = chosen.undone - chosen.at_bench
        if run(asm, first, in_place=True) != first:
            return False
        if not chosen.at_bench:
            return True
        if not has_left(asm, first):
            return False
        along = carried(asm, chosen.at_bench, lump_of_wanted(asm, first))
        return len(along) == len(chosen.at_bench) and run(asm, along, first) == chosen.undone

    def tidied(self, chosen: Chosen) -> Chosen:
        """Leave out whatever is not needed, dearest first, where that does not make the lift dearer."""
        asm = self.asm
        chosen = self._at_least(chosen)
        cost = cost_minutes(asm, chosen, self.lifted)
        order = sorted(chosen.undone - frozenset(self.wanted), key=lambda i: (-asm.fasteners[i].minutes, i))
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
        """Add what helps until it can be carried out; failing that, undo all that can be; then leave out again."""
        asm = self.asm
        if asm.on_bench:
            return self.tidied(Chosen(self._grown(chosen.undone, self.can, False), frozenset(), asm.wanted))
        first = self._grown(chosen.undone - chosen.at_bench, self.on_vehicle, True)
        if first.issuperset(self.wanted):
            return self.tidied(Chosen(first, frozenset(), asm.wanted))
        if not has_left(asm, first):
            first = self.on_vehicle
        everything = frozenset(range(len(asm.fasteners))) - asm.without
        along = frozenset(carried(asm, everything - first, lump_of_wanted(asm, first)))
        second = self._grown(chosen.undone - first, along, False, first)
        if not (first | second).issuperset(self.wanted):
            first = self.on_vehicle
            along = frozenset(carried(asm, everything - first, lump_of_wanted(asm, first)))
            second = frozenset(run(asm, along, first)) - first
        return self.tidied(Chosen(first | second, second, asm.wanted))

    def _at_least(self, chosen: Chosen) -> Chosen:
        """Carry to the bench only what is still joined to the part then."""
        if not chosen.at_bench:
            return Chosen(chosen.undone, frozenset(), self.asm.wanted)
        first = chosen.undone - chosen.at_bench
        return Chosen(chosen.undone, chosen.at_bench, lump_of_wanted(self.asm, first))

    def _grown(
        self, start: frozenset[int], among: frozenset[int], in_place: bool, before: frozenset[int] = frozenset()
    ) -> frozenset[int]:
        """Add what the blocked ones wait for, until none is blocked or nothing is left to add."""
        chosen = start & among
        while True:
            done = frozenset(run(self.asm, chosen, before, in_place)) - before
            more = self._helping(chosen - done, among - chosen)
            if chosen <= done:
                return chosen
            if not more:
                return frozenset(run(self.asm, among, before, in_place)) - before
            chosen |= more

    def _helping(self, blocked: frozenset[int], spare: frozenset[int]) -> frozenset[int]:
        """Return what the blocked fasteners' clauses name, or what holds it."""
        asm = self.asm
        ways = [way for index in blocked for clause in asm.fasteners[index].behind for way in clause]
        found = {way.fastener for way in ways if way.fastener is not None}
        for family in {way.family for way in ways if way.family}:
            found |= {f.index for f in asm.fasteners if any((a in family) != (b in family) for a, b in f.joins)}
        return frozenset(found & spare)
