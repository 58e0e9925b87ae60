"""A person with a tape before an invented part: knows where its holes are, and answers what the page asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass

HOST, DONOR = "cross-beam", "dash-top-of-the-estate"
STUDS = {"F1": (0.0, 0.0), "F2": (300.0, 0.0), "F3": (320.0, 200.0), "F4": (0.0, 200.0)}
HOLES = dict(zip("abcd", STUDS.values(), strict=True))


@dataclass(frozen=True)
class Person:
    """`at_mm`: by part and feature."""

    at_mm: dict[str, dict[str, tuple[float, float]]]

    def distance(self, part: str, one: str, other: str) -> str:
        """What a tape reads, to half a millimetre."""
        return f"{round(2.0 * math.dist(self.at_mm[part][one], self.at_mm[part][other])) / 2.0:g}"

    def side(self, part: str, feature: str, line: str) -> str:
        """On which side of a line a feature lies."""
        (ax, ay), (bx, by) = (self.at_mm[part][name] for name in line.split())
        x, y = self.at_mm[part][feature]
        return "left of" if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0 else "right of"

    def word(self, asked: str) -> str:
        """What the person says of a part."""
        return {"airbag": "no", "seen_from": "outside", "duty": "trim"}[asked]


def person(holes: int, moved: dict[str, tuple[float, float]] | None = None) -> Person:
    """One whose donor has as many holes as studs are used; `moved`: where some of them are instead."""
    studs = dict(list(STUDS.items())[:holes])
    return Person({HOST: studs, DONOR: {**dict(list(HOLES.items())[:holes]), **(moved or {})}})
