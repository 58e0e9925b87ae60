"""Sets of fasteners of which every plan that undoes a certain one undoes at least one.

Let E be fasteners that, undone in any order that works, still leave f out of reach, as many as can be. Then
whoever undoes f undoes something of H, all the others. (In planning: a disjunctive action landmark.) Grown
with the fasteners that a relaxed solution uses most first, H holds those that it uses least: a row
w_f <= sum of w over H that the solution breaks, if there is one.

Here the rules of `access` are kept as bits of whole numbers, because they are asked some hundred thousand
times a plan; tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Sequence

from partkin.strip.access import home
from partkin.strip.bodies import Assembly

# One alternative of a clause: bits of fasteners that may be undone, bits of bodies that may be gone; `home`
# is asked about what stays instead of the fastener's own lump.
Way = tuple[int, int, bool]


class Blocking:
    """The reach of an assembly's fasteners, in bits: bit i of a set of bodies is body i, of fasteners likewise.

    `in_place`: as for `access.labels`.
    """

    def __init__(self, asm: Assembly, in_place: bool = False) -> None:
        stays = home(asm, in_place)
        self.home = min(stays, default=-1)
        node = [self.home if body in stays else body for body in range(len(asm.bodies))]
        self.count = len(asm.fasteners)
        self.ends: list[int] = []
        self.pairs: list[tuple[tuple[int, int], ...]] = []
        holding: dict[tuple[int, int], int] = {}
        for fastener in asm.fasteners:
            joined = sorted({(min(node[a], node[b]), max(node[a], node[b])) for a, b in fastener.joins})
            pairs = tuple(pair for pair in joined if pair[0] != pair[1])
            self.pairs.append(pairs)
            self.ends.append(node[fastener.ends[0]])
            for pair in pairs:
                holding[pair] = holding.get(pair, 0) | 1 << fastener.index
        self.holding = holding
        self.near: list[int] = [0] * len(asm.bodies)
        for a, b in holding:
            self.near[a] |= 1 << b
            self.near[b] |= 1 << a
        self.clauses: list[tuple[tuple[Way, ...], ...]] = []
        for fastener in asm.fasteners:
            clauses = []
            for clause in fastener.behind:
                ways: list[Way] = []
                for way in clause:
                    if way.unknown:
                        continue
                    if way.fastener is not None:
                        bodies = {node[body] for body in asm.fasteners[way.fastener].ends}
                        ways.append((1 << way.fastener, _bits(bodies), False))
                    else:
                        bodies = {node[body] for body in way.family}
                        own = bool(set(way.family) & set(fastener.ends))
                        ways.append((0, _bits(bodies), own))
                clauses.append(tuple(ways))
            self.clauses.append(tuple(clauses))
        named = 0
        for found in self.clauses:
            for ways_ in found:
                for bit, _, _ in ways_:
                    named |= bit
        self.named = named
        # How many candidates were tried: a measure of work that is the same on every machine.
        self.looks = 0

    def lumps(self, near: Sequence[int]) -> list[int]:
        """Return for each body the bits of the bodies that it is still joined to."""
        found = [0] * len(near)
        for body in range(len(near)):
            if not found[body]:
                lump = _spread(near, body)
                rest = lump
                while rest:
                    low = rest & -rest
                    found[low.bit_length() - 1] = lump
                    rest ^= low
        return found

    def reached(self, fastener: int, undone: int, lump: Sequence[int]) -> bool:
        """Whether a fastener can be reached."""
        here = lump[self.ends[fastener]]
        for clause in self.clauses[fastener]:
            for bit, bodies, own in clause:
                if undone & bit:
                    break
                if not (bodies & ((lump[self.home] if self.home >= 0 else 0) if own else here)):
                    break
            else:
                return False
        return True

    def run(self, allowed: int) -> int:
        """Return the bits of what comes undone when only the allowed fasteners may."""
        state = _State(self)
        rest = allowed
        while rest:
            low = rest & -rest
            state.waiting.append(low.bit_length() - 1)
            rest ^= low
        state.settle(-1)
        return state.undone

    def others(self, fastener: int, order: Sequence[int], weight: Sequence[float], most: float) -> list[int] | None:
        """Return H for a fastener, grown in the given order; None when its weight passes `most`.

        Parameters
        ----------
        fastener
        order
            Candidates, those to leave out of H first.
        weight
            Of each fastener, by index.
        most
        """
        state = _State(self)
        found: list[int] = []
        total = 0.0
        self.looks += len(order)
        if state.settle(fastener):
            return None
        for index in order:
            if index == fastener:
                continue
            after = state.with_one(index, fastener)
            if after is None:
                found.append(index)
                total += weight[index]
                if total >= most:
                    return None
            else:
                state = after
        return found


class _State:
    """Undone fasteners, those that are allowed but out of reach, and what is still joined."""

    __slots__ = ("blocking", "lump", "near", "undone", "waiting")

    def __init__(self, blocking: Blocking) -> None:
        self.blocking = blocking
        self.near = list(blocking.near)
        self.lump = blocking.lumps(self.near)
        self.undone = 0
        self.waiting: list[int] = []

    def copy(self) -> _State:
        twin = object.__new__(_State)
        twin.blocking = self.blocking
        twin.near = self.near
        twin.lump = self.lump
        twin.undone = self.undone
        twin.waiting = self.waiting
        return twin

    def with_one(self, index: int, target: int) -> _State | None:
        """Return the state with one more allowed; None where the target comes into reach."""
        blocking = self.blocking
        if not blocking.reached(index, self.undone, self.lump):
            self.waiting = [*self.waiting, index]
            return self
        after = self.copy()
        moved = after.undo(index) or bool(blocking.named & 1 << index)
        if moved and after.settle(target):
            return None
        return after

    def undo(self, index: int) -> bool:
        """Undo one; return whether a lump fell apart."""
        blocking = self.blocking
        self.undone |= 1 << index
        split = False
        for pair in blocking.pairs[index]:
            if blocking.holding[pair] & ~self.undone:
                continue
            a, b = pair
            near = list(self.near)
            near[a] &= ~(1 << b)
            near[b] &= ~(1 << a)
            self.near = near
            if near[a] & near[b]:
                continue
            one = _spread(near, a, b)
            if not one >> b & 1:
                lump = list(self.lump)
                for part in (one, _spread(near, b)):
                    rest = part
                    while rest:
                        low = rest & -rest
                        lump[low.bit_length() - 1] = part
                        rest ^= low
                self.lump = lump
                split = True
        return split

    def settle(self, target: int) -> bool:
        """Undo what is allowed and in reach; stop at once, with True, when the target is."""
        blocking = self.blocking
        while True:
            if target >= 0 and blocking.reached(target, self.undone, self.lump):
                return True
            can = [i for i in self.waiting if blocking.reached(i, self.undone, self.lump)]
            if not can:
                return False
            self.waiting = [i for i in self.waiting if i not in can]
            for index in can:
                self.undo(index)


def _bits(numbers: set[int]) -> int:
    found = 0
    for number in numbers:
        found |= 1 << number
    return found


def _spread(near: Sequence[int], body: int, until: int = -1) -> int:
    """Return the bits of what a body is joined to; cut short once `until` is among them."""
    seen = waiting = 1 << body
    goal = 1 << until if until >= 0 else 0
    while waiting:
        low = waiting & -waiting
        new = near[low.bit_length() - 1] & ~seen
        seen |= new
        if seen & goal:
            break
        # Those found first are looked at first: the lowest bit of what is left, then of what is new.
        waiting = (waiting ^ low) | new
    return seen
