"""What can be reached when some fasteners are undone. The one place that says what "off first" means.

A fastener is off, as seen from another one, when it is undone, or when neither body that it joins is still
joined to that other one's bodies: it has been carried away. A part is off when no body of its family is
still joined to them. A part that stands in the way of its own fastener is off once it has left the vehicle:
such a fastener is reached from behind.

On the vehicle the wanted part stays where it is until all that is to be undone there is undone and it is
lifted: there its main body counts as part of what stays (`in_place`). At the bench it does not.

More undone never makes anything less reachable, which the planner's cuts rest on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from partkin.strip.bodies import Assembly, Fastener, InTheWay


def labels(asm: Assembly, undone: Collection[int], in_place: bool = False) -> list[int]:
    """Return for each body which lump it is in: bodies still joined share a label; all that stays is one.

    Parameters
    ----------
    asm
    undone
        Indices of fasteners.
    in_place
        The wanted part has not been lifted yet.
    """
    parent = list(range(len(asm.bodies)))

    def root(body: int) -> int:
        while parent[body] != body:
            parent[body] = parent[parent[body]]
            body = parent[body]
        return body

    fixed = home(asm, in_place)
    for body in fixed:
        parent[body] = min(fixed)
    for fastener in asm.fasteners:
        if fastener.index not in undone:
            for a, b in fastener.joins:
                ra, rb = root(a), root(b)
                if ra != rb:
                    parent[max(ra, rb)] = min(ra, rb)
    return [root(body) for body in range(len(parent))]


def home(asm: Assembly, in_place: bool) -> frozenset[int]:
    """Return the bodies that stay: the vehicle, and the wanted part's main body while it is in place."""
    return asm.stays | {asm.root} if in_place and asm.stays else asm.stays


def is_off(asm: Assembly, way: InTheWay, fastener: Fastener, undone: Collection[int], lump: list[int]) -> bool:
    """Whether one name of a `behind` cell is out of the way of a fastener that is still done up."""
    if way.unknown:
        return False
    here = {lump[body] for body in fastener.ends}
    if way.fastener is not None:
        return way.fastener in undone or here.isdisjoint(lump[body] for body in asm.fasteners[way.fastener].ends)
    if not set(way.family).isdisjoint(fastener.ends):
        here = {lump[body] for body in asm.stays}
    return here.isdisjoint(lump[body] for body in way.family)


def reachable(asm: Assembly, fastener: Fastener, undone: Collection[int], lump: list[int]) -> bool:
    """Whether every clause of a fastener's `behind` cell has something off."""
    return all(any(is_off(asm, way, fastener, undone, lump) for way in clause) for clause in fastener.behind)


def run(asm: Assembly, allowed: Iterable[int], undone: Collection[int] = (), in_place: bool = False) -> set[int]:
    """Undo whatever can be reached among the allowed fasteners, again and again; return all that is undone."""
    gone = set(undone)
    waiting = sorted(set(allowed) - gone)
    while waiting:
        lump = labels(asm, gone, in_place)
        can = [index for index in waiting if reachable(asm, asm.fasteners[index], gone, lump)]
        if not can:
            break
        gone.update(can)
        waiting = [index for index in waiting if index not in gone]
    return gone


def lump_of_wanted(asm: Assembly, undone: Collection[int]) -> frozenset[int]:
    """Return the bodies that are still joined to the wanted part, its own bodies among them."""
    lump = labels(asm, undone)
    mine = {lump[body] for body in asm.wanted}
    return frozenset(body for body, label in enumerate(lump) if label in mine) | asm.wanted


def has_left(asm: Assembly, undone: Collection[int]) -> bool:
    """Whether nothing of the wanted part is still joined to what stays."""
    lump = labels(asm, undone)
    return {lump[body] for body in asm.wanted}.isdisjoint(lump[body] for body in asm.stays)


def carried(asm: Assembly, fasteners: Iterable[int], bodies: frozenset[int]) -> list[int]:
    """Return those of some fasteners that are carried along with some bodies."""
    return [index for index in fasteners if bodies.issuperset(asm.fasteners[index].ends)]


def most(asm: Assembly) -> tuple[frozenset[int], frozenset[int]]:
    """Return what can be undone at most: in all, and of that on the vehicle."""
    allowed = [f.index for f in asm.fasteners if f.index not in asm.without]
    if asm.on_bench or not asm.stays:
        return frozenset(run(asm, allowed)), frozenset()
    on_vehicle = run(asm, allowed, in_place=True)
    if not has_left(asm, on_vehicle):
        return frozenset(on_vehicle), frozenset(on_vehicle)
    at_bench = carried(asm, allowed, lump_of_wanted(asm, on_vehicle))
    return frozenset(run(asm, at_bench, on_vehicle)), frozenset(on_vehicle)
