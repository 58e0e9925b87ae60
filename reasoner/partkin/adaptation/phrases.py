"""Jobs in words that a person at a bench can follow."""

from __future__ import annotations

from typing import NamedTuple

from partkin.model.adapting import ALONG_Z, Axis, Bracket
from partkin.tables.work import edge_rule, washer_for


class What(NamedTuple):
    """The hole or slot that is worked on."""

    kind: str
    name: str
    on_host: bool
    part: str

    def __str__(self) -> str:
        """Name it, and the vehicle's part where it is not the donor's."""
        return f"{self.kind} {self.name}" + (f" of {self.part} (on the vehicle)" if self.on_host else "")


class Direction(NamedTuple):
    """A direction, and the feature that lies in it, if one does."""

    angle_deg: float
    towards: str | None

    def angle(self, at: str = "") -> str:
        """An angle as it is marked out: whole degrees from the x axis, the shorter way round."""
        whole = round(self.angle_deg) % 360
        if whole == 0:
            return "along the x axis of the part"
        if whole <= 180:
            return f"{at}{whole} degrees from the x axis of the part, anticlockwise"
        return f"{at}{360 - whole} degrees from the x axis of the part, clockwise"


def washer(across_mm: float, bolt_mm: float, slot: bool = False) -> str:
    """The washer that a hole of that width needs; empty: the plain one will do.

    Examples
    --------
    >>> washer(9.0, 6.0)
    ' Fit a large washer, 18 mm across.'
    >>> washer(6.6, 6.0)
    ''
    """
    row = washer_for(bolt_mm)
    if row is None:
        return f" Fit a washer at least {1.5 * across_mm:.0f} mm across."
    if across_mm > edge_rule("washer cover").value * row.outer_mm:
        return f" Fit a large washer, {row.large_outer_mm:g} mm across."
    return f" Fit a washer wider than the slot ({row.outer_mm:g} mm across or more)." if slot else ""


def _edge(edge_mm: float | None) -> str:
    if edge_mm is None:
        return ""
    return f" First see that its centre line stays at least {edge_mm:.1f} mm from every edge."


def open_out(what: What, from_mm: float, to_mm: float, bolt_mm: float, edge_mm: float | None) -> str:
    """Opening out.

    Examples
    --------
    >>> open_out(What("hole", "d", False, "D1"), 7.0, 8.0, 6.0, None)
    'Open out hole d from 7.0 to 8.0 mm.'
    """
    done = "Widen" if what.kind == "slot" else "Open out"
    return f"{done} {what} from {from_mm:.1f} to {to_mm:.1f} mm.{_held(what, to_mm, bolt_mm)}{_edge(edge_mm)}"


def _held(what: What, across_mm: float, bolt_mm: float, slot: bool = False) -> str:
    """What covers the hole; a peg has no washer, and its hole no longer places the part."""
    if what.kind == "peg hole":
        return " The peg then no longer places the part: line it up by the others."
    return washer(across_mm, bolt_mm, slot)


def slot(
    what: What, from_mm: float, width_mm: float, travel_mm: float, way: Direction, bolt_mm: float, edge_mm: float | None
) -> str:
    """A new slot, to one side of the hole."""
    runs = f"towards {way.towards} ({way.angle()})" if way.towards else way.angle("at ")
    wider = f" (the hole is {from_mm:.1f})" if width_mm > from_mm + 1e-9 else ""
    return (
        f"File {what} into a slot {width_mm:.1f} mm wide{wider} and {width_mm + travel_mm:.0f} mm long overall, to one "
        f"side only: the hole stays as one end, and the slot runs from it {runs}, so that the centre of its "
        f"far end lies {travel_mm:.1f} mm from the hole's centre."
        f"{_held(what, width_mm, bolt_mm, True)}{_edge(edge_mm)}"
    )


def longer_slot(
    what: What, long_mm: tuple[float, float], wide_mm: tuple[float, float], way: Direction, edge_mm: float | None
) -> str:
    """A slot that is there already, made longer at one end; `long_mm`, `wide_mm`: before and after."""
    end = f"the end towards {way.towards}" if way.towards else f"the end that lies {way.angle('at ')}"
    widened = f" and widen it from {wide_mm[0]:.1f} to {wide_mm[1]:.1f} mm" if wide_mm[1] > wide_mm[0] + 1e-9 else ""
    longer = f"Lengthen {what} from {long_mm[0]:.1f} to {long_mm[1]:.1f} mm overall, at {end} only"
    return f"{longer}{widened}.{_edge(edge_mm)}"


def _place(at_mm: tuple[float, ...]) -> str:
    return ", ".join(f"{axis} {value:.1f}" for axis, value in zip("xyz", at_mm, strict=False))


def new_hole(
    fixing: str, across_mm: float, at_mm: tuple[float, ...], axis: Axis | None, old: str | None,
    edge_mm: float | None,
) -> str:  # fmt: skip
    """A new hole at a fixing's place."""
    way = ""
    if axis is not None and abs(axis[2]) < ALONG_Z:
        along = ", ".join(f"{name} {value + 0.0:.2f}" for name, value in zip("xyz", axis, strict=True))
        way = f", slanting as {fixing} does: along {along}"
    leave = f" Leave {old} empty and plug it." if old else ""
    return (
        f"Drill a new {across_mm:.1f} mm hole for fixing {fixing} at {_place(at_mm)} of the part{way}. Lay the part on "
        f"by its other fixings first and see that the mark falls on {fixing}.{leave}{_edge(edge_mm)}"
    )


def move_over(bracket: Bracket, original: str, at_mm: tuple[float, ...], donor: str) -> str:
    """A bracket that changes parts."""
    undo = f": {bracket.undo}" if bracket.undo else ""
    holes = f"its {bracket.holes} hole{'s' * (bracket.holes != 1)}" if bracket.holes else "its holes"
    return (
        f"Move {bracket.part} over from {original}{undo}. Fasten it to {bracket.fixing} on the vehicle, lay {donor} on "
        f"by its other fixings, mark the donor through {holes} (near {_place(at_mm)} of the part), and fix it there."
    )


def other_bolt(fixing: str, thread: str, meant: str | None, thinner: bool) -> str:
    """Another bolt than the one meant."""
    instead = f", not {meant}" if meant else ""
    weaker = " It is thinner than the one meant and holds less." if thinner else ""
    return (
        f"Use a bolt {thread} at {fixing}{instead}.{weaker} Start it by hand for several turns; if it binds, stop: "
        "the thread is not the one written down."
    )
