"""Gaps and overlaps along edges, worked by hand on rectangles."""

from __future__ import annotations

import math

import pytest
from adapting_cases import ask, holes, studs

from partkin.adaptation.outlines import edge_gaps, trim_jobs
from partkin.model.build import Neighbour, Outline, Part, Zone

STILL = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def _box(part: str, x: float, y: float, width: float, height: float, name: str = "rim") -> Outline:
    return Outline(part, "edge", name, ((x, y), (x + width, y), (x + width, y + height), (x, y + height)))


DONOR = _box("D", 0.0, 0.0, 400.0, 200.0)


def _turned(turn_deg: float, x_mm: float = 0.0, y_mm: float = 0.0) -> list[list[float]]:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return [[c, -s, 0, x_mm], [s, c, 0, y_mm], [0, 0, 1, 0], [0, 0, 0, 1]]


def _ask(**known: object):  # type: ignore[no-untyped-def]
    return ask(studs((50.0, 50.0)), holes((50.0, 50.0)), [("F1", "a")], **known)


def test_an_even_gap() -> None:
    row = Neighbour("O", "right", "wing", None, 2.0, 5.0)
    [gap] = edge_gaps([DONOR], [_box("wing", 403.0, 0.0, 100.0, 200.0)], [row], STILL, {})
    assert (gap.narrowest_mm, gap.overlap_mm2, gap.trim_mm) == (3.0, 0.0, None)
    assert gap.wanted_mm == (2.0, 5.0)


def test_a_gap_that_opens_along_the_edge() -> None:
    """The donor turned by 1 degree about (400, 0): the upper right corner goes 200 sin 1 = 3.49 to the left."""
    c, s = math.cos(math.radians(1.0)), math.sin(math.radians(1.0))
    move = [[c, -s, 0, 400 - 400 * c], [s, c, 0, -400 * s], [0, 0, 1, 0], [0, 0, 0, 1]]
    row = Neighbour("O", "right", "wing", None, 3.5, 5.0)
    [gap] = edge_gaps([DONOR], [_box("wing", 403.0, -50.0, 100.0, 300.0)], [row], move, {})
    assert gap.narrowest_mm == pytest.approx(3.0, abs=0.02)
    assert gap.narrowest_at_mm == pytest.approx((400.0, 0.0), abs=0.2)
    assert gap.trim_mm == pytest.approx(0.5)
    assert gap.widest_mm > 6.4
    assert "It is up to 0.5 mm too narrow, over 29 mm of edge" in gap.says and "too wide" in gap.says
    # Trimmed where the gap is under 3.5: the lowest 0.5 / tan 1 = 28.6 mm of the edge.
    assert max(y for _, y in gap.tight_at_mm) == pytest.approx(28.6, abs=1.5)


def test_an_overlap_is_a_negative_gap() -> None:
    row = Neighbour("O", "right", "wing", None, 2.0, 5.0)
    [gap] = edge_gaps([DONOR], [_box("wing", 396.0, 50.0, 100.0, 100.0)], [row], STILL, {})
    assert gap.narrowest_mm == pytest.approx(-4.0, abs=0.01)
    assert gap.overlap_mm2 == pytest.approx(400.0)
    assert gap.trim_mm == pytest.approx(6.0)
    assert "overlaps by up to 4.0 mm" in gap.says


def test_only_the_named_edge_and_the_near_side_count() -> None:
    row = Neighbour("O", "vent", "wing", None, None, None)
    vent = _box("D", 300.0, 50.0, 50.0, 50.0, "vent")
    [gap] = edge_gaps([DONOR, vent], [_box("wing", 355.0, 0.0, 10.0, 200.0)], [row], STILL, {})
    assert gap.narrowest_mm == 5.0
    assert not edge_gaps([DONOR], [_box("wing", 900.0, 0.0, 10.0, 200.0)], [row], STILL, {})
    assert not edge_gaps([DONOR], [], [row], STILL, {})


def test_an_edge_is_trimmed_only_where_it_may_be() -> None:
    row = Neighbour("O", "right", "wing", None, 2.0, 5.0)
    gaps = edge_gaps([DONOR], [_box("wing", 401.0, 0.0, 100.0, 200.0)], [row], STILL, {})
    [job], refusals = trim_jobs(_ask(), gaps, STILL)
    assert (job.do, job.feature, job.to_mm, refusals) == ("trim edge", "right", 1.0, ())
    assert not trim_jobs(_ask(duty="structural"), gaps, STILL)[0]
    assert not trim_jobs(_ask(donor=Part("D", material="glass", duty="trim")), gaps, STILL)[0]
    seam = Zone("D", "Z1", "tear seam", ((380.0, 199.0), (385.0, 199.0)))
    jobs, [refusal] = trim_jobs(_ask(donor_zones=(seam,)), gaps, STILL)
    assert not jobs and "tear seam Z1" in refusal.says and "licensed person" in refusal.says
    away = Zone("D", "Z1", "tear seam", ((300.0, 100.0), (320.0, 100.0)))
    assert trim_jobs(_ask(donor_zones=(away,)), gaps, STILL)[0]
