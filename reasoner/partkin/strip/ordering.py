"""An order that works for a chosen set of fasteners, with as few changes of position as there can be."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Literal

from partkin.strip.access import labels, reachable, run
from partkin.strip.bodies import Assembly
from partkin.strip.master import Chosen

BENCH = "bench"
STATES = 3000

# Plugs and pipes first, what bears the weight last. Common practice, no source.
KIND_ORDER = ("connector", "hose", "strap", "clip", "clamp", "adhesive", "screw", "nut", "stud nut", "bolt")


@dataclass(frozen=True)
class Event:
    """One event of the order: a fastener undone, or bodies that have come loose."""

    do: Literal["undo", "take off", "to the bench"]
    place: str
    fastener: int = -1
    bodies: tuple[int, ...] = ()


class _Order:
    """Walks through a solution place by place."""

    def __init__(self, asm: Assembly, chosen: Chosen) -> None:
        self.asm = asm
        self.chosen = chosen
        self.links = frozenset(i for i in chosen.undone if asm.fasteners[i].link)
        self.todo = chosen.undone - self.links
        self.on_vehicle = self.todo - chosen.at_bench
        self.last = self._last()

    def _last(self) -> frozenset[int]:
        """What holds the part, or what comes off with it, to something that is not moved: it comes last."""
        asm = self.asm
        lump = labels(asm, self.chosen.undone)
        home = {lump[body] for body in asm.stays}
        moved = self.chosen.carried | asm.wanted
        return frozenset(
            index
            for index in self.todo
            for a, b in asm.fasteners[index].joins
            if (a in moved and lump[b] in home) or (b in moved and lump[a] in home)
        )

    def place(self, index: int) -> str:
        if self.asm.on_bench or index in self.chosen.at_bench:
            return BENCH
        return self.asm.fasteners[index].place

    def in_place(self, gone: frozenset[int]) -> bool:
        """Whether the part has not been lifted yet."""
        return not self.asm.on_bench and not self.on_vehicle <= gone

    def can(self, index: int, gone: frozenset[int], lump: list[int]) -> bool:
        if index in self.chosen.at_bench and not self.on_vehicle <= gone:
            return False
        return reachable(self.asm, self.asm.fasteners[index], gone, lump)

    def all_at(self, place: str, gone: frozenset[int]) -> list[int]:
        """Everything that can be undone at a place without leaving it, in the order to do it.

        A part that was begun is finished; plugs come before bolts; what bears the wanted part comes last.
        """
        asm = self.asm
        found: list[int] = []
        begun: set[int] = set()
        waiting = {i for i in self.todo - gone if self.place(i) == place}

        def rank(index: int) -> tuple[bool, bool, bool, int, int]:
            fastener = asm.fasteners[index]
            last = index in self.last
            heavy = any("heavy" in row.cautions for row in fastener.rows)
            other = not last and begun.isdisjoint(fastener.ends)
            return last, last and heavy, other, KIND_ORDER.index(fastener.kind), index

        while waiting:
            lump = labels(asm, gone, in_place=self.in_place(gone))
            ready = [i for i in waiting if self.can(i, gone, lump)]
            if not ready:
                break
            index = min(ready, key=rank)
            begun = set(asm.fasteners[index].ends) - asm.stays - asm.wanted
            found.append(index)
            gone |= {index}
            waiting.remove(index)
        return found

    def places(self) -> list[str]:
        """Every place, the one where most of what bears the part is undone last."""
        order = list(dict.fromkeys(self.place(index) for index in sorted(self.todo)))
        bears = [self.place(index) for index in self.last for _ in range(self.asm.fasteners[index].count)]
        return sorted(order, key=lambda place: (bears.count(place), order.index(place)))

    def shortest(self) -> list[str] | None:
        """The places in the order of fewest changes; None where there are too many orders to look at."""
        start = frozenset(self.links)
        queue: deque[tuple[frozenset[int], tuple[str, ...]]] = deque([(start, ())])
        seen = {start}
        while queue:
            gone, route = queue.popleft()
            if self.todo <= gone:
                return list(route)
            for place in self.places():
                if route and route[-1] == place:
                    continue
                after = gone | self._reached_at(place, gone)
                if after != gone and after not in seen:
                    if len(seen) >= STATES:
                        return None
                    seen.add(after)
                    queue.append((after, (*route, place)))
        return None

    def _reached_at(self, place: str, gone: frozenset[int]) -> frozenset[int]:
        here = {i for i in self.todo - gone if self.place(i) == place}
        after = run(self.asm, here - self.chosen.at_bench, gone, in_place=self.in_place(gone))
        if not self.in_place(frozenset(after)):
            after = run(self.asm, here, after)
        return frozenset(after)

    def greedy(self) -> list[str]:
        """Always on to the place where most can be done."""
        gone, route = frozenset(self.links), []
        while not self.todo <= gone:
            most = max(self.places(), key=lambda place: len(self._reached_at(place, gone) - gone))
            after = gone | self._reached_at(most, gone)
            if after == gone:
                raise ValueError("the solution cannot be carried out")
            route.append(most)
            gone = after
        return route


def ordered(asm: Assembly, chosen: Chosen) -> tuple[list[Event], int]:
    """Return the events of a solution in an order that works, and how often the position changes.

    Parameters
    ----------
    asm
    chosen
        A solution that can be carried out.

    Raises
    ------
    ValueError
        It cannot be carried out.
    """
    order = _Order(asm, chosen)
    route = order.shortest() or order.greedy() if order.todo else []
    gone = frozenset(order.links)
    loose = _Loose(asm, chosen)
    events = loose.after(gone, route[0] if route else BENCH if asm.on_bench else "")
    for place in route:
        for index in order.all_at(place, gone):
            gone |= {index}
            events.append(Event("undo", place, index))
            events += loose.after(gone, place)
    if loose.free_at_end:
        events.append(Event("take off", route[-1] if route else BENCH, bodies=tuple(sorted(asm.wanted))))
    return events, max(0, len(route) - 1)


class _Loose:
    """Notices what has come loose, and says so once."""

    def __init__(self, asm: Assembly, chosen: Chosen) -> None:
        self.asm = asm
        self.to_bench = bool(chosen.at_bench) and not asm.on_bench
        lump = labels(asm, ())
        held = {lump[body] for body in (*asm.stays, *asm.wanted)}
        self.away = {body for body, label in enumerate(lump) if label not in held}
        self.left = asm.on_bench
        self.free_at_end = True
        self.first = chosen.undone - chosen.at_bench

    def after(self, gone: frozenset[int], place: str) -> list[Event]:
        """Return what has newly come loose: from what stays, and from the wanted part."""
        asm = self.asm
        lifted = self.left or self.first <= gone
        lump = labels(asm, gone, in_place=not lifted)
        home = {lump[body] for body in asm.stays}
        mine = {lump[body] for body in asm.wanted}
        events: list[Event] = []
        groups: dict[int, list[int]] = {}
        for body, label in enumerate(lump):
            if label not in home | mine and body not in self.away:
                groups.setdefault(label, []).append(body)
        for bodies in groups.values():
            self.away.update(bodies)
            events.append(Event("take off", place, bodies=tuple(bodies)))
        if not self.left and lifted and mine.isdisjoint(home):
            self.left = True
            together = tuple(b for b, label in enumerate(lump) if label in mine and b not in self.away)
            events.append(Event("to the bench" if self.to_bench else "take off", place, bodies=together))
            self.free_at_end = self.to_bench or not set(together) <= asm.wanted
        return events
