"""The build folder seen as bodies joined by fasteners, for one wanted part.

A body is a part that held_by.csv names (or one that belongs to the wanted part). A part with its children
(part_of, any depth) is its family. What stays is every body that no row holds to anything and that belongs
to nothing that is held: the vehicle. All of it counts as one thing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from partkin.model.build import Build, Holding
from partkin.strip.reach import Reachable
from partkin.tables.work import fastener_rows

NO_PLACE = "place not given"


class InTheWay(NamedTuple):
    """One name of a `behind` cell. `fastener`: its index, or None and `family`: bodies, by index.

    `unknown`: the sheets have neither a part nor a fastener of that name; it counts as never off.
    """

    name: str
    fastener: int | None = None
    family: tuple[int, ...] = ()
    unknown: bool = False


@dataclass(frozen=True)
class Fastener:
    """One fastener id with everything that its rows say. `link`: no fastener, only `part_of` joins the two."""

    index: int
    id: str
    joins: tuple[tuple[int, int], ...]
    kind: str = ""
    count: int = 0
    minutes: float = 0.0
    bench_factor: float = 1.0
    place: str = NO_PLACE
    behind: tuple[tuple[InTheWay, ...], ...] = ()
    rows: tuple[Holding, ...] = ()
    link: bool = False

    @cached_property
    def ends(self) -> tuple[int, ...]:
        """Every body it joins, in order."""
        return tuple(dict.fromkeys(body for join in self.joins for body in join))

    @property
    def guess(self) -> bool:
        """Whether no row of it is certain."""
        return bool(self.rows) and not any(row.certain for row in self.rows)

    def holds(self, bodies: Collection[int]) -> bool:
        """Whether it joins one of some bodies to one that is not among them."""
        return any((a in bodies) != (b in bodies) for a, b in self.joins)

    def given(self, column: str) -> str | None:
        """Return what the first of its rows that says anything in a column of held_by.csv says there."""
        return next((cell for row in self.rows if (cell := getattr(row, column))), None)


@dataclass(frozen=True)
class Assembly:
    """Bodies and fasteners around one wanted part; indices run over `bodies` and `fasteners`.

    `root`: the wanted part's own body; `wanted`: with its children. `stays`: bodies that are the vehicle.
    `own_kg`: a body's mass without those of its children that are bodies themselves; `no_mass`: bodies whose
    mass the sheets do not give. `done`: fasteners undone before. `without`: fasteners that must not be undone.
    """

    build: Build
    bodies: tuple[str, ...]
    fasteners: tuple[Fastener, ...]
    root: int
    wanted: frozenset[int]
    stays: frozenset[int]
    own_kg: tuple[float, ...]
    no_mass: frozenset[int]
    done: tuple[Fastener, ...] = ()
    without: frozenset[int] = frozenset()

    def mass_kg(self, bodies: Iterable[int]) -> float:
        """Return what is known of the mass of some bodies together."""
        return round(sum(self.own_kg[body] for body in sorted(bodies)), 6)

    def named(self, body: int) -> str:
        """Return a part's name with its id, or its id alone."""
        part = self.build.part(self.bodies[body])
        return f"{part.name} ({part.part})" if part is not None and part.name else self.bodies[body]

    @property
    def boundary(self) -> tuple[int, ...]:
        """Fasteners between the wanted part and everything else, in order."""
        return tuple(fastener.index for fastener in self.fasteners if fastener.holds(self.wanted))

    @cached_property
    def reach(self) -> Reachable:
        """What can be reached with nothing held in place."""
        return Reachable(self)

    @cached_property
    def reach_in_place(self) -> Reachable:
        """What can be reached before the wanted part has been lifted."""
        return Reachable(self, in_place=True)

    @cached_property
    def on_bench(self) -> bool:
        """Whether nothing joins the part to what stays."""
        return self.reach.has_left(())

    @cached_property
    def can(self) -> frozenset[int]:
        """Fasteners that some order reaches, on the vehicle or at the bench."""
        allowed = [f.index for f in self.fasteners if f.index not in self.without]
        if self.on_bench or not self.stays:
            return self.reach.run(allowed)
        if not self.reach.has_left(self.can_on_vehicle):
            return self.can_on_vehicle
        return self.reach.run(self.carried(allowed, self.reach.with_wanted(self.can_on_vehicle)), self.can_on_vehicle)

    @cached_property
    def can_on_vehicle(self) -> frozenset[int]:
        """Fasteners that some order reaches before the part is lifted."""
        if self.on_bench or not self.stays:
            return frozenset()
        return self.reach_in_place.run(f.index for f in self.fasteners if f.index not in self.without)

    def carried(self, fasteners: Iterable[int], bodies: frozenset[int]) -> list[int]:
        """Return those of some fasteners that are carried along with some bodies."""
        return [index for index in fasteners if bodies.issuperset(self.fasteners[index].ends)]

    @property
    def unheld(self) -> tuple[tuple[str, str], ...]:
        """Parts in the way that nothing is known to hold, with the fastener that waits for each."""
        waiting = [(way, f.id) for f in self.fasteners for clause in f.behind for way in clause]
        alone = [(way.name, f) for way, f in waiting if way.fastener is None and not way.family and not way.unknown]
        return tuple(dict.fromkeys(alone))


def children_of(build: Build) -> dict[str, tuple[str, ...]]:
    """Return the direct children of every part that has some, in the order of their ids."""
    children: dict[str, tuple[str, ...]] = {}
    for part in build.parts:
        if part.part_of is not None and part.part_of != part.part:
            children[part.part_of] = (*children.get(part.part_of, ()), part.part)
    return children


def family(children: dict[str, tuple[str, ...]], part: str) -> tuple[str, ...]:
    """Return a part and all its children at any depth, the part first.

    Examples
    --------
    >>> family({"dash": ("skin", "vent"), "vent": ("flap",)}, "dash")
    ('dash', 'skin', 'vent', 'flap')
    """
    found, waiting = [part], list(children.get(part, ()))
    while waiting:
        name = waiting.pop(0)
        if name not in found:
            found.append(name)
            waiting = [*children.get(name, ()), *waiting]
    return tuple(found)


def what_stays(build: Build, wanted: frozenset[str] = frozenset()) -> frozenset[str]:
    """Return the bodies that are the vehicle: held to nothing, and belonging to nothing that is held.

    >>> from partkin.model.build import Build, Holding
    >>> sorted(what_stays(Build(holdings=(Holding("dash", "shell", "B1", "bolt"),))))
    ['shell']
    """
    held = {row.part for row in build.holdings}
    parent = {part.part: part.part_of for part in build.parts}
    found = set()
    for row in build.holdings:
        name: str | None = row.held_to
        chain: list[str] = []
        while name is not None and name not in chain:
            chain.append(name)
            name = parent.get(name)
        if not held.intersection(chain):
            found.add(row.held_to)
    return frozenset(found - wanted)


def assembly(
    build: Build,
    part: str,
    done: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
    stays: frozenset[str] | None = None,
) -> Assembly:
    """Return the bodies and fasteners that matter for one part, its children with it; the rest as for `plan`."""
    sheets = _Sheets(build, part)
    everything = [sheets.fastener(index, rows) for index, rows in enumerate(sheets.grouped.values())]
    everything += sheets.links(everything)
    away = [sheets.bodies_of(name) for name in sorted(done) if name not in sheets.grouped]
    gone = [f for f in everything if f.id in done or any(f.holds(bodies) for bodies in away)]
    near = _joined_or_in_the_way(everything, [sheets.number[name] for name in sheets.wanted])
    fasteners = _renumbered([f for f in everything if f not in gone and near.issuperset(f.ends)])
    wanted = frozenset(sheets.wanted)
    names = what_stays(build, wanted) if stays is None else stays - wanted
    own_kg, no_mass = sheets.masses()
    return Assembly(
        build=build,
        bodies=tuple(sheets.number),
        fasteners=fasteners,
        root=sheets.number[part],
        wanted=frozenset(sheets.number[name] for name in wanted),
        stays=frozenset(sheets.number[name] for name in names if sheets.number.get(name) in near),
        own_kg=own_kg,
        no_mass=no_mass,
        done=tuple(f for f in gone if not f.link and near.issuperset(f.ends)),
        without=frozenset(f.index for f in fasteners if f.id in without),
    )


class _Sheets:
    """The rows of a build by fastener, and its names by number."""

    def __init__(self, build: Build, wanted: str) -> None:
        self.build = build
        self.children = children_of(build)
        self.wanted = family(self.children, wanted)
        self.parts = {part.part: part for part in build.parts}
        self.grouped: dict[str, list[Holding]] = {}
        names: dict[str, None] = dict.fromkeys(self.wanted)
        for row in build.holdings:
            self.grouped.setdefault(row.fastener, []).append(row)
            names |= {row.part: None, row.held_to: None}
        self.number = {name: index for index, name in enumerate(names)}
        self.place_of = {fastener: index for index, fastener in enumerate(self.grouped)}

    def bodies_of(self, part: str) -> tuple[int, ...]:
        return tuple(self.number[name] for name in family(self.children, part) if name in self.number)

    def in_the_way(self, name: str) -> InTheWay:
        if name in self.place_of:
            return InTheWay(name, fastener=self.place_of[name])
        if name in self.parts or name in self.number:
            return InTheWay(name, family=self.bodies_of(name))
        return InTheWay(name, unknown=True)

    def fastener(self, index: int, rows: list[Holding]) -> Fastener:
        table = fastener_rows()[rows[0].kind]
        given = [row.minutes for row in rows if row.minutes is not None]
        count = max(row.count for row in rows)
        clauses = [clause for row in rows for clause in row.behind if clause]
        return Fastener(
            index=index,
            id=rows[0].fastener,
            joins=tuple(dict.fromkeys((self.number[row.part], self.number[row.held_to]) for row in rows)),
            kind=rows[0].kind,
            count=count,
            minutes=max(given) if given else table.minutes_each * count,
            bench_factor=table.bench_factor,
            place=next((row.place for row in rows if row.place), NO_PLACE),
            behind=tuple(tuple(map(self.in_the_way, clause)) for clause in clauses),
            rows=tuple(rows),
        )

    def links(self, fasteners: list[Fastener]) -> list[Fastener]:
        """Join a child to its assembly where no fastener is known to."""
        found: list[Fastener] = []
        pairs = [ends for f in fasteners for a, b in f.joins for ends in ((a, b), (b, a))]
        for part in self.build.parts:
            if part.part_of is None or part.part not in self.number:
                continue
            mine = set(self.bodies_of(part.part))
            rest = [body for body in self.bodies_of(part.part_of) if body not in mine]
            if rest and not any(a in mine and b in rest for a, b in pairs):
                joins = ((self.number[part.part], rest[0]),)
                name = f"({part.part} belongs to {part.part_of})"
                found.append(Fastener(len(fasteners) + len(found), name, joins, link=True))
        return found

    def masses(self) -> tuple[tuple[float, ...], frozenset[int]]:
        """Return each body's own mass in kg, and those of which none is known: a part's mass counts its children in."""

        def total(name: str, above: tuple[str, ...] = ()) -> tuple[float, bool]:
            part = self.parts.get(name)
            if part is not None and part.mass_kg is not None:
                return part.mass_kg, True
            below = [total(child, (*above, name)) for child in self.children.get(name, ()) if child not in above]
            return sum(mass for mass, _ in below), False

        own = []
        for name in self.number:
            apart = [child for child in self.children.get(name, ()) if self.bodies_of(child)]
            own.append(max(0.0, round(total(name)[0] - sum(total(child)[0] for child in apart), 6)))
        return tuple(own), frozenset(body for name, body in self.number.items() if not total(name)[1])


def _joined_or_in_the_way(fasteners: list[Fastener], wanted: list[int]) -> set[int]:
    """Bodies that are joined to the wanted part, or stand in the way of what is, and so on."""
    touching: dict[int, list[Fastener]] = {}
    for fastener in fasteners:
        for body in fastener.ends:
            touching.setdefault(body, []).append(fastener)
    seen: set[int] = set()
    waiting = list(wanted)
    while waiting:
        body = waiting.pop()
        if body not in seen:
            seen.add(body)
            for fastener in touching.get(body, ()):
                waiting.extend(fastener.ends)
                for way in (way for clause in fastener.behind for way in clause):
                    waiting.extend(fasteners[way.fastener].ends if way.fastener is not None else way.family)
    return seen


def _renumbered(fasteners: list[Fastener]) -> tuple[Fastener, ...]:
    """Number the fasteners that are left, and drop each clause in which something is done."""
    new = {fastener.index: index for index, fastener in enumerate(fasteners)}
    kept = []
    for fastener in fasteners:
        clauses = [c for c in fastener.behind if all(way.fastener is None or way.fastener in new for way in c)]
        behind = tuple(renamed(clause, new) for clause in clauses)
        kept.append(replace(fastener, index=new[fastener.index], behind=behind))
    return tuple(kept)


def renamed(clause: tuple[InTheWay, ...], new: dict[int, int]) -> tuple[InTheWay, ...]:
    """Return a clause with its fasteners numbered anew."""
    return tuple(way if way.fastener is None else way._replace(fastener=new[way.fastener]) for way in clause)
