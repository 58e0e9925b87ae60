"""Invented assemblies for the tests: random, seeded, no vehicle's."""

from __future__ import annotations

import random

from partkin.model.build import Build, Holding, Part

PLACES = ("cabin", "door", "engine bay")
KINDS = ("bolt", "screw", "clip", "connector", "nut")


def random_build(seed: int, bodies: int | None = None, joints: int | None = None, hard: bool | None = None) -> Build:
    """Return an assembly around `p0`; `shell` stays. At most 12 joints unless told.

    `hard`: fasteners stand in each other's way often, in circles too; None: one seed in three.
    """
    draw = random.Random(seed)
    hard = seed % 3 == 0 if hard is None else hard
    count = bodies if bodies is not None else draw.randint(2, 6)
    names = [f"p{index}" for index in range(count)]
    total = joints if joints is not None else draw.randint(count, 12)
    pairs = [(names[index], draw.choice(["shell", *names[:index]][-3:])) for index in range(count)]
    while len(pairs) < total:
        one = draw.randrange(count)
        other = draw.choice([name for name in ["shell", *names] if name != names[one]])
        pairs.append((names[one], other))
    draw.shuffle(pairs)
    rows = []
    for index, (part, held_to) in enumerate(pairs):
        rows.append(
            Holding(
                part=part,
                held_to=held_to,
                fastener=f"f{index}",
                kind=draw.choice(KINDS),
                count=draw.randint(1, 4),
                minutes=draw.choice([None, 0.2, 0.5, 1.0, 1.5, 3.0, 6.0]),
                behind=_behind(draw, index, len(pairs), names, hard),
                place=draw.choice([*PLACES[: draw.randint(1, 3)], None]),
                certain=draw.random() < 0.9,
                row=index + 2,
            )
        )
    return Build(parts=_parts(draw, names), holdings=tuple(rows))


def _behind(draw: random.Random, index: int, total: int, names: list[str], hard: bool) -> tuple[tuple[str, ...], ...]:
    if draw.random() > (0.45 if hard else 0.2):
        return ()
    clauses = []
    for _ in range(draw.choice([1, 1, 2])):
        clause = []
        for _ in range(draw.choice([1, 1, 2])):
            if draw.random() < 0.5:
                clause.append(draw.choice(names[1:] if len(names) > 1 and draw.random() < 0.9 else names))
            else:
                low = 0 if hard else index + 1
                clause.append(f"f{draw.randrange(low, total) if low < total else index - 1}")
        clauses.append(tuple(dict.fromkeys(clause)))
    return tuple(clauses)


def _parts(draw: random.Random, names: list[str]) -> tuple[Part, ...]:
    parts = [Part("shell", origin="host")]
    for index, name in enumerate(names):
        parent = names[draw.randrange(index)] if index and draw.random() < 0.2 else None
        mass = draw.choice([None, 0.5, 4.0, 12.0, 20.0, 31.0])
        parts.append(Part(name, origin="original", part_of=parent, mass_kg=mass, row=index + 3))
    return tuple(parts)


REGIONS = ("cabin", "door", "engine bay", "boot")


def vehicle_build(seed: int, bodies: int, joints: int) -> Build:
    """Return an assembly laid out as vehicles are: regions, in each of them frames under brackets under trim.

    What holds a part may be covered by parts further out, now and then by either of two, or by one fastener;
    a loom runs through each region, with connectors. Few circles.
    """
    draw = random.Random(seed)
    looms = {region: f"loom-{index}" for index, region in enumerate(REGIONS)}
    names = [f"p{index}" for index in range(bodies - len(looms))]
    region = {name: REGIONS[draw.randrange(len(REGIONS))] for name in names}
    pairs = [(loom, "shell") for loom in looms.values() for _ in range(2)]
    host = {}
    for index, name in enumerate(names):
        inside = [other for other in names[:index] if region[other] == region[name]][-6:]
        host[name] = draw.choice(["shell", *inside])
        pairs += [(name, host[name])] * 2
    while len(pairs) < joints:
        name = draw.choice(names)
        if draw.random() < 0.35:
            pairs.append((name, looms[region[name]]))
        elif draw.random() < 0.7:
            pairs.append((name, host[name]))
        else:
            near = [other for other in names if region[other] == region[name] and other != name]
            pairs.append((name, draw.choice(near or ["shell"])))
    del pairs[joints:]
    rows = []
    for index, (part, held_to) in enumerate(pairs):
        to_loom = held_to.startswith("loom")
        outer = [n for n in names if part in region and region[n] == region[part] and _number(n) > _number(part)]
        rows.append(
            Holding(
                part=part,
                held_to=held_to,
                fastener=f"f{index}",
                kind="connector" if to_loom else draw.choice(("bolt", "screw", "clip", "nut")),
                count=1 if to_loom else draw.randint(1, 6),
                behind=_covered(draw, index, outer[:8]),
                place=region.get(part) or next(r for r, loom in looms.items() if loom == part),
                certain=draw.random() < 0.95,
                row=index + 2,
            )
        )
    parts = [Part("shell", origin="host"), *(Part(loom, origin="host", mass_kg=2.0) for loom in looms.values())]
    parts += [Part(name, origin="original", mass_kg=round(draw.uniform(0.2, 9.0), 1)) for name in names]
    return Build(parts=tuple(parts), holdings=tuple(rows))


def _number(name: str) -> int:
    return int(name[1:])


def _covered(draw: random.Random, index: int, outer: list[str]) -> tuple[tuple[str, ...], ...]:
    if not outer or draw.random() > 0.4:
        return ()
    clauses = []
    for _ in range(draw.choice([1, 1, 2])):
        clause = [draw.choice(outer)]
        if draw.random() < 0.2:
            clause.append(draw.choice(outer))
        if draw.random() < 0.1 and index:
            clause = [f"f{index - 1}"]
        clauses.append(tuple(dict.fromkeys(clause)))
    return tuple(dict.fromkeys(clauses))


def tangled_build(seed: int, bodies: int, joints: int) -> Build:
    """Return an assembly far more tangled than a vehicle: what is in the way is drawn almost at random."""
    draw = random.Random(seed)
    names = [f"p{index}" for index in range(bodies)]
    depth = {"shell": 0}
    pairs = []
    for index, name in enumerate(names):
        host = draw.choice(["shell", *names[max(0, index - 15) : index]])
        depth[name] = depth[host] + 1
        pairs.append((name, host))
    while len(pairs) < joints:
        one = draw.randrange(bodies)
        other = draw.choice(["shell", *names[max(0, one - 8) : one + 8]])
        if other != names[one]:
            pairs.append((names[one], other))
    rows = []
    for index, (part, held_to) in enumerate(pairs):
        clauses = []
        if draw.random() < 0.4:
            for _ in range(draw.choice([1, 1, 2])):
                near = draw.randrange(max(0, index - 20), min(len(pairs), index + 20))
                name = draw.choice([pairs[near][0], f"f{near}"])
                clause = [name] if name not in (part, held_to, f"f{index}") else []
                if clause and draw.random() < 0.3:
                    clause.append(f"f{draw.randrange(len(pairs))}")
                if clause:
                    clauses.append(tuple(dict.fromkeys(clause)))
        rows.append(
            Holding(
                part=part, held_to=held_to, fastener=f"f{index}", kind=draw.choice(KINDS), count=draw.randint(1, 6),
                behind=tuple(clauses), place=draw.choice(["cabin", "door", "engine bay", "boot", "underneath"]),
                row=index + 2,
            )
        )  # fmt: skip
    parts = [Part("shell", origin="host")]
    parts += [Part(name, origin="original", mass_kg=round(draw.uniform(0.2, 9.0), 1)) for name in names]
    return Build(parts=tuple(parts), holdings=tuple(rows))
