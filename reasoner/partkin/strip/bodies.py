"""The build folder seen as bodies joined by fasteners, for one wanted part.

A body is a part that held_by.csv names (or one that belongs to the wanted part). A part with its children
(part_of, any depth) is its family. What stays is every body that no row holds to anything and that belongs
to nothing that is held: the vehicle. All of it counts as one thing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from partkin.model.build import Build, Holding
from partkin.strip.costs import fastener_rows

NO_PLACE = "place not given"


@dataclass(frozen=True)
class InTheWay:
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
    kind: str
    count: int
    minutes: float
    bench_factor: float
    place: str
    behind: tuple[tuple[InTheWay, ...], ...]
    rows: tuple[Holding, ...]
    link: bool = False

    @property
    def ends(self) -> tuple[int, ...]:
        """Every body it joins, in order."""
        return tuple(dict.fromkeys(body for join in self.joins for body in join))

    @property
    def guess(self) -> bool:
        """Whether no row of it is certain."""
        return bool(self.rows) and not any(row.certain for row in self.rows)


@dataclass(frozen=True)
class Assembly:
    """Bodies and fasteners around one wanted part; indices run over `bodies` and `fasteners`.

    `root`: the wanted part's own body; `wanted`: with its children. `stays`: bodies that are the vehicle.
    `own_kg`: a body's mass without those of its children that are bodies themselves; `no_mass`: bodies whose
    mass the sheets do not give. `done`: fasteners undone before. `without`: fasteners that must not be undone.
    `unheld`: parts in the way that nothing is known to hold, with the fastener that waits for each. `on_bench`:
    nothing joins the part to what stays.
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
    unheld: tuple[tuple[str, str], ...] = ()
    on_bench: bool = False

    def mass_kg(self, bodies: Iterable[int]) -> float:
        """Return what is known of the mass of some bodies together."""
        return round(sum(self.own_kg[body] for body in sorted(bodies)), 6)

    @property
    def boundary(self) -> tuple[int, ...]:
        """Fasteners between the wanted part and everything else, in order."""
        return tuple(
            fastener.index
            for fastener in self.fasteners
            if any((a in self.wanted) != (b in self.wanted) for a, b in fastener.joins)
        )


def children_of(build: Build) -> dict[str, tuple[str, ...]]:
    """Return the direct children of every part that has some, in the order of their ids."""
    children: dict[str, list[str]] = {}
    for part in build.parts:
        if part.part_of is not None and part.part_of != part.part:
            children.setdefault(part.part_of, []).append(part.part)
    return {parent: tuple(names) for parent, names in children.items()}


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
            waiting = list(children.get(name, ())) + waiting
    return tuple(found)


def what_stays(build: Build, wanted: frozenset[str] = frozenset()) -> frozenset[str]:
    """Return the bodies that are the vehicle: held to nothing, and belonging to nothing that is held.

    Examples
    --------
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


class _Maker:
    """Collects the fasteners of a build by id, and resolves names."""

    def __init__(self, build: Build, wanted: str) -> None:
        self.build = build
        self.children = children_of(build)
        self.wanted = family(self.children, wanted)
        self.grouped: dict[str, list[Holding]] = {}
        names: dict[str, None] = dict.fromkeys(self.wanted)
        for row in build.holdings:
            self.grouped.setdefault(row.fastener, []).append(row)
            names[row.part] = None
            names[row.held_to] = None
        self.bodies = tuple(names)
        self.number = {name: index for index, name in enumerate(self.bodies)}
        self.parts = {part.part: part for part in build.parts}
        self.order = {fastener: index for index, fastener in enumerate(self.grouped)}

    def bodies_of(self, part: str) -> tuple[int, ...]:
        return tuple(self.number[name] for name in family(self.children, part) if name in self.number)

    def way(self, name: str) -> InTheWay:
        if name in self.order:
            return InTheWay(name, fastener=self.order[name])
        if name in self.parts or name in self.number:
            return InTheWay(name, family=self.bodies_of(name))
        return InTheWay(name, unknown=True)

    def fastener(self, index: int, name: str, rows: list[Holding]) -> Fastener:
        first = rows[0]
        table = fastener_rows()[first.kind]
        given = [row.minutes for row in rows if row.minutes is not None]
        count = max(row.count for row in rows)
        return Fastener(
            index=index,
            id=name,
            joins=tuple(dict.fromkeys((self.number[row.part], self.number[row.held_to]) for row in rows)),
            kind=first.kind,
            count=count,
            minutes=max(given) if given else table.minutes_each * count,
            bench_factor=table.bench_factor,
            place=next((row.place for row in rows if row.place), NO_PLACE),
            behind=tuple(tuple(self.way(other) for other in clause) for row in rows for clause in row.behind if clause),
            rows=tuple(rows),
        )

    def links(self, fasteners: list[Fastener]) -> list[Fastener]:
        """Join a child to its assembly where no fastener is known to."""
        found: list[Fastener] = []
        for part in self.build.parts:
            if part.part_of is None or part.part not in self.number:
                continue
            mine = set(self.bodies_of(part.part))
            rest = [body for body in self.bodies_of(part.part_of) if body not in mine]
            if not rest or any(
                (a in mine and b in rest) or (b in mine and a in rest)
                for fastener in fasteners
                for a, b in fastener.joins
            ):
                continue
            found.append(
                Fastener(
                    index=len(fasteners) + len(found),
                    id=f"({part.part} belongs to {part.part_of})",
                    joins=((self.number[part.part], rest[0]),),
                    kind="", count=0, minutes=0.0, bench_factor=1.0, place=NO_PLACE, behind=(), rows=(), link=True,
                )
            )  # fmt: skip
        return found


def _masses(maker: _Maker) -> tuple[tuple[float, ...], frozenset[int]]:
    """A part's mass counts its children in; a body's own is the rest."""

    def total(name: str, above: tuple[str, ...] = ()) -> tuple[float, bool]:
        part = maker.parts.get(name)
        if part is not None and part.mass_kg is not None:
            return part.mass_kg, True
        below = [total(child, (*above, name)) for child in maker.children.get(name, ()) if child not in above]
        return sum(mass for mass, _ in below), False

    own, unknown = [], set()
    for index, name in enumerate(maker.bodies):
        mass, known = total(name)
        if not known:
            unknown.add(index)
        for child in maker.children.get(name, ()):
            if maker.bodies_of(child):
                mass -= total(child)[0]
        own.append(max(0.0, round(mass, 6)))
    return tuple(own), frozenset(unknown)


def _reach(maker: _Maker, fasteners: list[Fastener]) -> set[int]:
    """Bodies that are joined to the wanted part, or stand in the way of what is, and so on."""
    touching: dict[int, list[Fastener]] = {}
    for fastener in fasteners:
        for body in fastener.ends:
            touching.setdefault(body, []).append(fastener)
    seen: set[int] = set()
    waiting = [maker.number[name] for name in maker.wanted]
    while waiting:
        body = waiting.pop()
        if body in seen:
            continue
        seen.add(body)
        for fastener in touching.get(body, ()):
            waiting.extend(fastener.ends)
            for way in (way for clause in fastener.behind for way in clause):
                waiting.extend(fasteners[way.fastener].ends if way.fastener is not None else way.family)
    return seen


def _renumbered(fasteners: list[Fastener]) -> tuple[Fastener, ...]:
    """Number the fasteners that are left, and drop what was in the way and is done."""
    new = {fastener.index: index for index, fastener in enumerate(fasteners)}

    def way_now(way: InTheWay) -> InTheWay | None:
        if way.fastener is None:
            return way
        return replace(way, fastener=new[way.fastener]) if way.fastener in new else None

    kept = []
    for fastener in fasteners:
        clauses = []
        for clause in fastener.behind:
            ways = [way_now(way) for way in clause]
            if None not in ways:
                clauses.append(tuple(way for way in ways if way is not None))
        kept.append(replace(fastener, index=new[fastener.index], behind=tuple(clauses)))
    return tuple(kept)


def assembly(
    build: Build,
    part: str,
    done: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
    stays: frozenset[str] | None = None,
) -> Assembly:
    """Return the bodies and fasteners that matter for one part.

    Parameters
    ----------
    build
    part
        The wanted part; its children come with it.
    done
        Fasteners that are undone already, or parts that are off already.
    without
        Fasteners that must not be undone.
    stays
        Bodies that stay; None: the vehicle as the sheet has it (`what_stays`). Empty: all of it lies on a bench.
    """
    maker = _Maker(build, part)
    everything = [maker.fastener(index, name, rows) for index, (name, rows) in enumerate(maker.grouped.items())]
    everything += maker.links(everything)
    away = set()
    for name in sorted(done - set(maker.order)):
        away |= {
            fastener.index
            for fastener in everything
            if any((a in bodies) != (b in bodies) for a, b in fastener.joins for bodies in [maker.bodies_of(name)])
        }
    gone = [fastener for fastener in everything if fastener.id in done or fastener.index in away]
    reach = _reach(maker, everything)
    left = [f for f in everything if f not in gone and reach.issuperset(f.ends)]
    wanted = frozenset(maker.number[name] for name in maker.wanted)
    names = what_stays(build, frozenset(maker.wanted)) if stays is None else stays - set(maker.wanted)
    fixed = frozenset(maker.number[name] for name in names if maker.number.get(name) in reach)
    own_kg, no_mass = _masses(maker)
    fasteners = _renumbered(left)
    unheld = tuple(
        dict.fromkeys(
            (way.name, fastener.id)
            for fastener in fasteners
            for clause in fastener.behind
            for way in clause
            if way.fastener is None and not way.family and not way.unknown
        )
    )
    made = Assembly(
        build=build,
        bodies=maker.bodies,
        fasteners=fasteners,
        root=maker.number[part],
        wanted=wanted,
        stays=fixed,
        own_kg=own_kg,
        no_mass=no_mass,
        done=tuple(fastener for fastener in gone if not fastener.link and reach.issuperset(fastener.ends)),
        without=frozenset(fastener.index for fastener in fasteners if fastener.id in without),
        unheld=unheld,
    )
    return replace(made, on_bench=not _touches_vehicle(made))


def _touches_vehicle(asm: Assembly) -> bool:
    seen, waiting = set(asm.wanted), list(asm.wanted)
    while waiting:
        body = waiting.pop()
        for fastener in asm.fasteners:
            if body in fastener.ends:
                new = set(fastener.ends) - seen
                seen |= new
                waiting.extend(new)
    return bool(seen & asm.stays)
