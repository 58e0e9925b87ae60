"""An order that works for a chosen set of fasteners, with as few changes of position as there can be."""

from __future__ import annotations

from collections import deque
from typing import Literal, NamedTuple

from partkin.strip.assembly import Assembly
from partkin.strip.formulation import Chosen
from partkin.strip.reach import Reachable, bits

BENCH = "bench"
STATES = 3000

# Plugs and pipes first, what bears the weight last. Common practice, no source.
KIND_ORDER = ("connector", "hose", "strap", "clip", "clamp", "adhesive", "screw", "nut", "stud nut", "bolt")


class Event(NamedTuple):
    """One event of the order: a fastener undone, or bodies that have come loose."""

    do: Literal["undo", "take off", "to the bench"]
    place: str
    fastener: int = -1
    bodies: tuple[int, ...] = ()


def ordered(asm: Assembly, chosen: Chosen) -> tuple[list[Event], int]:
    """Return the events of a solution in an order that works, and how often the position changes.

    ValueError: it cannot be carried out.
    """
    order, loose = _Order(asm, chosen), _Loose(asm, chosen)
    route = order.shortest() or order.greedy() if order.todo else []
    gone = order.links
    events = loose.after(gone, route[0] if route else BENCH if asm.on_bench else "")
    for place in route:
        for index in order.all_at(place, gone):
            gone |= {index}
            events.append(Event("undo", place, index))
            events += loose.after(gone, place)
    if loose.free_at_end:
        events.append(Event("take off", route[-1] if route else BENCH, bodies=tuple(sorted(asm.wanted))))
    return events, max(0, len(route) - 1)


class _Order:
    """Walks through a solution place by place."""

    def __init__(self, asm: Assembly, chosen: Chosen) -> None:
        self.asm, self.chosen = asm, chosen
        self.links = frozenset(i for i in chosen.undone if asm.fasteners[i].link)
        self.todo = chosen.undone - self.links
        self.on_vehicle = self.todo - chosen.at_bench
        # What holds the part, or what comes off with it, to something that is not moved: it comes last.
        joined = asm.reach.joined(chosen.undone)
        home, moved = {joined[body] for body in asm.stays}, chosen.carried | asm.wanted
        both = [(i, ends) for i in self.todo for a, b in asm.fasteners[i].joins for ends in ((a, b), (b, a))]
        self.last = frozenset(i for i, (one, other) in both if one in moved and joined[other] in home)
        places = {i: BENCH if asm.on_bench or i in chosen.at_bench else asm.fasteners[i].place for i in self.todo}
        self.at = {place: frozenset(i for i in places if places[i] == place) for place in places.values()}
        # The place where most of what bears the part is undone comes last.
        bears = {place: sum(asm.fasteners[i].count for i in self.last & here) for place, here in self.at.items()}
        self.places = sorted(self.at, key=lambda place: (bears[place], min(self.at[place])))

    def lifted(self, gone: frozenset[int]) -> bool:
        """Whether the part has been lifted, or lay on a bench from the start."""
        return self.asm.on_bench or self.on_vehicle <= gone

    def reach(self, gone: frozenset[int]) -> Reachable:
        return self.asm.reach if self.lifted(gone) else self.asm.reach_in_place

    def all_at(self, place: str, gone: frozenset[int]) -> list[int]:
        """Everything that can be undone at a place without leaving it, in the order to do it.

        A part that was begun is finished; plugs come before bolts; what bears the wanted part comes last.
        """
        asm = self.asm
        found: list[int] = []
        begun: set[int] = set()
        waiting = set(self.at[place] - gone)

        def rank(index: int) -> tuple[bool, bool, bool, int, int]:
            fastener, last = asm.fasteners[index], index in self.last
            heavy = any("heavy" in row.cautions for row in fastener.rows)
            other = not last and begun.isdisjoint(fastener.ends)
            return last, last and heavy, other, KIND_ORDER.index(fastener.kind), index

        while waiting:
            undone, reach = bits(gone), self.reach(gone)
            joined, wait = reach.joined(gone), frozenset() if self.on_vehicle <= gone else self.chosen.at_bench
            ready = [i for i in waiting if i not in wait and reach.reached(i, undone, joined)]
            if not ready:
                break
            index = min(ready, key=rank)
            begun = set(asm.fasteners[index].ends) - asm.stays - asm.wanted
            found.append(index)
            gone |= {index}
            waiting.remove(index)
        return found

    def shortest(self) -> list[str] | None:
        """The places in the order of fewest changes; None where there are too many orders to look at."""
        queue: deque[tuple[frozenset[int], tuple[str, ...]]] = deque([(self.links, ())])
        seen = {self.links}
        while queue:
            gone, route = queue.popleft()
            if self.todo <= gone:
                return list(route)
            for place in self.places:
                after = gone if route[-1:] == (place,) else self._after(place, gone)
                if after not in seen:
                    if len(seen) >= STATES:
                        return None
                    seen.add(after)
                    queue.append((after, (*route, place)))
        return None

    def _after(self, place: str, gone: frozenset[int]) -> frozenset[int]:
        """Everything that is undone once all that can be has been undone at a place."""
        here = self.at[place] - gone
        after = self.reach(gone).run(here - self.chosen.at_bench, gone)
        return self.reach(after).run(here, after) if self.lifted(after) else after

    def greedy(self) -> list[str]:
        """Always on to the place where most can be done."""
        gone, route = self.links, []
        while not self.todo <= gone:
            reached = {place: self._after(place, gone) for place in self.places}
            most = max(self.places, key=lambda place: len(reached[place]))
            if reached[most] == gone:
                raise ValueError("the solution cannot be carried out")
            route.append(most)
            gone = reached[most]
        return route


class _Loose:
    """Notices what has come loose, and says so once."""

    def __init__(self, asm: Assembly, chosen: Chosen) -> None:
        self.asm = asm
        self.to_bench = bool(chosen.at_bench) and not asm.on_bench
        joined = asm.reach.joined(())
        held = {joined[body] for body in (*asm.stays, *asm.wanted)}
        self.away = {body for body, lump in enumerate(joined) if lump not in held}
        self.left = asm.on_bench
        self.free_at_end = True
        self.first = chosen.undone - chosen.at_bench

    def after(self, gone: frozenset[int], place: str) -> list[Event]:
        """Return what has newly come loose: from what stays, and from the wanted part."""
        asm = self.asm
        lifted = self.left or self.first <= gone
        joined = (asm.reach if lifted else asm.reach_in_place).joined(gone)
        home, mine = ({joined[body] for body in bodies} for bodies in (asm.stays, asm.wanted))
        groups: dict[int, list[int]] = {}
        for body, lump in enumerate(joined):
            if lump not in home | mine and body not in self.away:
                groups.setdefault(lump, []).append(body)
        events = [Event("take off", place, bodies=tuple(bodies)) for bodies in groups.values()]
        self.away.update(body for bodies in groups.values() for body in bodies)
        if not self.left and lifted and mine.isdisjoint(home):
            self.left = True
            together = tuple(b for b, lump in enumerate(joined) if lump in mine and b not in self.away)
            events.append(Event("to the bench" if self.to_bench else "take off", place, bodies=together))
            self.free_at_end = self.to_bench or not set(together) <= asm.wanted
        return events
