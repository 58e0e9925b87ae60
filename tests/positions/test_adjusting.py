"""One part's sheets -> positions: stated, adjusted, missing, left or right, in one line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.build import Feature, Reading
from partkin.model.positions import Positions
from partkin.positions import adjust, draws, ellipse
from partkin.positions.adjusting import _in_own_frame
from partkin.positions.budget import length_row
from partkin.positions.network import Network, solve, without_rigid
from partkin.tables.instruments import coordinate_error_mm
from positions.parts import all_pairs, apart, features, readings

QUAD = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [10.0, 190.0]])
DIAGONALS = all_pairs(4)


def asked(found, quantity: str) -> list[tuple[str | None, str | None]]:
    return [(ask.from_feature, ask.to_feature) for ask in found.missing if ask.quantity == quantity]


def test_stated_coordinates_pass_through_untouched() -> None:
    rows = features(QUAD, range(4), plus_minus_mm=None)
    rows[1] = replace(rows[1], plus_minus_mm=0.0)
    found = adjust("p", rows, [])
    assert found.features == ("f0", "f1", "f2", "f3")
    assert np.array_equal(found.xyz_mm, QUAD)
    assert found.half_width_mm.tolist() == [coordinate_error_mm(), 0.0, coordinate_error_mm(), coordinate_error_mm()]
    assert found.covariance_mm2 is None
    assert (found.missing, found.suspects, found.handed, found.framed) == ((), (), True, True)


def test_z_makes_it_space() -> None:
    rows = features(np.column_stack([QUAD, [0.0, 5.0, 0.0, 9.0]]), range(4))
    assert adjust("p", rows, []).dims == 3


def test_other_parts_and_quantities_change_nothing() -> None:
    rows = features(QUAD, range(4))
    others = [
        Feature("q", "f9", "hole", x_mm=1.0, y_mm=2.0),
        Reading("q", "r1", "centres", 50.0, "mm", "f0", "f1"),
        Reading("p", "r2", "thickness", 2.0, "mm"),
        Reading("p", "r3", "across", 8.2, "mm", "f0"),
    ]
    found = adjust("p", [*rows, others[0]], others[1:])
    assert found.covariance_mm2 is None
    assert found.features == ("f0", "f1", "f2", "f3")


def test_distances_alone_give_the_shape_and_ask_for_left_or_right() -> None:
    found = adjust("p", features(QUAD), readings(QUAD, DIAGONALS))
    assert apart(found.xyz_mm) == pytest.approx(apart(QUAD), abs=1e-6)
    assert found.xyz_mm[0].tolist() == [0.0, 0.0]
    assert found.xyz_mm[1, 1] == pytest.approx(0.0, abs=1e-9)
    assert (found.handed, found.framed, len(found.layouts)) == (False, False, 1)
    assert len(asked(found, "left of")) == 1
    assert "left or on the right" in found.missing[0].says


def test_three_rough_coordinates_answer_left_or_right() -> None:
    """Within 20 mm by eye: they fix the hand, and the distances keep their say over the shape."""
    mirrored = QUAD * [-1.0, 1.0]
    rows = features(mirrored, (0, 1, 3), plus_minus_mm=20.0)
    found = adjust("p", rows, readings(QUAD, DIAGONALS))
    assert found.handed
    assert found.framed
    assert not found.missing
    turn = np.linalg.det(np.stack([found.xyz_mm[1] - found.xyz_mm[0], found.xyz_mm[3] - found.xyz_mm[0]]))
    assert turn < 0.0
    assert apart(found.xyz_mm) == pytest.approx(apart(QUAD), abs=1e-3)


def test_two_coordinates_leave_the_mirror_image_open() -> None:
    found = adjust("p", features(QUAD, (0, 1)), readings(QUAD, DIAGONALS[1:]))
    assert found.framed
    assert not found.handed
    assert len(found.layouts) == 1


def test_a_feature_on_two_distances_has_two_places() -> None:
    found = adjust("p", features(QUAD, (0, 1, 2)), readings(QUAD, [(0, 3), (1, 3)]))
    assert found.handed
    assert len(found.layouts) == 2
    assert asked(found, "left of") == [("f3", "f0 f1")]
    assert "Or measure f2 to f3, centre to centre: it is 311 mm or 506 mm." in found.missing[0].says
    other = next(layout for layout in found.layouts if layout[3, 1] < 0.0)
    assert other[3] == pytest.approx(QUAD[3] * [1.0, -1.0], abs=0.5)


def test_coordinates_and_distances_are_adjusted_together() -> None:
    """A caliper distance between two coarse coordinates: the error of the length goes, that of the place stays."""
    rows = features(QUAD, range(4), plus_minus_mm=1.0)
    found = adjust("p", rows, [Reading("p", "r", "centres", 300.8, "mm", "f0", "f1", plus_minus=0.05)])
    assert np.linalg.norm(found.xyz_mm[0] - found.xyz_mm[1]) == pytest.approx(300.8, abs=0.01)
    assert found.xyz_mm[[0, 1]].mean(axis=0) == pytest.approx(QUAD[[0, 1]].mean(axis=0), abs=1e-3)
    assert np.array_equal(found.xyz_mm[2:].round(9), QUAD[2:])
    assert found.adjusted == ("f0", "f1")
    assert found.half_width_mm[2] == pytest.approx(1.0)
    row = np.zeros(8)
    row[:4] = [-1.0, 0.0, 1.0, 0.0]
    assert np.sqrt(row @ found.covariance_mm2 @ row) == pytest.approx(0.05 / np.sqrt(3.0), rel=0.01)


def test_exact_coordinates_stay() -> None:
    rows = features(QUAD, (0, 1, 2), plus_minus_mm=0.0)
    rng = np.random.default_rng(1)
    found = adjust("p", [*rows[:3], features(QUAD)[3]], readings(QUAD, [(0, 3), (1, 3), (2, 3)], rng=rng))
    assert np.array_equal(found.xyz_mm[:3], QUAD[:3])
    assert not found.covariance_mm2[:6].any()
    assert found.xyz_mm[3] == pytest.approx(QUAD[3], abs=1.5)


def test_loose_features_are_missing_with_the_reading_that_ties_them_down() -> None:
    found = adjust("p", features(QUAD, (0, 1, 2)), readings(QUAD, [(0, 3)]))
    assert found.features == ("f0", "f1", "f2")
    assert asked(found, "centres") == [("f3", "f2")]
    assert found.missing[0].says.startswith("Measure from f3 to f2 of p, centre to centre, and to f1 if")
    bare = adjust("p", features(QUAD, (0, 1, 2)), [])
    assert bare.missing[0].says.startswith("Measure from f3 to f0 and f2 of p, centre to centre, and to f1")
    in_space = adjust("p", features(np.column_stack([QUAD, [0.0, 20.0, 60.0, 0.0]]), (0, 1, 2)), [])
    assert in_space.missing[0].says.startswith("Measure from f3 to f0, f2 and f1 of p, centre to centre")


def test_nothing_known_at_all() -> None:
    found = adjust("p", features(QUAD), [])
    assert found.features == ()
    assert found.xyz_mm.shape == (0, 2)
    assert len(asked(found, "centres")) == 4


def test_no_features() -> None:
    found = adjust("p", [], [])
    assert (found.features, found.missing) == ((), ())


def test_an_edge_reading_without_the_size_asks_for_the_size() -> None:
    rows = [replace(row, across_mm=None) for row in features(QUAD, range(4))]
    found = adjust("p", rows, [Reading("p", "r1", "near edges", 290.0, "mm", "f0", "f1")])
    assert asked(found, "across") == [("f0", None)]
    assert "was not used" in found.notes[0]
    assert np.array_equal(found.xyz_mm, QUAD)


def test_a_corrected_reading_does_not_count() -> None:
    rows = readings(QUAD, DIAGONALS)
    wrong = replace(rows[0], value=rows[0].value + 37.0, reading="w")
    right = replace(rows[0], corrects="w")
    found = adjust("p", features(QUAD), [wrong, *rows[1:], right])
    plain = adjust("p", features(QUAD), [*rows[1:], right])
    assert np.array_equal(found.xyz_mm, plain.xyz_mm)
    assert not found.suspects


def test_units_do_not_matter() -> None:
    rows = readings(QUAD, DIAGONALS)
    inches = [replace(row, value=row.value / 25.4, unit="in", plus_minus=0.5 / 25.4) for row in rows]
    assert adjust("p", features(QUAD), inches).xyz_mm == pytest.approx(adjust("p", features(QUAD), rows).xyz_mm)


def test_order_of_rows_does_not_matter_to_the_shape() -> None:
    rng = np.random.default_rng(8)
    rows = readings(QUAD, DIAGONALS, rng=rng)
    there, back = (adjust("p", features(QUAD), list(order)) for order in (rows, rows[::-1]))
    assert there.xyz_mm == pytest.approx(back.xyz_mm, abs=1e-6)


def test_same_input_same_bytes() -> None:
    rows = readings(QUAD, DIAGONALS, rng=np.random.default_rng(8))
    first, second = (adjust("p", features(QUAD), rows) for _ in range(2))
    assert first.xyz_mm.tobytes() == second.xyz_mm.tobytes()
    assert first.covariance_mm2.tobytes() == second.covariance_mm2.tobytes()
    assert first.missing == second.missing


ROW = np.array([[0.0, 0.0], [150.0, 0.0], [310.0, 0.0], [470.0, 0.0]])


@pytest.mark.parametrize("seed", range(12))
def test_a_row_of_clips_measured_along_itself(seed: int) -> None:
    """Distances along a line say little of how far a clip stands beside it; the draws still keep the distances."""
    found = adjust("p", features(ROW), readings(ROW, all_pairs(4), rng=np.random.default_rng(seed)))
    assert found.bent
    beside = np.sqrt(np.diagonal(found.covariance_mm2)[1::2])
    assert (np.abs(found.xyz_mm[:, 1]) < 3.0 * beside + 1e-6).all()
    assert (beside > 1.0).all()
    assert any("one line" in note for note in found.notes)
    drawn = draws(found, 512, seed=3)
    for a, b in all_pairs(4):
        length = np.linalg.norm(drawn[:, a] - drawn[:, b], axis=1)
        assert length.mean() == pytest.approx(apart(ROW)[a, b], abs=1.2)
        assert length.std() < 0.8


@pytest.mark.slow
def test_how_far_beside_a_line_is_covered() -> None:
    """Rows of clips that stand up to 8 mm beside their line, 300 times: true shapes within what is stated."""
    inside = total = 0
    for seed in range(300):
        rng = np.random.default_rng([5, seed])
        points = ROW + np.column_stack([np.zeros(4), rng.uniform(-8.0, 8.0, 4)])
        found = adjust("p", features(points), readings(points, all_pairs(4), rng=rng))
        drawn = draws(found, 256, seed=1)
        for a, b in all_pairs(4):
            length = np.linalg.norm(drawn[:, a] - drawn[:, b], axis=1)
            total += 1
            inside += abs(length.mean() - apart(points)[a, b]) < 2.0 * max(length.std(), 0.1)
    assert inside / total > 0.93


def any_sheet(seed: int) -> tuple[list[Feature], list[Reading]]:
    """Sheets as carelessly filled as can be: lines, coincident holes, gaps, slips, exact values."""
    rng = np.random.default_rng([9, seed])
    k, d, kind = int(rng.integers(1, 9)), 3 if rng.random() < 0.25 else 2, int(rng.integers(4))
    points = rng.uniform(0.0, 500.0, (k, d))
    if kind == 1:
        points[:, 1:] = 0.0
    if kind == 2:
        points = np.round(points / 100.0) * 100.0
    if kind == 3:
        points[:, 1] *= 0.01
    limits = (None, 0.0, 0.5, 20.0)
    rows = [
        replace(
            features(points, [at for at in range(k) if rng.random() < 0.5])[at],
            kind=("hole", "slot", "stud")[rng.integers(3)],
            across_mm=None if rng.random() < 0.2 else 8.0,
            length_mm=20.0 if rng.random() < 0.3 else None,
            angle_deg=None if rng.random() < 0.5 else float(rng.uniform(0.0, 180.0)),
            plus_minus_mm=limits[rng.integers(4)],
        )
        for at in range(k)
    ]
    taken = []
    for n in range(int(rng.integers(0, 3 * k + 1))):
        a, b = rng.integers(0, k, 2)
        slip = rng.normal(0.0, 40.0) if rng.random() < 0.2 else rng.normal(0.0, 0.4)
        length = abs(float(np.linalg.norm(points[a] - points[b]) + slip))
        quantity = ("centres", "centres", "near edges", "far edges", "across")[rng.integers(5)]
        taken.append(
            Reading(
                "p",
                f"r{n}",
                quantity,
                length,
                "mm",
                f"f{a}",
                f"f{b}",
                plus_minus=limits[rng.integers(3)],
                instrument="tape",
            )
        )
    return rows, taken


def holds_together(seed: int) -> None:
    rows, taken = any_sheet(seed)
    found = adjust("p", rows, taken)
    asked_of = {ask.from_feature for ask in found.missing}
    assert all(row.feature in found.features or row.feature in asked_of for row in rows)
    assert np.isfinite(found.xyz_mm).all()
    if found.covariance_mm2 is not None:
        assert found.covariance_mm2 == pytest.approx(found.covariance_mm2.T, rel=1e-6, abs=1e-6)
        size = np.linalg.eigvalsh(found.covariance_mm2)
        assert size[0] > -1e-6 * max(1.0, size[-1])
    assert np.isfinite(draws(found, 20, 1)).all()


@pytest.mark.parametrize("seed", range(60))
def test_any_sheet_gives_an_answer(seed: int) -> None:
    holds_together(seed)


@pytest.mark.slow
def test_two_thousand_sheets_give_an_answer() -> None:
    for seed in range(60, 2060):
        holds_together(seed)


def test_whole_numbers_as_coordinates_are_numbers() -> None:
    rows = [Feature("p", name, "hole", x_mm=x, y_mm=y) for name, x, y in (("a", 0, 0), ("b", 300, 0), ("c", 0, 200))]
    read = [Reading("p", "r1", "centres", 390.0, "mm", "a", "b", plus_minus=0.2)]
    assert adjust("p", rows, read).suspects


def test_rough_places_add_nothing_to_how_uncertain_the_shape_is() -> None:
    """Places by eye to 25 mm tell left from right; the shape is as sure as the distances make it, whatever they say."""
    rng = np.random.default_rng(5)
    pairs = all_pairs(5)
    five = np.vstack([QUAD, [[150.0, 5.0]]])
    rows = readings(five, pairs, rng=rng)
    bare = adjust("p", features(five), rows)
    for seed in range(20):
        off = np.random.default_rng(seed).uniform(-25.0, 25.0, five.shape)
        rough = features(five + off, range(5), plus_minus_mm=25.0)
        found = adjust("p", rough, rows)
        assert (found.chi_square, found.degrees_of_freedom) == (pytest.approx(bare.chi_square, abs=0.05), 3)
        assert found.agree == bare.agree
        for a, b in pairs:
            row = length_row(found, a, b)
            spread = float(row @ found.covariance_mm2 @ row)
            own = length_row(bare, a, b)
            assert spread <= float(own @ bare.covariance_mm2 @ own) * 1.001
        for name in found.features:
            assert ellipse(found, name).long_mm <= ellipse_about_the_middle(bare, name) * 1.01


def ellipse_about_the_middle(found: Positions, name: str) -> float:
    """Half the long axis of where a feature is against the part as a whole, with probability 0.95."""
    middle = without_rigid(found.xyz_mm, np.ones(len(found.features), dtype=bool))
    return ellipse(replace(found, covariance_mm2=middle @ found.covariance_mm2 @ middle.T), name).long_mm


def test_rough_places_of_what_no_distance_reaches_leave_the_rest_alone() -> None:
    five = np.vstack([QUAD, [[150.0, 5.0]]])
    rows = readings(QUAD, all_pairs(4))
    found = adjust("p", features(five, range(5), plus_minus_mm=25.0), rows)
    assert found.adjusted == found.features
    spread = np.sqrt(np.diagonal(found.covariance_mm2))
    assert spread[:8].max() < 0.5
    assert spread[8:].min() > 14.0


@pytest.mark.parametrize("d", [2, 3])
def test_points_on_a_slanting_line_are_laid_along_x(d: int) -> None:
    """Nothing lies off the line to lay along the other axes: these stand at right angles to it all the same."""
    along = np.array([2.0, 3.0, -6.0])[:d]
    points = np.outer([1.0, 40.0, 90.0], along / np.linalg.norm(along))
    edges, unseen = np.array(all_pairs(3)), np.full((3, d), np.nan)
    found = solve(Network(edges, np.array([39.0, 89.0, 50.0]), np.full(3, 0.2), unseen, unseen), points)
    laid_mm, covariance_mm2 = _in_own_frame(found)
    assert laid_mm == pytest.approx(np.outer([0.0, 39.0, 89.0], np.eye(d)[0]), abs=1e-6)
    assert np.trace(covariance_mm2) == pytest.approx(np.trace(found.covariance_mm2))
    assert np.linalg.eigvalsh(covariance_mm2) == pytest.approx(np.linalg.eigvalsh(found.covariance_mm2), abs=1e-9)
