"""partkin same-shape: a listing's photograph without scale against the host's fixings."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from partkin.commands import same_shape
from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.problem import FaultyInput
from partkin.pipeline import load_build
from readings.pictures import picks, picture, view

HOLES = ("a", "b", "c", "d", "e", "f", "g", "h")


def places(folder: Path, part: str, names: tuple[str, ...] = ()) -> dict[str, tuple[float, float]]:
    found = [f for f in load_build(folder).features if f.part == part and f.need != "spare"]
    return {f.feature: (f.x_mm, f.y_mm) for f in found if not names or f.feature in names}


def shown(partkin, tmp_path: Path, at_px: dict, *words: str):
    return partkin("same-shape", words[0], picture(tmp_path), "--points", picks(tmp_path, at_px), *words[1:])


def test_the_same_shape_is_only_that(partkin, tmp_path: Path, folder: Path) -> None:
    done = shown(partkin, tmp_path, view(1, places(folder, "dash-frame"), 1.0), "dash-frame")
    assert done.exit_code == 0
    assert done.output.startswith("[?] THE SHAPE AGREES, SIZE UNKNOWN: the picture against the fixings of dash-frame")
    assert "read F1 to F2, centre to centre, on the part (1276.0 mm on the host)" in " ".join(done.output.split())
    assert "A picture never shows that a part fits" in done.output


def test_a_different_shape_is_named_with_what_shows_it(partkin, tmp_path: Path, folder: Path) -> None:
    other = places(folder, "dash-frame")
    other["F4"] = (other["F4"][0] + 45.0, other["F4"][1] - 30.0)
    done = shown(partkin, tmp_path, view(2, other, 1.0), "dash-frame", "--corrected")
    assert done.exit_code == 0
    told = " ".join(done.output.split())
    assert told.startswith("[x] DIFFERENT")
    assert "F4" in told.split("show it")[0]
    assert "Chance that picking error alone makes the same pattern look this different" in told


def test_four_points_agree_with_any_four(partkin, tmp_path: Path, folder: Path) -> None:
    few = places(folder, "dash-frame", ("F1", "F2", "F3", "F5"))
    done = shown(partkin, tmp_path, view(3, few), "dash-frame")
    assert "a picture of four points agrees with any four" in done.output.lower()


def test_names_of_the_donors_holes_that_say_what_they_go_on(partkin, tmp_path: Path, folder: Path) -> None:
    """glove-dask's holes go on G1 to G4, and a fifth is picked by the name of no fixing."""
    path = folder / "features.csv"
    rows = (
        "glovebox-frame,G5,captive nut,,,,1,M5x0.8,,,,,,,must,\nglove-velt,g5,hole,7,,,,M5x0.8,,190,120,,0.3,G5,must,\n"
    )
    path.write_text(path.read_text() + rows + "glove-dask,k5,hole,7,,,,,,,,,,G5,,\n")
    true = {f"k{at}": place for at, place in enumerate(places(folder, "glove-velt").values(), 1)}
    done = shown(partkin, tmp_path, view(4, true, 1.0), "glove-dask")
    told = " ".join(done.output.split())
    assert "THE SHAPE AGREES" in told and "Laid on so" not in told
    assert "partkin record glove-dask k" in told
    assert "of glovebox-frame" in told


def test_any_names_will_do_and_the_pairing_is_told(partkin, tmp_path: Path, folder: Path) -> None:
    true = dict(zip("stuvwxyz", places(folder, "dash-frame").values(), strict=True))
    done = shown(partkin, tmp_path, view(5, true, 1.0), "dash-frame", "--corrected")
    told = " ".join(done.output.split())
    assert "Laid on so: s on F1, t on F2" in told
    assert "ask for" in told


def test_a_name_that_is_none_is_said(partkin, tmp_path: Path, folder: Path) -> None:
    true = {("Fx" if name == "F1" else name): at for name, at in places(folder, "dash-frame").items()}
    done = shown(partkin, tmp_path, view(6, true, 1.0), "dash-frame", "--corrected")
    assert "Fx is no fixing of the host, so which pick shows which fixing was sought." in " ".join(done.output.split())


def test_the_mirror_image_is_another_part(partkin, tmp_path: Path, folder: Path) -> None:
    mirrored = {name: (-x, y) for name, (x, y) in places(folder, "side-velt-left").items()}
    told = shown(partkin, tmp_path, view(7, mirrored, 0.5), "console-body", "--corrected", "--face", "outside").output
    assert told.startswith("[x] DIFFERENT") and "mirror image" in told
    told = shown(partkin, tmp_path, view(7, mirrored, 0.5), "console-body", "--corrected").output
    assert "THE SHAPE AGREES" in told, "which face is shown is not said, so both are allowed"


def test_what_still_goes_on_is_never_called_different(partkin, tmp_path: Path, folder: Path) -> None:
    """Each hole off by less than the play that is taken for granted."""
    rng = np.random.default_rng(0)
    other = {
        name: (x + rng.uniform(-1.4, 1.4), y + rng.uniform(-1.4, 1.4))
        for name, (x, y) in places(folder, "dash-frame").items()
    }
    for seed in range(6):
        told = shown(partkin, tmp_path, view(seed, other, 1.0), "dash-frame", "--corrected").output
        assert "THE SHAPE AGREES" in told


# A host that nobody knows to the millimetre

SEVEN = np.array([(0, 0), (612.0, 40.0), (590.0, 310.0), (25.0, 290.0), (300.0, 12.0), (310.0, 200.0), (150.0, 150.0)])
EVERY = list(combinations(range(7), 2))
# F6 hangs on two others, so that it has two places.
TWO_PLACES = [pair for pair in EVERY if 6 not in pair or pair in ((0, 6), (3, 6))]


def looks(
    tmp_path: Path, at: np.ndarray, read: list[tuple[int, int]], rough_mm: float | None = None, face: str | None = None,
    seed: int = 3, slip_mm: float = 0.0,
) -> str:  # fmt: skip
    """What is said of a picture of holes at these places, of a host known by distances and, roughly, by places."""
    rough = SEVEN + np.random.default_rng(seed).uniform(-1.0, 1.0, SEVEN.shape) * (rough_mm or 0.0)
    stated = [{} if rough_mm is None else {"x_mm": x, "y_mm": y, "plus_minus_mm": rough_mm} for x, y in rough.tolist()]
    features = tuple(Feature("host", f"F{n}", "stud", across_mm=6.0, **cells) for n, cells in enumerate(stated))
    readings = [
        Reading("host", f"r{a}{b}", "centres", round(float(np.linalg.norm(SEVEN[a] - SEVEN[b])), 1), "mm", f"F{a}",
                f"F{b}", plus_minus=0.5)
        for a, b in read
    ]  # fmt: skip
    if slip_mm:
        readings[-1] = replace(readings[-1], value=readings[-1].value + slip_mm)
    parts = (Part("host", origin="host", seen_from="outside"),)
    build = Build(parts=parts, features=features, readings=tuple(readings))
    points = Path(picks(tmp_path, view(seed, {f"F{n}": tuple(place) for n, place in enumerate(at)}, 1.0)))
    asked = same_shape.ShapeQuestion("host", Path(picture(tmp_path)), points, face=face, corrected=True)
    return same_shape.compare(build, asked).answer.answer


@pytest.mark.parametrize("seed", range(4))
def test_rough_places_beside_good_distances_neither_hide_nor_make_a_difference(tmp_path: Path, seed: int) -> None:
    other = SEVEN.copy()
    other[5] += 20.0, -10.0
    for rough_mm in (0.5, 25.0):
        assert looks(tmp_path, SEVEN, EVERY, rough_mm, seed=seed) == "agrees"
        assert looks(tmp_path, other, EVERY, rough_mm, seed=seed) == "different"
        assert looks(tmp_path, SEVEN, [], rough_mm, seed=seed) == "agrees"


def test_a_picture_is_held_against_every_layout_of_the_host(tmp_path: Path) -> None:
    """F6 on the other side of the line from F0 to F3 agrees too, until all is read; F5 elsewhere never does."""
    along = (SEVEN[3] - SEVEN[0]) / np.linalg.norm(SEVEN[3] - SEVEN[0])
    flipped, other = SEVEN.copy(), SEVEN.copy()
    flipped[6] = 2.0 * along * (SEVEN[6] @ along) - SEVEN[6]
    other[5] += 20.0, -10.0
    assert looks(tmp_path, SEVEN, TWO_PLACES) == looks(tmp_path, flipped, TWO_PLACES) == "agrees"
    assert looks(tmp_path, other, TWO_PLACES) == "different"
    assert looks(tmp_path, flipped, EVERY) == "different"


def test_distances_alone_tell_no_face(tmp_path: Path) -> None:
    mirrored = SEVEN * [-1.0, 1.0]
    assert looks(tmp_path, mirrored, EVERY, face="outside") == "agrees"
    assert looks(tmp_path, mirrored, EVERY, rough_mm=25.0, face="outside") == "different"


def test_nothing_is_different_from_a_host_whose_readings_contradict_each_other(tmp_path: Path) -> None:
    other = SEVEN.copy()
    other[5] += 120.0, -60.0
    few = [(0, 1), (0, 2), (1, 2), (0, 3), (1, 3), (0, 4), (1, 4), (0, 5), (1, 5), (0, 6), (1, 6), (2, 6)]
    assert looks(tmp_path, other, few, rough_mm=25.0) == "different"
    assert looks(tmp_path, other, few, rough_mm=25.0, slip_mm=12.0) == "not tried"


def test_as_json(partkin, tmp_path: Path, folder: Path) -> None:
    done = shown(partkin, tmp_path, view(1, places(folder, "dash-frame"), 1.0), "top-dask", "--json")
    tree = json.loads(done.output)
    assert (tree["answer"], tree["host"], tree["donor"], tree["read"]) == (
        "agrees",
        "dash-frame",
        "top-dask",
        ["F1", "F2"],
    )
    assert tree["host_mm"] == pytest.approx(1276.0, abs=0.01)


def test_the_command_for_the_reading_is_given_only_in_the_donors_own_names(
    partkin, tmp_path: Path, folder: Path
) -> None:
    by_fixing = shown(partkin, tmp_path, view(1, places(folder, "dash-frame"), 1.0), "top-dask").output
    assert "partkin record" not in by_fixing
    assert "under the names" in by_fixing


def test_the_command_for_the_reading_names_what_goes_on_the_fixings(partkin, tmp_path: Path, folder: Path) -> None:
    path = folder / "features.csv"
    rows = path.read_text().replace(
        "\ntop-dask,a,hole,9,,,,,,0.0,0.0,,0.5,,,", "\ntop-dask,a,hole,9,,,,,,0.0,0.0,,0.5,F1,,"
    )
    rows = rows.replace(
        "\ntop-dask,b,slot,9,14,0.5,,,,1276.0,9.1,,0.5,,,", "\ntop-dask,b,slot,9,14,0.5,,,,1276.0,9.1,,0.5,F2,,"
    )
    path.write_text(rows)
    told = shown(partkin, tmp_path, view(1, places(folder, "dash-frame"), 1.0), "top-dask").output
    assert "partkin record top-dask a b VALUE --instrument seller" in told


def test_refusals(partkin, tmp_path: Path, folder: Path) -> None:
    view_px = view(1, places(folder, "dash-frame"))
    assert shown(partkin, tmp_path, view_px, "nothing").exit_code == 2
    assert shown(partkin, tmp_path, view_px, "dash-frame", "--play", "-1").exit_code == 2
    assert shown(partkin, tmp_path, view_px, "dash-frame", "--error-px", "0").exit_code == 2
    assert shown(partkin, tmp_path, view_px, "bag-seat").exit_code == 2


def test_everything_that_is_wrong_is_told_at_once(partkin, tmp_path: Path) -> None:
    points = tmp_path / "picks.csv"
    points.write_text("feature,px,py\nk1,left,4\n")
    rest = ("--play", "-1", "--error-px", "0", "--camera", "1")
    done = partkin("same-shape", "nothing", tmp_path / "no.jpg", "--points", points, *rest)
    assert done.exit_code == 2
    columns = [line.split(":")[2] for line in done.stderr.splitlines()]
    assert columns == ["image", "px", "part", "error_px", "play", "camera"]


def space(z: float) -> Build:
    places = ((0.0, 0.0, 0.0), (300.0, 0.0, 0.0), (310.0, 200.0, 0.0), (0.0, 180.0, 0.0), (150.0, 90.0, z))
    rows = tuple(
        Feature("h", f"F{at}", "stud", 6.0, x_mm=x, y_mm=y, z_mm=z, need="must") for at, (x, y, z) in enumerate(places)
    )
    return Build(parts=(Part("h", origin="host", seen_from="outside"),), features=rows)


def test_only_one_flat_face_can_be_held_against_a_picture(tmp_path: Path) -> None:
    points = {f"F{at}": (x, y) for at, (x, y) in enumerate([(0, 0), (300, 0), (310, 200), (0, 180), (150, 90)])}
    image, file = picture(tmp_path), picks(tmp_path, view(1, points))
    flat = same_shape.compare(space(0.3), same_shape.ShapeQuestion("h", image, file))
    assert flat.answer.answer == "agrees" and "in one plane" in flat.notes[0]
    with pytest.raises(FaultyInput, match="do not lie in one plane"):
        same_shape.compare(space(30.0), same_shape.ShapeQuestion("h", image, file))


def test_the_one_reading_then_feeds_the_chance(partkin, folder: Path) -> None:
    """The distance that is asked for goes into the sheet as any other and, with a look, gives a chance."""

    def chance() -> float | None:
        return json.loads(partkin("measure-next", "glove-dask", "--json").output)["chance"]

    assert chance() is None
    partkin("record", "glove-dask", "k1", "k4", "208.1", "--instrument", "seller")
    assert chance() is None, "k4 may be in two places"
    partkin("record", "glove-dask", "k4", "--right-of", "k2", "k1")
    assert chance() > 0.5
