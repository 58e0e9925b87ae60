"""No job ever cuts a protected zone or comes within its margin: random questions, checked with shapely alone."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parent.parent / "adaptation"))
from adapting_cases import random_question

from partkin.adaptation.cheapest import Cheapest
from partkin.model.adapting import Action, AdaptationQuestion, Bracket
from partkin.model.build import Feature, Part, Zone

# Common practice, no source: data/tables/edges.csv, zone margin.
MARGIN_MM = 20.0
CUTS = ("open out", "slot", "new hole", "thread insert")
KINDS = ("tear seam", "airbag door", "structural")


def _question(seed: int, most: int) -> AdaptationQuestion:
    """Three fixings or a few more with errors, and one to three zones strewn over the part, of any shape."""
    draw = np.random.default_rng([seed, 77])
    asked = random_question(seed, least=3, most=most)
    at = np.array([(f.x_mm, f.y_mm) for f in asked.donor_features])
    zones = []
    for number in range(int(draw.integers(1, 4))):
        middle = at[int(draw.integers(len(at)))] + draw.normal(0.0, 30.0, 2)
        corners = middle + draw.normal(0.0, 30.0, (int(draw.integers(1, 6)), 2))
        points = tuple((float(x), float(y)) for x, y in corners)
        zones.append(Zone("D", f"Z{number}", str(draw.choice(KINDS)), points))  # type: ignore[arg-type]
    features = asked.donor_features
    if draw.uniform() < 0.1:
        features = (replace(features[0], zone="Z0"), *features[1:])
    return replace(
        asked, donor_zones=tuple(zones), donor_features=features, donor=Part("D", material="ABS", duty="trim")
    )


def _cut_shape(action: Action, question: AdaptationQuestion) -> shapely.Geometry:
    across_mm = action.to_mm or 0.0
    at = action.at_mm or next(s.at_mm for s in question.task.features if s.id == action.feature)
    half_mm = ((action.length_mm or across_mm) - across_mm) / 2.0
    turn = math.radians(action.angle_deg or 0.0)
    x, y = half_mm * math.cos(turn), half_mm * math.sin(turn)
    line = shapely.LineString([(at[0] - x, at[1] - y), (at[0] + x, at[1] + y)]) if half_mm else shapely.Point(at[:2])
    return line.buffer(across_mm / 2.0, quad_segs=32)


def _zone_shape(zone: Zone) -> shapely.Geometry:
    if len(zone.corners_mm) == 1:
        return shapely.Point(zone.corners_mm[0])
    if len(zone.corners_mm) == 2:
        return shapely.LineString(zone.corners_mm)
    return shapely.make_valid(shapely.Polygon(zone.corners_mm))


def _count_cuts(seeds: range, most: int) -> int:
    """Check every cut of the donor in every adaptation offered; how many there were."""
    seen = 0
    for seed in seeds:
        question = _question(seed, most)
        zones = [_zone_shape(zone) for zone in question.donor_zones]
        in_zone = {f.feature for f in question.donor_features if f.zone}
        search = Cheapest(question, limit=25)
        for adaptation in search.whole().adaptations:
            for action in adaptation.actions:
                if action.do in CUTS and action.side == "donor":
                    seen += 1
                    assert action.feature not in in_zone, seed
                    shape = _cut_shape(action, question)
                    # A slot is placed to a thousandth; a new hole is checked at its rounded place.
                    assert all(shape.distance(zone) >= MARGIN_MM - 0.01 for zone in zones), (seed, action)
    return seen


@pytest.mark.parametrize("start", range(0, 300, 50))
def test_a_protected_zone_is_never_cut(start: int) -> None:
    assert _count_cuts(range(start, start + 50), most=3) > 10


@pytest.mark.slow
@pytest.mark.parametrize("start", range(1000, 11000, 500))
def test_a_protected_zone_is_never_cut_in_ten_thousand(start: int) -> None:
    assert _count_cuts(range(start, start + 500), most=4) > 100


def _bracketed(seed: int) -> AdaptationQuestion:
    """A fixing that no feature goes on, and a bracket of the original for it that reaches some way."""
    asked = _question(seed, most=4)
    draw = np.random.default_rng([seed, 78])
    fixing = asked.task.fixings[-1]
    reach_mm = float(draw.uniform(2.0, 40.0)) if seed % 5 else None
    task = replace(asked.task, options=tuple(o for o in asked.task.options if o.fixing != fixing.id))
    lug = Bracket("lug", Feature("lug", "k", "hole"), fixing.id, int(draw.integers(1, 4)), reach_mm, duty="trim")
    return replace(asked, task=task, brackets=(lug,))


@pytest.mark.parametrize("start", range(0, 200, 50))
def test_no_hole_for_a_bracket_can_come_near_a_protected_zone(start: int) -> None:
    """Whichever way the bracket is turned: a disc of its reach keeps the margin. Of unknown reach it is not moved."""
    moved = 0
    for seed in range(start, start + 50):
        question = _bracketed(seed)
        zones = [_zone_shape(zone) for zone in question.donor_zones]
        for adaptation in Cheapest(question, limit=25).whole().adaptations:
            for action in adaptation.actions:
                if action.do == "move over":
                    reach_mm = question.brackets[0].reach_mm
                    assert reach_mm is not None and action.at_mm is not None, seed
                    disc = shapely.Point(action.at_mm[:2]).buffer(reach_mm, quad_segs=32)
                    assert all(disc.distance(zone) >= MARGIN_MM - 0.01 for zone in zones), (seed, action)
                    moved += 1
    assert moved > 3
