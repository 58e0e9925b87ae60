"""What the original carries and the donor lacks: to be moved across before the donor goes on."""

from __future__ import annotations

from partkin.model.build import Build, Connector, Part
from partkin.model.stripping import Moved
from partkin.strip.assembly import children_of, family

RESTRAINT = (
    "a restraint part: not moved on this advice; only by the maker's part number for that very vehicle, by licensed "
    "practice"
)


def move_across(build: Build, original: str, donor: str) -> tuple[Moved, ...]:
    """Return the parts and connectors that the original has and the donor does not.

    A child of the donor stands for a child of the original when it takes its place, has its part number (or
    replaces that number), or has its name. A connector stands for one with the same name, unless its ways or
    its keying are known to differ, or with the same keying and number of ways where the names differ.

    Parameters
    ----------
    build
    original, donor
        Part ids.

    Returns
    -------
    tuple of Moved
        In the order of their ids, the parts first; `hold` on what must not be moved on this advice. One of kind `look`
        where no sheet has a part or a connector on the original.

    Raises
    ------
    KeyError
        No such part.
    """
    for name in (original, donor):
        if build.part(name) is None:
            raise KeyError(name)
    children, parts = children_of(build), {part.part: part for part in build.parts}
    had, has = ([parts[p] for p in family(children, name)[1:] if p in parts] for name in (original, donor))
    names = {original: "the original", **{part.part: part.name or part.part for part in had}}
    spare, found = list(has), list[Moved]()
    for part in had:
        match = next((other for other in spare if _stands_for(other, part)), None)
        if match is not None:
            spare.remove(match)
        else:
            found.append(_moved(build, part, names.get(part.part_of or "", part.part_of or "the original"), original))
    found += _connectors(build, {original, *(part.part for part in had)}, {donor, *(part.part for part in has)})
    if not had and all(plug.part != original for plug in build.connectors):
        says = (
            f"no sheet says what {original} carries: look it over for brackets, clips, captive nuts, ducts, lamps, "
            "sensors and looms that the donor lacks"
        )
        found.append(Moved("look", original, original, says))
    return tuple(found)


def _moved(build: Build, part: Part, carries: str, original: str) -> Moved:
    rows = [row for row in build.holdings if (row.part == part.part) != (row.held_to == part.part)]
    held = tuple(dict.fromkeys(row.fastener for row in rows))
    says = f"{part.name or part.part} is on {carries} and on the donor no part stands for it"
    if part.duty == "restraint":
        says += f": {RESTRAINT}"
    else:
        says += f"; held by {', '.join(held)}" if held else "; how it is held is not known"
    return Moved("part", part.part, part.part_of or original, says, held, part.duty == "restraint")


def _stands_for(donor: Part, original: Part) -> bool:
    if donor.takes_place_of == original.part:
        return True
    if original.part_number is not None and (
        original.part_number == donor.part_number or original.part_number in donor.replaces
    ):
        return True
    same = donor.name is not None and original.name is not None and _plain(donor.name) == _plain(original.name)
    return same and (donor.hand == original.hand or donor.hand is None or original.hand is None)


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _connectors(build: Build, had: set[str], has: set[str]) -> list[Moved]:
    spare, found = [plug for plug in build.connectors if plug.part in has], []
    for plug in (plug for plug in build.connectors if plug.part in had):
        called = [other for other in spare if _plain(other.connector) == _plain(plug.connector)]
        match = next((other for other in called if not _unlike(other, plug)), None)
        match = match or next((other for other in spare if _same_plug(other, plug)), None)
        if match is not None:
            spare.remove(match)
            continue
        lacks = f"the donor's has {_described(called[0])}" if called else "the donor has none like it"
        says = f"connector {plug.connector} (of {plug.part}; {_described(plug)}): {lacks}"
        found.append(Moved("connector", plug.connector, plug.part, says))
    return found


def _described(plug: Connector) -> str:
    ways = f"{plug.ways} ways" if plug.ways is not None else "ways not known"
    return f"{ways}, keyed {plug.keyed_as}" if plug.keyed_as else ways


def _unlike(a: Connector, b: Connector) -> bool:
    """Whether what is known of both says that the plugs differ."""
    both = ((a.ways, b.ways), (a.keyed_as, b.keyed_as))
    return any(None not in pair and pair[0] != pair[1] for pair in both)


def _same_plug(a: Connector, b: Connector) -> bool:
    return None not in (a.keyed_as, a.ways) and (a.keyed_as, a.ways) == (b.keyed_as, b.ways)
