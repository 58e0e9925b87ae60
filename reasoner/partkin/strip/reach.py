"""What can be reached when some fasteners are undone. The one place that says what "off first" means.

A fastener is off, as seen from another one, when it is undone, or when neither body that it joins is still
joined to that other one's bodies: it has been carried away. A part is off when no body of its family is
still joined to them. A part that stands in the way of its own fastener is off once it has left the vehicle:
such a fastener is reached from behind.

On the vehicle the wanted part stays where it is until all that is to be undone there is undone and it is
lifted: there its main body counts as part of what stays (`in_place`). At the bench it does not.

More undone never makes anything less reachable, which the planner's cuts rest on.

Sets are kept as bits of whole numbers (bit i: body i, or fastener i), because some hundred thousand questions
are asked a plan.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partkin.strip.assembly import Assembly, Fastener, InTheWay

# One alternative of a clause: bits of fasteners that may be undone, bits of bodies that may be gone; the last is
# whether what stays is asked about instead of what the fastener itself is joined to.
WayOff = tuple[int, int, bool]


class Reachable:
    """The reach of an assembly's fasteners. `in_place`: the wanted part has not been lifted yet."""

    def __init__(self, asm: Assembly, in_place: bool = False) -> None:
        self.asm = asm
        stays = asm.stays | {asm.root} if in_place and asm.stays else asm.stays
        self.home = min(stays, default=-1)
        # All that stays is one node.
        self.node = [self.home if body in stays else body for body in range(len(asm.bodies))]
        self.ends = [self.node[fastener.ends[0]] for fastener in asm.fasteners]
        self.pairs: list[tuple[tuple[int, int], ...]] = []
        self.holding: dict[tuple[int, int], int] = {}
        for fastener in asm.fasteners:
            joined = sorted({tuple(sorted((self.node[a], self.node[b]))) for a, b in fastener.joins})
            pairs = tuple((a, b) for a, b in joined if a != b)
            self.pairs.append(pairs)
            for pair in pairs:
                self.holding[pair] = self.holding.get(pair, 0) | 1 << fastener.index
        self.clauses = [tuple(tuple(self._way(f, w) for w in clause) for clause in f.behind) for f in asm.fasteners]
        # Fasteners that some `behind` cell names.
        self.named = 0
        for way in (way for clauses in self.clauses for clause in clauses for way in clause):
            self.named |= way[0]

    def _way(self, fastener: Fastener, way: InTheWay) -> WayOff:
        if way.unknown:
            return 0, 1 << self.node[fastener.ends[0]], False
        family = way.family if way.fastener is None else self.asm.fasteners[way.fastener].ends
        bodies = bits(self.node[body] for body in family)
        if way.fastener is not None:
            return 1 << way.fastener, bodies, False
        return 0, bodies, not set(family).isdisjoint(fastener.ends)

    def joined(self, undone: Iterable[int]) -> list[int]:
        """Return for each body the bits of what it is still joined to: the same for bodies that are joined."""
        lumps = _State(self, undone).joined
        return [lumps[node] for node in self.node]

    def is_off(self, way: WayOff, fastener: int, undone: int, joined: Sequence[int]) -> bool:
        """Whether one name of a `behind` cell is out of the way of a fastener that is still done up."""
        bit, bodies, own = way
        here = (joined[self.home] if self.home >= 0 else 0) if own else joined[self.ends[fastener]]
        return bool(undone & bit) or not bodies & here

    def reached(self, fastener: int, undone: int, joined: Sequence[int]) -> bool:
        """Whether every clause of a fastener's `behind` cell has something off; `undone`: bits."""
        here = joined[self.ends[fastener]]
        for clause in self.clauses[fastener]:
            for bit, bodies, own in clause:
                if undone & bit or not bodies & ((joined[self.home] if self.home >= 0 else 0) if own else here):
                    break
            else:
                return False
        return True

    def run(self, allowed: Iterable[int], before: Collection[int] = ()) -> frozenset[int]:
        """Undo whatever can be reached among the allowed fasteners, again and again; return all that is undone."""
        state = _State(self, before)
        state.waiting = sorted(set(allowed).difference(before))
        state.settle(-1)
        return frozenset(_numbers(state.undone))

    def with_wanted(self, undone: Iterable[int]) -> frozenset[int]:
        """Return the bodies that are still joined to the wanted part, its own bodies among them."""
        joined = self.joined(undone)
        mine = {joined[body] for body in self.asm.wanted}
        return frozenset(body for body, lump in enumerate(joined) if lump in mine) | self.asm.wanted

    def has_left(self, undone: Iterable[int]) -> bool:
        """Whether nothing of the wanted part is still joined to what stays."""
        return self.with_wanted(undone).isdisjoint(self.asm.stays)

    def others(self, fastener: int, order: Sequence[int], weight: Sequence[float], most: float) -> list[int] | None:
        """Return fasteners of which every plan that undoes a certain one undoes at least one; None: they weigh `most`.

        Let E be fasteners that, undone in any order that works, still leave that one out of reach, as many as can
        be, grown in the given order. Then whoever undoes it undoes something of all the others. (In planning: a
        disjunctive action landmark.)
        """
        state, found, total = _State(self), [], 0.0
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

    __slots__ = ("joined", "near", "reach", "undone", "waiting")

    def __init__(self, reach: Reachable, before: Iterable[int] = ()) -> None:
        self.reach, self.undone = reach, bits(before)
        self.waiting: list[int] = []
        self.near = [0] * len(reach.node)
        for (a, b), fasteners in reach.holding.items():
            if fasteners & ~self.undone:
                self.near[a] |= 1 << b
                self.near[b] |= 1 << a
        self.joined = _lumps(self.near)

    def with_one(self, index: int, target: int) -> _State | None:
        """Return the state with one more allowed; None where the target comes into reach."""
        reach = self.reach
        if not reach.reached(index, self.undone, self.joined):
            self.waiting = [*self.waiting, index]
            return self
        after = object.__new__(_State)
        after.reach, after.near, after.joined = reach, self.near, self.joined
        after.undone, after.waiting = self.undone, self.waiting
        moved = after.undo(index) or bool(reach.named & 1 << index)
        return None if moved and after.settle(target) else after

    def undo(self, index: int) -> bool:
        """Undo one; return whether anything fell apart."""
        self.undone |= 1 << index
        split = False
        for a, b in self.reach.pairs[index]:
            if self.reach.holding[a, b] & ~self.undone:
                continue
            near = self.near = list(self.near)
            near[a] &= ~(1 << b)
            near[b] &= ~(1 << a)
            if near[a] & near[b]:
                continue
            one = _spread(near, a, b)
            if not one >> b & 1:
                self.joined = list(self.joined)
                for lump in (one, _spread(near, b)):
                    for body in _numbers(lump):
                        self.joined[body] = lump
                split = True
        return split

    def settle(self, target: int) -> bool:
        """Undo what is allowed and in reach; stop at once, with True, when the target is."""
        reached = self.reach.reached
        while True:
            if target >= 0 and reached(target, self.undone, self.joined):
                return True
            can = [i for i in self.waiting if reached(i, self.undone, self.joined)]
            if not can:
                return False
            self.waiting = [i for i in self.waiting if i not in can]
            for index in can:
                self.undo(index)


def bits(numbers: Iterable[int]) -> int:
    """Return a set of small numbers as bits."""
    found = 0
    for number in numbers:
        found |= 1 << number
    return found


def _numbers(of_bits: int) -> Iterator[int]:
    while of_bits:
        low = of_bits & -of_bits
        yield low.bit_length() - 1
        of_bits ^= low


def _lumps(near: Sequence[int]) -> list[int]:
    """Return for each node the bits of the nodes that it is joined to, itself among them."""
    found = [0] * len(near)
    for node in range(len(near)):
        if not found[node]:
            lump = _spread(near, node)
            for other in _numbers(lump):
                found[other] = lump
    return found


def _spread(near: Sequence[int], node: int, until: int = -1) -> int:
    """Return the bits of what a node is joined to; cut short once `until` is among them."""
    seen = waiting = 1 << node
    goal = 1 << until if until >= 0 else 0
    while waiting:
        low = waiting & -waiting
        new = near[low.bit_length() - 1] & ~seen
        seen |= new
        if seen & goal:
            break
        waiting = (waiting ^ low) | new
    return seen
