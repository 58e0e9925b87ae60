"""The rules of taking apart, written a second time and slowly: shares no code with partkin.strip.

A state is the set of undone fasteners (a number, bit by bit), whether the part is at the bench, and the places
gone to. `least` searches all of them by Dijkstra. Only the tables of minutes are read from the program.
"""

from __future__ import annotations

import heapq

from partkin.model.build import Build
from partkin.tables.work import bench_minutes, fastener_rows, lift_row, place_minutes


class Taken:
    """A build and a wanted part, with the rules as plain functions of the set of undone fasteners."""

    def __init__(self, build: Build, part: str) -> None:
        self.build = build
        self.rows = {row.fastener: row for row in build.holdings}
        self.ids = list(self.rows)
        self.bit = {name: 1 << index for index, name in enumerate(self.ids)}
        self.parts = {p.part: p for p in build.parts}
        self.part = part
        self.wanted = self.family(part)
        held = {row.part for row in build.holdings}
        bodies = dict.fromkeys(name for row in build.holdings for name in (row.part, row.held_to))
        self.bodies = list(dict.fromkeys([*bodies, *sorted(self.wanted)]))
        self.stays = {row.held_to for row in build.holdings if not held & set(self.above(row.held_to))} - self.wanted
        self.links = self._links()
        self._known: dict[int, dict[str, frozenset[str]]] = {}

    def above(self, name: str) -> list[str]:
        chain = []
        while name is not None and name not in chain:
            chain.append(name)
            name = self.parts[name].part_of if name in self.parts else None
        return chain

    def family(self, name: str) -> set[str]:
        return {name} | {p for p in self.parts if name in self.above(p)}

    def _links(self) -> list[tuple[str, str]]:
        found = []
        for part in self.build.parts:
            if part.part_of is None or part.part not in self.bodies:
                continue
            mine = self.family(part.part)
            rest = [n for n in self.bodies if n in self.family(part.part_of) - mine]
            held = any(
                (r.part in mine and r.held_to in rest) or (r.held_to in mine and r.part in rest)
                for r in self.build.holdings
            )
            if rest and not held:
                found.append((part.part, part.part_of if part.part_of in rest else rest[0]))
        return found

    def lumps(self, undone: int, in_place: bool = False) -> dict[str, frozenset[str]]:
        """Which bodies are still joined to which; `in_place`: the part has not been lifted, so it stays too."""
        key = -undone - 1 if in_place else undone
        if key in self._known:
            return self._known[key]
        lump = {name: {name} for name in self.bodies}

        def join(a: str, b: str) -> None:
            if lump[a] is not lump[b]:
                both = lump[a] | lump[b]
                for name in both:
                    lump[name] = both

        for other in sorted(self.stays | {self.part} if in_place and self.stays else self.stays):
            join(min(self.stays), other)
        for name, row in self.rows.items():
            if not undone & self.bit[name]:
                join(row.part, row.held_to)
        found = {name: frozenset(both) for name, both in lump.items()}
        self._known[key] = found
        return found

    def can_reach(self, name: str, undone: int, in_place: bool) -> bool:
        """Whether a fastener can be reached: of every clause something is off."""
        row = self.rows[name]
        lump = self.lumps(undone, in_place)
        ends = {row.part, row.held_to}
        near = lump[row.part] | lump[row.held_to]

        def off(other: str) -> bool:
            if other in self.rows:
                r = self.rows[other]
                return bool(undone & self.bit[other]) or (r.part not in near and r.held_to not in near)
            family = self.family(other)
            if family & ends:
                return not any(lump[b] & self.stays for b in family if b in lump)
            return not any(b in near for b in family)

        return all(any(off(other) for other in clause) for clause in row.behind)

    def is_free(self, undone: int) -> bool:
        return all(
            undone & self.bit[name] for name, row in self.rows.items()
            if (row.part in self.wanted) != (row.held_to in self.wanted)
        )  # fmt: skip

    def joined(self, undone: int) -> frozenset[str]:
        lump = self.lumps(undone)
        return frozenset().union(*(lump[name] for name in self.wanted)) | self.wanted

    def mass(self, bodies: frozenset[str]) -> float:
        def total(name: str) -> float:
            part = self.parts.get(name)
            if part is not None and part.mass_kg is not None:
                return part.mass_kg
            return sum(total(p) for p in self.parts if self.parts[p].part_of == name)

        kg = 0.0
        for name in bodies:
            below = [p for p in self.parts if self.parts[p].part_of == name and self.family(p) & set(self.bodies)]
            kg += max(0.0, total(name) - sum(total(p) for p in below))
        return round(kg, 6)

    def minutes(self, name: str) -> float:
        row = self.rows[name]
        return row.minutes if row.minutes is not None else fastener_rows()[row.kind].minutes_each * row.count

    def least(self) -> float | None:
        """The least minutes that free the part; None: nothing frees it."""
        on_bench = not (self.joined(0) & self.stays)
        start = (0.0, 0, on_bench, frozenset[str]())
        best = {start[1:]: 0.0}
        queue = [(0.0, 0, start)]
        ticket = 0
        while queue:
            cost, _, (_, undone, bench, places) = heapq.heappop(queue)
            if undone == -1:
                return round(cost, 6)
            if cost > best[(undone, bench, places)] + 1e-12:
                continue
            moves = []
            if self.is_free(undone):
                end = 0.0 if bench else lift_row(self.mass(frozenset(self.wanted))).minutes
                ticket += 1
                heapq.heappush(queue, (cost + end, ticket, (0.0, -1, bench, places)))
                continue
            joined = self.joined(undone)
            if not bench and not (joined & self.stays):
                moves.append((bench_minutes() + lift_row(self.mass(joined)).minutes, undone, True, places))
            for name in self.ids:
                if undone & self.bit[name] or not self.can_reach(name, undone, not bench):
                    continue
                row, kind = self.rows[name], fastener_rows()[self.rows[name].kind]
                after = undone | self.bit[name]
                if not bench:
                    place = row.place or "?"
                    more = 0.0 if place in places else place_minutes()
                    moves.append((self.minutes(name) + more, after, bench, places | {place}))
                elif on_bench or {row.part, row.held_to} <= joined:
                    moves.append((self.minutes(name) * kind.bench_factor, after, bench, places))
            for step, *state in moves:
                key = tuple(state)
                if cost + step < best.get(key, float("inf")) - 1e-12:
                    best[key] = cost + step
                    ticket += 1
                    heapq.heappush(queue, (cost + step, ticket, (0.0, *state)))
        return None
