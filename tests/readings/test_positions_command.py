"""partkin positions: coordinates, ellipses, which reading contributes what, and what does not agree."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.problem import FaultyInput
from partkin.positions import adjust, budget, place_budget
from partkin.positions.network import without_rigid
from partkin.readings.surveyed import survey, survey_json, survey_text

SIDES = [("A", "B", 300.0), ("B", "C", 200.0), ("C", "D", 300.0), ("A", "D", 200.0)]
DIAGONALS = [("A", "C", math.hypot(300, 200)), ("B", "D", math.hypot(300, 200))]


def plate(distances: list[tuple[str, str, float]], placed: str = "", across: float = 0.5) -> Build:
    at = {"A": (0.0, 0.0), "B": (300.0, 0.0), "C": (300.0, 200.0), "D": (0.0, 200.0)}
    rows = [
        Feature("p", name, "hole", 7.0, x_mm=at[name][0] if name in placed else None,
                y_mm=at[name][1] if name in placed else None, plus_minus_mm=across)
        for name in "ABCD"
    ]  # fmt: skip
    read = [
        Reading("p", f"r{at}", "centres", value, "mm", a, b, plus_minus=0.5)
        for at, (a, b, value) in enumerate(distances, 1)
    ]
    return Build(parts=(Part("p", name="plate"),), features=tuple(rows), readings=tuple(read))


def told(build: Build) -> str:
    """The text in one line."""
    return " ".join(survey_text(survey(build, "p")).split())


def test_what_is_told_of_a_rectangle_with_both_diagonals() -> None:
    tree = json.loads(survey_json(survey(plate(SIDES + DIAGONALS), "p")))
    assert [row["redundancy"] for row in tree["readings"]] == pytest.approx(
        [0.1731, 0.0769, 0.1731, 0.0769, 0.25, 0.25], abs=1e-4  # L^2 / sum L^2 (derived)
    )  # fmt: skip
    assert (tree["degrees_of_freedom"], tree["handed"], tree["framed"], tree["agree"]) == (1, False, False, True)
    assert [(row["x_mm"], row["y_mm"]) for row in tree["features"]] == [(0, 0), (300, 0), (300, 200), (0, 200)]
    assert all(row["how"] == "adjusted" for row in tree["features"])
    for row in tree["features"]:
        assert sum(part["share"] for part in row["made_of"]) == pytest.approx(1.0, abs=1e-3)
    assert tree["missing"][0]["reading"]["quantity"] == "left of"


def test_a_look_names_the_face_that_the_sheet_names() -> None:
    build = plate(SIDES + DIAGONALS)
    assert "Looking at the face of p named in seen_from (where that is empty, write it" in told(build)
    seen = replace(build, parts=(Part("p", seen_from="inside"),))
    assert "Looking at p from the inside and going from" in told(seen) and "seen_from" not in told(seen)


def test_the_shares_of_a_place_are_those_of_its_coordinates_together() -> None:
    build = plate(SIDES + DIAGONALS, placed="AB")
    found = adjust("p", build.features, build.readings)
    at = found.features.index("C")
    parts: dict[str, float] = {}
    for axis in (0, 1):
        gradient = np.zeros((4, 2))
        gradient[at, axis] = 1.0
        one = budget(found, gradient.ravel() @ without_rigid(found.xyz_mm, np.ones(4, dtype=bool)))
        for share in one.shares:
            parts[share.name] = parts.get(share.name, 0.0) + share.contributes**2
    total = np.trace(found.covariance_mm2[2 * at : 2 * at + 2, 2 * at : 2 * at + 2])
    assert sum(parts.values()) == pytest.approx(total, rel=1e-6)
    shares = place_budget(found, "C")
    assert dict(shares) == pytest.approx({name: part / total for name, part in parts.items()}, abs=1e-9)
    assert shares[0][1] == max(share for _, share in shares)


def test_the_ellipse_is_the_covariances() -> None:
    build = plate(SIDES + DIAGONALS, placed="ABCD")
    tree = json.loads(survey_json(survey(build, "p")))
    found = adjust("p", build.features, build.readings)
    size = np.linalg.eigvalsh(found.covariance_mm2[4:6, 4:6])
    reach = np.sqrt(size * 5.991464547)  # 95 % point of chi-square with 2 degrees of freedom
    assert tree["features"][2]["ellipse"]["long_mm"] == pytest.approx(reach[1], abs=1e-3)
    assert tree["features"][2]["ellipse"]["short_mm"] == pytest.approx(reach[0], abs=1e-3)


def test_for_people() -> None:
    text = survey_text(survey(plate(SIDES + DIAGONALS), "p"))
    assert text.startswith("p (plate): 4 features placed; 6 distances adjusted; 1 of the readings")
    assert "left and right are open" in told(plate(SIDES + DIAGONALS))
    assert "A to C" in text and "25 %" in text
    assert all(len(line) <= 96 for line in text.splitlines())
    text.encode("ascii")


def test_stated_places_are_told_as_such() -> None:
    text = survey_text(survey(plate([], placed="ABCD"), "p"))
    assert text.count("stated, within 0.5 mm") == 4
    assert "stated, exact" in survey_text(survey(plate([], placed="ABCD", across=0.0), "p"))


def test_a_slip_is_told_with_how_far_it_is_off() -> None:
    slip = [*SIDES[:1], ("B", "C", 230.0), *SIDES[2:], *DIAGONALS]
    tree = json.loads(survey_json(survey(plate(slip, placed="ABCD"), "p")))
    assert [s["reading"] for s in tree["suspects"]] == ["r2"]
    assert tree["suspects"][0]["off_by_mm"] == pytest.approx(30.0, abs=0.5)
    assert not next(row for row in tree["readings"] if row["reading"] == "r2")["used"]
    assert "left out" in survey_text(survey(plate(slip, placed="ABCD"), "p"))


def test_two_layouts_are_told_with_what_tells_them_apart() -> None:
    build = plate([*SIDES, ("A", "C", math.hypot(300, 200))], placed="")
    tree = json.loads(survey_json(survey(build, "p")))
    assert len(tree["layouts"]) == 2
    assert "2 layouts agree with the readings" in told(build)
    assert "Measure B to D" in told(build)


def test_a_loose_point_is_named() -> None:
    text = survey_text(survey(plate([], placed="ABC"), "p"))
    assert "1 without a place" in text
    assert "Measure from D to" in text


def test_in_space() -> None:
    rows = tuple(
        Feature("p", name, "hole", 7.0, x_mm=x, y_mm=y, z_mm=z, plus_minus_mm=0.5)
        for name, x, y, z in (("A", 0, 0, 0), ("B", 300, 0, 10), ("C", 0, 200, 50))
    )
    read = (Reading("p", "r1", "centres", math.hypot(300, 10), "mm", "A", "B", plus_minus=0.2),)
    build = Build(parts=(Part("p"),), features=rows, readings=read)
    tree = json.loads(survey_json(survey(build, "p")))
    assert tree["dims"] == 3 and tree["features"][1]["z_mm"] == 10.0
    assert tree["features"][1]["ellipse"]["height_mm"] > 0
    assert "z" in survey_text(survey(build, "p"))


def test_refusals() -> None:
    with pytest.raises(FaultyInput, match="there is no part 'q'"):
        survey(plate([]), "q")
    bare = replace(plate([]), features=())
    with pytest.raises(FaultyInput, match="p has no features"):
        survey(bare, "p")


def test_nothing_placed_says_what_to_measure() -> None:
    text = survey_text(survey(plate([]), "p"))
    assert text.startswith("p (plate): 0 features placed; 4 without a place")


def test_the_command(partkin) -> None:
    shown = partkin("positions", "top-kurm")
    assert shown.exit_code == 0
    assert "t2      a to b" in shown.output
    again = partkin("positions", "top-kurm", "--json")
    assert again.output == partkin("positions", "top-kurm", "--json").output
    assert json.loads(again.output)["part"] == "top-kurm"
    assert partkin("positions", "top").exit_code == 2
