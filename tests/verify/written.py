"""Sheets of invented parts, and the verdict file that the geometry makes of them."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np

from partkin.fit.fixings import donor_features, host_fixings
from partkin.fit.solve import solve
from partkin.fit.task import prepare
from partkin.model.build import Build, Feature, Part
from partkin.model.fitting import FitAnswer
from partkin.model.known import Side
from partkin.model.mating import Size
from partkin.model.positions import Positions
from partkin.model.verdict import Pair, Verdict
from partkin.report.verdict_file import verdict_json
from partkin.verdict.phrases import state


def parts(host_face: str | None = "outside", donor_face: str | None = "outside") -> tuple[Part, ...]:
    """A host and a donor."""
    return (
        Part("host", origin="host", seen_from=host_face),
        Part("donor", origin="donor", takes_place_of="host", seen_from=donor_face, airbag=False),
    )


def build_of(*features: Feature, **faces: str | None) -> Build:
    """A build of those two parts."""
    return Build(parts=parts(**faces), features=features)


def hole(name: str, x: float, y: float, across: float = 7.0, **more) -> Feature:
    """A hole of the donor."""
    return Feature("donor", name, "hole", across_mm=across, x_mm=x, y_mm=y, **more)


def stud(name: str, x: float, y: float, across: float = 6.0, **more) -> Feature:
    """A stud of the host."""
    return Feature("host", name, "stud", across_mm=across, x_mm=x, y_mm=y, **more)


def answer_of(build: Build, mirrored: bool) -> FitAnswer:
    """What `solve` says of a build whose features all have places."""
    sides = {name: Side(build.part(name), None, build.features_of(name), (), (), ()) for name in ("host", "donor")}
    places = {
        name: Positions(
            name, tuple(f.feature for f in side.features),
            np.array([(f.x_mm, f.y_mm) for f in side.features], dtype=float).reshape(-1, 2),
            np.zeros(len(side.features)),
        )
        for name, side in sides.items()
    }  # fmt: skip

    def sizes(feature: Feature) -> tuple[Size, Size]:
        return Size(feature.across_mm), Size(feature.length_mm)

    hosted = host_fixings(sides["host"], None, frozenset(places["host"].features), sizes)
    prepared = prepare(
        hosted, donor_features(sides["donor"], sizes), places["host"], places["donor"], host_part="host",
        mirrored=mirrored,
    )  # fmt: skip
    return solve(prepared.task)


def verdict_of(build: Build, mirrored: bool = False) -> dict:
    """The verdict file that comes of a build, as read back from its text."""
    answer = answer_of(build, mirrored)
    word = {True: "bolts on", False: "does not fit"}[answer.fits]
    pairs = tuple(
        Pair(
            p.fixing, p.feature, p.offset_mm, p.allowed_mm, p.margin_mm, state(p.margin_mm, p.allowed_mm < 0)
        ) for p in answer.pairs
    )  # fmt: skip
    verdict = Verdict(
        "host", "donor", "host", word, margin_mm=answer.margin_mm, placement=answer.placement or None,
        pairs=pairs, also=answer.also, conflict=answer.conflict,
    )  # fmt: skip
    return json.loads(verdict_json(verdict))


def random_build(seed: int) -> tuple[Build, bool]:
    """Studs and holes that nearly go together, some slots, some spare, some bolted through two holes."""
    draw = np.random.default_rng(seed)
    count, spread = int(draw.integers(1, 6)), draw.choice([0.0, 0.3, 0.8, 3.0])
    more = int(draw.integers(0, 3))
    points = draw.uniform(0, 300, (count + more, 2)).round(2)
    mirrored = bool(draw.random() < 0.3)
    angle = draw.uniform(-math.pi, math.pi)
    c, s = math.cos(angle), math.sin(angle)
    moved = points @ np.array([[c, s], [-s, c]]) + draw.uniform(-50, 50, 2)
    moved = moved + draw.uniform(-spread, spread, moved.shape)
    moved = (moved * [-1, 1] if mirrored else moved).round(3)
    features = []
    for k in range(count):
        through = draw.random() < 0.3
        kind = "hole" if through else "stud"
        if through and draw.random() < 0.3:
            kind = "slot"
        features.append(
            Feature(
                "host",
                f"F{k}",
                kind,
                across_mm=7.0 if through else float(draw.choice([5.0, 6.0])),
                length_mm=round(float(draw.uniform(8, 15)), 1) if kind == "slot" else None,
                angle_deg=round(float(draw.uniform(0, 180)), 0) if kind == "slot" else None,
                x_mm=float(points[k, 0]),
                y_mm=float(points[k, 1]),
                thread="M6" if through else None,
                need=str(draw.choice(["must", "must", "should"])),
            )
        )
    for k in range(count + more):
        slot = draw.random() < 0.25
        features.append(
            Feature(
                "donor",
                f"d{k}",
                "slot" if slot else "hole",
                across_mm=float(draw.choice([6.4, 7.0, 9.0])),
                length_mm=round(float(draw.uniform(9, 16)), 1) if slot else None,
                angle_deg=round(float(draw.uniform(0, 180)), 0) if slot else None,
                x_mm=float(moved[k, 0]),
                y_mm=float(moved[k, 1]),
                need=str(draw.choice(["should", "should", "spare", "must"], p=[0.4, 0.3, 0.25, 0.05])),
            )
        )
    faces = {"host_face": "outside", "donor_face": "inside" if mirrored else "outside"}
    return replace(build_of(*features), parts=parts(**faces)), mirrored
