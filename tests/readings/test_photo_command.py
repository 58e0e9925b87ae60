"""partkin photo: picked points to readings, or why not."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from partkin.model.build import Build, Feature, Part
from partkin.photo.photo import Camera, distorted
from partkin.photo.pictures import ImageSize
from partkin.pipeline import load_build
from partkin.positions import adjust
from partkin.readings.photographed import PhotoQuestion, chosen_pairs, readings_of, seen_in
from partkin.readings.picks import Picks
from readings.pictures import picks, picture, view

PAPER = {"p1": (30.0, 20.0), "p2": (327.0, 20.0), "p3": (327.0, 230.0), "p4": (30.0, 230.0)}
HOLES = {"k1": (0.0, 0.0), "k2": (386.0, 4.0), "k3": (379.0, 211.0), "k4": (6.0, 208.0)}
FOUR = {"f0": (0.0, 0.0), "f1": (350.0, 10.0), "f2": (340.0, 220.0), "f3": (20.0, 200.0), "f4": (180.0, 90.0)}
RECTANGLE = "297,210,p1,p2,p3,p4"


def part(at_mm: dict, stated: str = "") -> Build:
    rows = tuple(
        Feature("q", name, "hole", 7.0, x_mm=at[0] if name in stated else None, y_mm=at[1] if name in stated else None,
                plus_minus_mm=0.2 if name in stated else None)
        for name, at in at_mm.items()
    )  # fmt: skip
    return Build(parts=(Part("q", origin="donor"),), features=rows)


def asked(**rest: object) -> PhotoQuestion:
    return PhotoQuestion("q", Path("x.jpg"), Path("x.csv"), **{"corrected": True, **rest})  # type: ignore[arg-type]


def picked(at_px: dict) -> Picks:
    return Picks(at_px, ImageSize(4000, 3000, "JPEG"), "x.jpg")


# What a picture tells


@pytest.mark.parametrize("seed", range(4))
def test_a_sheet_of_paper_gives_exact_distances(seed: int) -> None:
    found = seen_in(part(FOUR), asked(rectangle=RECTANGLE), picked(view(seed, {**FOUR, **PAPER})))
    rows = readings_of("q", found, "x.jpg")
    for row in rows:
        a, b = (np.array(FOUR[end]) for end in (row.from_feature, row.to_feature))
        assert row.value == pytest.approx(np.linalg.norm(a - b), abs=0.06)
        assert row.instrument == "photo" and row.plus_minus > 0
    # Three anchors among themselves, and the others to each of them.
    assert len(rows) == 3 + 3 * 2


@pytest.mark.parametrize("order", ["p1,p2,p3,p4", "p2,p1,p4,p3", "p3,p4,p1,p2"])
def test_the_corners_may_run_either_way_round(order: str) -> None:
    found = seen_in(part(FOUR), asked(rectangle=f"297,210,{order}"), picked(view(1, {**FOUR, **PAPER})))
    places = dict(zip(found.names, found.at_mm, strict=True))
    own = np.array([places[name] for name in FOUR])
    true = np.array(list(FOUR.values()))
    apart = np.linalg.norm(own[:, None] - own[None], axis=2)
    assert apart == pytest.approx(np.linalg.norm(true[:, None] - true[None], axis=2), abs=1e-6)
    turn = [np.sign(np.linalg.det(points[[1, 2]] - points[0])) for points in (own, true)]
    assert turn[0] == turn[1], "the face is not turned over"


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("sides", "says"),
    [("297,210", None), ("210,297", "are the two swapped?"), ("297,100", "are both right?")],
    ids=["right", "swapped", "wrong"],
)
def test_sides_that_the_picture_does_not_show_are_asked_about(sides: str, says: str | None, seed: int) -> None:
    rectangle = RECTANGLE.replace("297,210", sides)
    found = seen_in(part(FOUR), asked(rectangle=rectangle), picked(view(seed, {**FOUR, **PAPER}, tilt_deg=55.0)))
    assert [says in doubt for doubt in found.doubts] == ([True] if says else [])


@pytest.mark.parametrize(("factor", "doubted"), [(1.0, False), (1.25, True)])
def test_a_size_that_the_sheets_contradict_is_asked_about(factor: float, doubted: bool) -> None:
    rectangle = RECTANGLE.replace("297,210", f"{297 * factor:g},{210 * factor:g}")
    found = seen_in(part(FOUR, "f0f1f2f3"), asked(rectangle=rectangle), picked(view(1, {**FOUR, **PAPER})))
    assert [doubt.startswith("f0 to f2 is 405.0 mm by the sheets and 506.2 mm") for doubt in found.doubts] == (
        [True] if doubted else []
    )


def test_known_features_place_the_others_in_the_parts_frame() -> None:
    found = seen_in(part(FOUR, "f0f1f2f3"), asked(known="f0,f1,f2,f3"), picked(view(2, FOUR)))
    assert dict(zip(found.names, found.at_mm, strict=True))["f4"] == pytest.approx(FOUR["f4"], abs=0.01)
    rows = readings_of("q", found, "x.jpg")
    assert {row.to_feature for row in rows} == {"f4"} and len(rows) == 3


def test_a_scale_needs_the_picture_square_on_and_says_so() -> None:
    flat = {name: (100.0 + 4.0 * x, 2000.0 - 4.0 * y) for name, (x, y) in FOUR.items()}
    found = seen_in(part(FOUR), asked(scale="f0,f1,350.14"), picked({k: np.array(v) for k, v in flat.items()}))
    assert "square on" in found.notes[0]
    for row in readings_of("q", found, "x.jpg"):
        a, b = (np.array(FOUR[end]) for end in (row.from_feature, row.to_feature))
        length = np.linalg.norm(a - b)
        assert row.value == pytest.approx(length, abs=0.06)
        assert row.plus_minus >= 4.0 + 5.0 * length / 1000.0  # the photo's row of the instrument table


def test_a_calibration_takes_the_lens_out() -> None:
    camera = Camera(3000.0, 3000.0, 2000.0, 1500.0, 0.12, -0.25, 0.0008, -0.0005, 0.05)
    shown = view(3, {**FOUR, **PAPER})
    bent = dict(zip(shown, distorted(camera, np.array(list(shown.values()))), strict=True))
    text = "3000,3000,2000,1500,0.12,-0.25,0.0008,-0.0005,0.05"
    found = seen_in(part(FOUR), asked(rectangle=RECTANGLE, camera=text, corrected=False), picked(bent))
    worst = max(abs(np.linalg.norm(p - q) - np.linalg.norm(np.subtract(FOUR[a], FOUR[b])))
                for a, p in zip(found.names, found.at_mm, strict=True)
                for b, q in zip(found.names, found.at_mm, strict=True))  # fmt: skip
    assert worst < 0.01
    assert found.notes == ()


def test_without_a_calibration_readings_are_wider_and_it_is_said() -> None:
    shown = picked(view(4, {**FOUR, **PAPER}))
    plain = seen_in(part(FOUR), asked(rectangle=RECTANGLE, corrected=False), shown)
    freed = seen_in(part(FOUR), asked(rectangle=RECTANGLE), shown)
    assert "No calibration of the lens" in plain.notes[0]
    wider = [
        a.plus_minus / b.plus_minus
        for a, b in zip(readings_of("q", plain, ""), readings_of("q", freed, ""), strict=True)
    ]
    assert min(wider) > 1.3


def test_every_point_is_tied_and_little_is_counted_twice() -> None:
    found = seen_in(part(FOUR), asked(rectangle=RECTANGLE), picked(view(5, {**FOUR, **PAPER})))
    pairs = chosen_pairs(found)
    assert {end for pair in pairs for end in pair} == set(range(5))
    assert len(set(pairs)) == len(pairs) == 9


def test_stated_uncertainty_is_what_picking_again_gives() -> None:
    """Over 150 pictures, positions adjusted from the readings are off as their covariance says."""
    off = []
    for seed in range(150):
        shown = picked(view(seed, {**FOUR, **PAPER}, picked_px=1.5))
        rows = readings_of("q", seen_in(part(FOUR), asked(rectangle=RECTANGLE), shown), "x.jpg")
        rows = [row.__class__(**{**row.__dict__, "reading": f"r{at}"}) for at, row in enumerate(rows)]
        found = adjust("q", part(FOUR).features, rows)
        for a, b in ((0, 1), (2, 4), (1, 3)):
            names = [found.features.index(f"f{end}") for end in (a, b)]
            row = np.zeros(10)
            apart = found.xyz_mm[names[0]] - found.xyz_mm[names[1]]
            length = np.linalg.norm(apart)
            row[2 * names[0] : 2 * names[0] + 2] = apart / length
            row[2 * names[1] : 2 * names[1] + 2] = -apart / length
            sigma = np.sqrt(row @ found.covariance_mm2 @ row)
            off.append((length - np.linalg.norm(np.subtract(FOUR[f"f{a}"], FOUR[f"f{b}"]))) / sigma)
    inside = np.mean(np.abs(off) < 1.96)
    assert inside > 0.93, inside
    assert 0.4 < np.std(off) < 1.1


# What is refused


@pytest.mark.parametrize(
    ("rest", "shown", "says"),
    [
        ({}, {**HOLES, **PAPER}, "has to be said in one way"),
        ({"rectangle": RECTANGLE, "scale": "k1,k2,386"}, {**HOLES, **PAPER}, "has to be said in one way"),
        ({"rectangle": "297,210,p1,p2,p3"}, {**HOLES, **PAPER}, "is no rectangle"),
        ({"rectangle": "297,210,p1,p2,p3,p5"}, {**HOLES, **PAPER}, "p4 is no feature of q"),
        ({"rectangle": "297,210,p1,p3,p2,p4"}, {**HOLES, **PAPER}, "do not stand in order"),
        ({"rectangle": RECTANGLE}, PAPER, "no feature of q was picked"),
        ({"rectangle": RECTANGLE}, {"k1": HOLES["k1"], **PAPER}, "one point alone has no distance"),
        ({"rectangle": RECTANGLE}, {**HOLES, **PAPER, "k9": (1.0, 2.0)}, "k9 is no feature of q"),
        ({"known": "k1,k2,k3"}, HOLES, "four points"),
        ({"known": "k1,k2,k3,k9"}, HOLES, "q has no k9"),
        ({"known": "k1,k2,k3,k4"}, HOLES, "no feature of q was picked besides"),
        ({"scale": "k1,386"}, HOLES, "is no scale"),
        ({"scale": "k1,k1,386"}, HOLES, "is no scale"),
        ({"scale": "k1,k2,-386"}, HOLES, "is no scale"),
        ({"scale": "k1,s,386"}, HOLES, "s was not picked"),
        ({"rectangle": RECTANGLE, "camera": "1,2,3"}, {**HOLES, **PAPER}, "is no calibration"),
        ({"rectangle": RECTANGLE, "camera": "300,300,0,0,-4,0,0,0"}, {**HOLES, **PAPER}, "cannot be taken back"),
        ({"rectangle": RECTANGLE, "error_px": 0.0}, {**HOLES, **PAPER}, "picking error of 0 px"),
    ],
)  # fmt: skip
def test_refusals_say_why(rest: dict, shown: dict, says: str) -> None:
    from partkin.model.problem import FaultyInput

    with pytest.raises(FaultyInput) as refused:
        seen_in(part(HOLES, "k1k2k3k4"), asked(**rest), picked(view(6, shown)))
    (problem,) = refused.value.problems
    assert says in problem.what, problem
    assert problem.mend


def test_three_in_line_are_refused() -> None:
    from partkin.model.problem import FaultyInput

    line = {"k1": (0.0, 0.0), "k2": (150.0, 0.5), "k3": (300.0, 0.0), "k4": (100.0, 200.0), "k5": (50.0, 90.0)}
    with pytest.raises(FaultyInput, match="in one line"):
        seen_in(part(line, "k1k2k3k4"), asked(known="k1,k2,k3,k4"), picked(view(7, line)))


def test_points_beyond_the_horizon_are_refused() -> None:
    from partkin.model.problem import FaultyInput

    shown = {"p1": (1000.0, 1600.0), "p2": (1900.0, 1600.0), "p3": (1600.0, 1200.0), "p4": (1300.0, 1200.0),
             "k1": (1400.0, 1500.0), "k2": (1450.0, 300.0)}  # fmt: skip
    with pytest.raises(FaultyInput, match="horizon"):
        seen_in(part(HOLES), asked(rectangle=RECTANGLE), picked({k: np.array(v) for k, v in shown.items()}))


# As a command


def test_the_command(partkin, tmp_path: Path, folder: Path) -> None:
    shown = view(8, {**HOLES, **PAPER})
    image, points = picture(tmp_path), picks(tmp_path, shown)
    done = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE, "--corrected")
    assert done.exit_code == 0, done.output
    rows = [r for r in load_build(folder).readings if r.instrument == "photo"]
    assert len(rows) == 6 and all(r.note == "from listing.jpg" for r in rows)
    assert done.output.splitlines()[-1].startswith("glove-dask: not enough measured -> ")
    again = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE, "--corrected")
    assert again.exit_code == 0
    rows = [r for r in load_build(folder).readings if r.instrument == "photo"]
    assert len(rows) == 12 and [r.corrects for r in rows[6:]] == [r.reading for r in rows[:6]]


def test_places_fill_the_empty_cells_in_the_parts_own_frame(partkin, tmp_path: Path, folder: Path) -> None:
    path = folder / "features.csv"
    path.write_text(path.read_text() + "glove-dask,k5,hole,7,,,,,,150,40,,0.5,,spare,\n")
    shown = view(9, {**HOLES, "k5": (150.0, 40.0)})
    image, points = picture(tmp_path), picks(tmp_path, shown)
    done = partkin(
        "photo", "glove-dask", image, "--points", points, "--known", "k1,k2,k3,k5", "--corrected", "--places"
    )
    assert done.exit_code == 0, done.stderr_bytes
    found = next(f for f in load_build(folder).features if f.feature == "k4")
    assert (found.x_mm, found.y_mm) == (pytest.approx(6.0, abs=0.3), pytest.approx(208.0, abs=0.3))
    assert "wrote the place of k4" in done.output
    before = path.read_bytes()
    done = partkin(
        "photo", "glove-dask", image, "--points", points, "--known", "k1,k2,k3,k5", "--corrected", "--places"
    )
    assert done.exit_code == 2 and b"stated already" in done.stderr_bytes
    assert path.read_bytes() == before


def test_where_and_when_it_was_taken_is_never_stored_or_printed(partkin, tmp_path: Path, folder: Path) -> None:
    image, points = picture(tmp_path, place=True), picks(tmp_path, view(8, {**HOLES, **PAPER}))
    assert b"2024:05:31" in image.read_bytes()
    done = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE)
    assert done.exit_code == 0
    everything = done.output + "".join(path.read_text() for path in folder.iterdir())
    assert not re.search(r"2024.05.31 10|\b52\D+31\b", everything)
    assert all(row.on is None and row.by is None for row in load_build(folder).readings if row.instrument == "photo")


@pytest.mark.parametrize("what", ["no picture", "too large", "no file", "text"])
def test_pictures_that_are_none(partkin, tmp_path: Path, folder: Path, what: str) -> None:
    before = (folder / "readings.csv").read_bytes()
    points = picks(tmp_path, view(8, {**HOLES, **PAPER}))
    image = tmp_path / "listing.jpg"
    if what == "too large":
        from PIL import Image

        Image.new("1", (9000, 9000)).save(tmp_path / "listing.png")
        image = tmp_path / "listing.png"
    elif what != "no file":
        image.write_bytes(b"\xff\xd8\xff" if what == "no picture" else b"a dashboard top, really")
    done = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE)
    assert done.exit_code == 2
    assert (folder / "readings.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", b"the sheet is empty"),
        ("feature,px\nk1,3\n", b"the column py is missing"),
        ("feature,px,py\n", b"no point was picked"),
        ("feature,px,py\nk1,3,4\nk1,5,6\n", b"picked twice"),
        ("feature,px,py\n,3,4\n", b"has no name"),
        ("feature,px,py\nk1,left,4\n", b"not a number"),
        ("feature,px,py\nk1,4500,4\n", b"outside the picture, which is 4000 by 3000"),
        ("feature,px,py\nk1,-1,4\n", b"outside the picture"),
    ],
)
def test_picks_that_are_none(partkin, tmp_path: Path, text: str, says: bytes) -> None:
    image, points = picture(tmp_path), tmp_path / "picks.csv"
    points.write_text(text)
    done = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE)
    assert done.exit_code == 2
    assert says in done.stderr_bytes


def test_everything_that_is_wrong_is_told_at_once(partkin, tmp_path: Path, folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    image, points = tmp_path / "no.jpg", tmp_path / "picks.csv"
    points.write_text("feature,px,py\nk1,left,4\n,3,4\n")
    done = partkin(
        "photo", "nothing", image, "--points", points, "--rectangle", "1,2", "--scale", "a", "--camera", "1",
        "--error-px", "0",
    )  # fmt: skip
    assert done.exit_code == 2
    columns = [line.split(":")[2] for line in done.stderr.splitlines()]
    assert columns == ["image", "px", "feature", "part", "known", "error_px", "camera", "rectangle", "scale"]
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_every_strange_pick_is_named(partkin, tmp_path: Path) -> None:
    image, points = picture(tmp_path), picks(tmp_path, {**view(8, {**HOLES, **PAPER}), "s": (9, 9), "t": (99, 9)})
    done = partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE)
    assert done.exit_code == 2
    assert [line.split(". ")[0] for line in done.stderr.splitlines()] == [
        "photo::points: s is no feature of glove-dask", "photo::points: t is no feature of glove-dask",
    ]  # fmt: skip


def test_picks_of_any_spreadsheet_are_read(partkin, tmp_path: Path) -> None:
    shown = view(8, {**HOLES, **PAPER})
    image, points = picture(tmp_path), tmp_path / "picks.csv"
    rows = "\r\n".join(f"{name};{at[0]:.1f};{at[1]:.1f}".replace(".", ",") for name, at in shown.items())
    points.write_bytes(b"\xef\xbb\xbf" + f"Feature;PX;PY\r\n{rows}\r\n".encode())
    assert partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE).exit_code == 0


def test_a_picture_turned_for_showing_keeps_its_picks(partkin, tmp_path: Path) -> None:
    """Picked where a viewer had turned it upright: beyond its stored width, within its height."""
    shown = {name: np.array([at[1], 3900.0 - at[0]]) for name, at in view(8, {**HOLES, **PAPER}).items()}
    image, points = picture(tmp_path, size=(4000, 3000)), picks(tmp_path, shown)
    assert partkin("photo", "glove-dask", image, "--points", points, "--rectangle", RECTANGLE).exit_code == 0
