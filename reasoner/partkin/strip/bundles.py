"""Fasteners that only ever come undone together, taken as one.

Fasteners that join the same two bodies and that no `behind` cell names are of use only when all of them are
undone: any cheapest plan undoes all or none. Taking them as one leaves the answer as it is and the search
smaller.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from partkin.strip.bodies import Assembly, Fastener, InTheWay


@dataclass(frozen=True)
class Bundled:
    """An assembly of bundles, and for each bundle the fasteners of the first assembly that it stands for."""

    asm: Assembly
    stands_for: tuple[tuple[int, ...], ...]

    def bundle_of(self, fastener: int) -> int:
        """Return the bundle that a fastener is in."""
        return next(index for index, members in enumerate(self.stands_for) if fastener in members)

    def expanded(self, bundles: frozenset[int]) -> frozenset[int]:
        """Return the fasteners of some bundles."""
        return frozenset(member for bundle in bundles for member in self.stands_for[bundle])


def bundled(asm: Assembly, apart: frozenset[int] = frozenset()) -> Bundled:
    """Return the assembly with such fasteners taken as one, place by place.

    Parameters
    ----------
    asm
    apart
        Fasteners to keep by themselves.
    """
    named = {way.fastener for f in asm.fasteners for clause in f.behind for way in clause} | apart
    groups: dict[tuple[object, ...], list[Fastener]] = {}
    for fastener in asm.fasteners:
        alone = fastener.index in named or fastener.link or len(fastener.joins) > 1
        pair = tuple(sorted(fastener.joins[0]))
        key = ("alone", fastener.index) if alone else ("pair", pair, fastener.place)
        groups.setdefault(key, []).append(fastener)
    new = {member.index: index for index, members in enumerate(groups.values()) for member in members}
    bundles = []
    for index, members in enumerate(groups.values()):
        minutes = sum(member.minutes for member in members)
        at_bench = sum(member.minutes * member.bench_factor for member in members)
        clauses = dict.fromkeys(_renamed(clause, new) for member in members for clause in member.behind)
        bundles.append(
            replace(
                members[0],
                index=index,
                minutes=minutes,
                bench_factor=at_bench / minutes if minutes else members[0].bench_factor,
                behind=tuple(clauses),
            )
        )
    small = replace(
        asm,
        fasteners=tuple(bundles),
        without=frozenset(new[index] for index in asm.without),
    )
    return Bundled(small, tuple(tuple(member.index for member in members) for members in groups.values()))


def _renamed(clause: tuple[InTheWay, ...], new: dict[int, int]) -> tuple[InTheWay, ...]:
    return tuple(way if way.fastener is None else replace(way, fastener=new[way.fastener]) for way in clause)
