"""Photographs: what is kept of them, what is refused, what marks tell, and that nothing is written over."""

from __future__ import annotations

import csv
import io
import json
import struct
import time
import zlib
from dataclasses import replace

import numpy as np
import pytest
from PIL import ExifTags, Image

from partkin import pipeline
from partkin.commands import seeing
from partkin.model.problem import FaultyInput
from partkin.page import photo_marks, photo_store
from partkin.page.photo_marks import Marks, corner_names, marks_of
from partkin.photo.pictures import MOST_PIXELS
from partkin.readings.photographed import seen_in

from . import picture
from .conftest import demo_in

PART = "glove-dask"


@pytest.fixture
def folder(tmp_path):
    return demo_in(tmp_path / "build")


def kept_picture(folder, **more):
    image, seen = picture.drawn(picture.GLOVE)
    name = photo_store.keep(folder, "glove.jpg", picture.jpeg(image, **more))
    return photo_store.photo(folder, name), seen


def marked(seen, rectangle=picture.SHEET_MM, holes=picture.GLOVE, off=(0.0, 0.0)):
    names = [f"corner-{number}" for number in range(1, 5)]
    at = {name: seen.px(corner) for name, corner in zip(names, picture.SHEET_AT, strict=True)}
    at |= {name: seen.px((x + off[0], y + off[1])) for name, (x, y) in holes.items()}
    return Marks(PART, at, rectangle)


# Keeping


def test_nothing_of_where_and_when_is_kept_and_the_picture_stands_upright(folder):
    image, _ = picture.drawn(picture.GLOVE)
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.Make] = "Invented camera"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (52.0, 30.0, 0.0)
    content = picture.jpeg(image, exif=exif.tobytes(), comment=b"a comment")
    assert b"Invented camera" in content and b"a comment" in content
    name = photo_store.keep(folder, "C:\\Users\\me\\glove top (1).JPG", content)
    assert name == "glove-top-1.jpg"
    stored = (folder / "photos" / name).read_bytes()
    assert b"Exif" not in stored and b"Invented camera" not in stored and b"a comment" not in stored
    with Image.open(io.BytesIO(stored)) as found:
        assert found.size == (image.height, image.width), "turned as the camera said"
        assert not found.getexif()


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd.jpg", "passwd.jpg"), ("..\\..\\boot.png", "boot.jpg"), ("", "photo.jpg"),
        (".jpg", "photo.jpg"),
        ("<script>.webp", "script.jpg"), ("a" * 300 + ".jpg", "a" * 60 + ".jpg"), ("\u202egpj.exe", "gpj.jpg"),
    ],
)  # fmt: skip
def test_names_are_made_plain(folder, name, kept):
    image = Image.new("RGB", (40, 30), (10, 20, 30))
    assert photo_store.keep(folder, name, picture.jpeg(image)) == kept
    assert photo_store.keep(folder, name, picture.jpeg(image)) == kept.replace(".jpg", "-2.jpg"), "never over another"
    assert sorted(path.name for path in (folder / "photos").iterdir()) == sorted([kept, kept.replace(".jpg", "-2.jpg")])


def hundred_megapixels():
    """A PNG of 10,000 x 10,000 pixels in a few kilobytes, as a bomb is made."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 10_000, 10_000, 1, 0, 0, 0, 0)
    body = zlib.compress(bytes(10_000 * 1251), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


REFUSED = {
    "a 100-megapixel image": hundred_megapixels(),
    "no picture": b"<html><script>alert(1)</script></html>",
    "a drawing that may hold scripts": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "half a picture": picture.jpeg(Image.effect_noise((300, 300), 60))[:2000],
    "nothing": b"",
    "a picture of another kind": b"GIF89a" + bytes(30),
}


@pytest.mark.parametrize("content", REFUSED.values(), ids=REFUSED)
def test_what_is_no_picture_or_too_large_is_refused_and_nothing_is_kept(page, content):
    assert len(hundred_megapixels()) < 100_000 and MOST_PIXELS < 10_000 * 10_000
    with page.client() as client:
        began = time.thread_time()
        answer = client.post("/photos", files={"photo": ("x.png", content, "image/png")})
        assert time.thread_time() - began < 2.0
    assert answer.status_code == 422 and "The picture was not kept" in answer.text
    assert not list((page.folder / "photos").iterdir() if (page.folder / "photos").exists() else ())


def test_a_bomb_that_lies_in_the_folder_already_is_not_sent_to_the_browser(page):
    (page.folder / "bomb.png").write_bytes(hundred_megapixels())
    (page.folder / "page.jpg").write_bytes(b"<html><script>alert(1)</script></html>")
    with page.client() as client:
        for name in ("bomb.png", "page.jpg"):
            assert client.get(f"/photos/{name}/image").status_code == 422


def test_a_picture_beside_the_sheets_or_in_photos_is_found_and_sent_as_it_is(page):
    image, _ = picture.drawn(picture.GLOVE, (400, 300))
    (page.folder / "beside & so.jpg").write_bytes(picture.jpeg(image))
    with page.client() as client:
        answer = client.post(
            "/photos", files={"photo": ("in.jpg", picture.jpeg(image), "image/jpeg")}, follow_redirects=False
        )
        assert (answer.status_code, answer.headers["location"]) == (303, "/photos/in.jpg")
        listed = client.get("/photos").text
        assert "beside &amp; so.jpg" in listed and "in.jpg" in listed
        sent = client.get("/photos/beside%20&%20so.jpg/image")
        assert sent.headers["content-type"] == "image/jpeg" and sent.content == picture.jpeg(image)


def test_24_megapixels_are_kept_within_two_seconds(folder):
    content = picture.jpeg(picture.drawn(picture.GLOVE, (6000, 4000))[0])
    began = time.thread_time()
    name = photo_store.keep(folder, "large.jpg", content)
    assert time.thread_time() - began < 2.0
    with Image.open(folder / "photos" / name) as found:
        assert found.size == (6000, 4000)


# Marks


def test_distances_come_out_as_they_are(folder):
    photo, seen = kept_picture(folder)
    build = pipeline.load_build(folder)
    found = photo_marks.look(build, photo, marked(seen), None)
    assert len(found["distances"]) == 6 and found["doubts"] == ()
    for one in found["distances"]:
        true_mm = np.hypot(*np.subtract(picture.GLOVE[one["from"]], picture.GLOVE[one["to"]]))
        value = float(one["says"].split(", ")[2].split(" mm")[0])
        # A tenth by rounding, and as much by the lens, which is read off edges that are drawn to whole pixels here.
        assert value == pytest.approx(true_mm, abs=0.16)
    assert any("read off 4 edges" in said for said in found["said"])


def test_24_megapixels_tell_places_to_a_millimetre_and_a_half(folder):
    """Marks at the true centres; half the holes lie 100 mm beyond the sheet, and nobody said what the lens does."""
    image, seen = picture.drawn(picture.GLOVE, (6000, 4000))
    photo = photo_store.photo(folder, photo_store.keep(folder, "large.jpg", picture.jpeg(image)))
    build, marks = pipeline.load_build(folder), marked(seen)
    found = seen_in(
        build, photo_marks._asked(photo, marks, corner_names(build, PART)), photo_marks._picks(photo, marks)
    )
    true_mm = np.array([picture.GLOVE[name] for name in found.names]) - picture.SHEET_AT[0]
    off_mm = np.abs(found.at_mm - true_mm).ravel()
    stated_mm = np.sqrt(3.0 * np.diagonal(found.covariance_mm2))
    assert off_mm.max() < 0.1 and (off_mm < stated_mm).all() and stated_mm.max() < 1.5


def test_a_mark_that_was_put_coarsely_states_more(folder):
    photo, seen = kept_picture(folder)
    build, fine = pipeline.load_build(folder), marked(seen)
    coarse = replace(fine, within_px={"k1": 12.0})
    stated = [
        [float(one["says"].rsplit(" ", 2)[1]) for one in photo_marks.look(build, photo, marks, None)["distances"]]
        for marks in (fine, coarse)
    ]
    assert all(more > 2.0 * less for less, more in zip(*stated, strict=True))
    said = photo_marks.look(build, photo, coarse, None)["said"]
    assert any("put to 12 px" in line for line in said)


def test_swapped_sides_and_another_size_are_asked_about(folder):
    photo, seen = kept_picture(folder)
    build = pipeline.load_build(folder)
    swapped = photo_marks.look(build, photo, marked(seen, (148.0, 210.0)), None)["doubts"]
    assert any("are the two swapped?" in doubt for doubt in swapped)
    larger = photo_marks.look(build, photo, marked(seen, (297.0, 210.0)), None)["doubts"]
    assert len(larger) == 1 and "mm by the sheets and 6" in larger[0]


def test_pictures_are_listed_small_and_what_cannot_be_shown_says_why(page):
    content = picture.jpeg(picture.drawn(picture.GLOVE)[0])
    (page.folder / "good.jpg").write_bytes(content)
    (page.folder / "half.jpg").write_bytes(content[: len(content) // 4])
    (page.folder / "none.jpg").write_bytes(b"<html>")
    with page.client() as client:
        listed = client.get("/photos").text
        assert 'src="/photos/good.jpg/small"' in listed and "none.jpg is not a picture" in listed
        small = client.get("/photos/good.jpg/small")
        with Image.open(io.BytesIO(small.content)) as shown:
            assert max(shown.size) == photo_store.SMALL_PX and small.headers["content-type"] == "image/jpeg"
        for name, why in (("half.jpg", "cannot be unpacked"), ("none.jpg", "is not a picture")):
            assert client.get(f"/photos/{name}/small").status_code == 422
            assert why in client.get(f"/photos/{name}?part=glove-dask").text


def test_the_hosts_pattern_falls_on_the_holes_where_the_part_is_right(folder):
    """The demo's glove surround is like the original at k1 to k3; its fixings are drawn where the holes are seen."""
    photo, seen = kept_picture(folder)
    build = pipeline.load_build(folder)
    view = seeing.overlay(build, seeing.see(build, PART))
    found = photo_marks.look(build, photo, marked(seen), view)
    drawn = {one["feature"]: one for one in found["pattern"] if one["feature"]}
    assert {"k1", "k2", "k3"} <= set(drawn)
    for name in ("k1", "k2", "k3"):
        assert np.hypot(*np.subtract(drawn[name]["at"], seen.px(picture.GLOVE[name]))) < 2.0, name
    assert any("true size" in said for said in found["said"])


def test_a_part_that_is_too_long_does_not_fall_on_the_pattern(folder):
    photo, seen = kept_picture(folder)
    build = pipeline.load_build(folder)
    view = seeing.overlay(build, seeing.see(build, PART))
    longer = {**picture.GLOVE, "k2": (396.0, 4.0), "k3": (389.0, 211.0)}
    drawn = {one["feature"]: one for one in photo_marks.look(build, photo, marked(seen, holes=longer), view)["pattern"]}
    off = [np.hypot(*np.subtract(drawn[name]["at"], seen.px(longer[name]))) for name in ("k1", "k2", "k3")]
    assert max(off) > 8.0, "5 mm at some 2.5 px a mm, shared between the ends"


def test_without_a_known_size_only_the_shape_is_told(folder):
    """Eight marks of the dashboard top: no rectangle, so the host's pattern is stretched onto them."""
    build = pipeline.load_build(folder)
    answer = seeing.see(build, "top-kurm")
    view = seeing.overlay(build, answer)
    lens = picture.view(0.3)
    host = {pair.feature: next(f.at_mm for f in view.fixings if f.id == pair.fixing) for pair in view.pairs}
    at = {name: lens.px((x / 3.5, y / 3.5)) for name, (x, y) in host.items()}
    photo, _ = kept_picture(folder)
    found = photo_marks.look(build, photo, Marks("top-kurm", at), view)
    assert found["distances"] == [] and len(found["pattern"]) == 8
    assert any("Size is not known" in said for said in found["said"])
    assert any("agrees" in said for said in found["said"])
    at["h"] = (at["h"][0] + 60.0, at["h"][1] - 40.0)
    other = photo_marks.look(build, photo, Marks("top-kurm", at), view)
    assert any("patterns differ" in said for said in other["said"])


def test_corners_never_have_the_name_of_a_feature(folder):
    sheet = folder / "features.csv"
    sheet.write_text(sheet.read_text().replace("glove-dask,k1,", "glove-dask,corner-1,"))
    names = corner_names(pipeline.load_build(folder), PART)
    assert len(set(names)) == 4 and "corner-1" not in names


@pytest.mark.parametrize(
    "tree",
    [
        None, [], {}, {"part": PART}, {"part": PART, "marks": 3}, {"part": PART, "marks": {"a": [1]}},
        {"part": PART, "marks": {"a": ["x", 2]}}, {"part": PART, "marks": {"a": [float("nan"), 2]}},
        {"part": PART, "marks": {"a": [float("inf"), 2]}}, {"part": PART, "marks": {}, "rectangle": [0, 5]},
        {"part": PART, "marks": {}, "rectangle": [-1, 5]}, {"part": PART, "marks": {}, "rectangle": "wide"},
        {"part": PART, "marks": {str(n): [n, n] for n in range(501)}}, {"part": PART, "marks": {"a": [1, 2, -1]}},
        {"part": PART, "marks": {"a": [1, 2, float("nan")]}},
    ],
)  # fmt: skip
def test_what_the_script_would_never_send_is_refused(tree):
    with pytest.raises(FaultyInput):
        marks_of(tree)


def test_three_corners_in_line_are_said_and_nothing_is_drawn(folder):
    photo, seen = kept_picture(folder)
    build = pipeline.load_build(folder)
    flat = marked(seen)
    flat.at_px["corner-3"] = tuple(np.mean([flat.at_px["corner-2"], flat.at_px["corner-4"]], axis=0))
    found = photo_marks.look(build, photo, flat, None)
    assert found["distances"] == [] and found["pattern"] == [] and found["said"]


# Keeping marks, and readings


def test_marks_are_kept_beside_the_picture_and_come_back(folder):
    photo, seen = kept_picture(folder)
    build, marks = pipeline.load_build(folder), replace(marked(seen), within_px={"k1": 4.5})
    fresh = photo_marks.kept(folder, photo)
    assert fresh["marks"] == {}
    digest = photo_marks.keep(folder, build, photo, marks, fresh["digest"])
    back = photo_marks.kept(folder, photo)
    assert back["digest"] == digest and back["part"] == PART and back["rectangle"] == [210.0, 148.0]
    for name, at in marks.at_px.items():
        assert back["marks"][name] == pytest.approx([*at, 4.5] if name == "k1" else at, abs=0.006)
    with photo_marks.picks_file(folder, photo).open(newline="") as sheet:
        assert next(csv.reader(sheet))[:3] == ["feature", "px", "py"], "as partkin photo reads it"


def test_marks_that_somebody_else_changed_are_not_written_over(folder):
    photo, seen = kept_picture(folder)
    build, marks = pipeline.load_build(folder), marked(seen)
    digest = photo_marks.keep(folder, build, photo, marks, photo_marks.kept(folder, photo)["digest"])
    path = photo_marks.picks_file(folder, photo)
    path.write_text(path.read_text() + "k9,1,1,glove-dask,,\n")
    before = path.read_bytes()
    with pytest.raises(FaultyInput) as fault:
        photo_marks.keep(folder, build, photo, marks, digest)
    assert "changed by something else" in str(fault.value) and path.read_bytes() == before


def test_readings_are_taken_down_with_instrument_photo_and_tell_the_true_distances(folder):
    photo, seen = kept_picture(folder)
    build, marks = pipeline.load_build(folder), marked(seen)
    photo_marks.keep(folder, build, photo, marks, photo_marks.kept(folder, photo)["digest"])
    said = photo_marks.take_down(folder, build, photo, marks)
    now = pipeline.load_build(folder)
    new = [reading for reading in now.readings if reading.instrument == "photo"]
    assert len(new) == 6 and all(reading.note == f"from {photo.name}" for reading in new)
    for reading in new:
        true_mm = np.hypot(*np.subtract(picture.GLOVE[reading.from_feature], picture.GLOVE[reading.to_feature]))
        assert abs(reading.value - true_mm) <= reading.plus_minus
    assert any(line.startswith("glove-dask: not enough measured") for line in said), said


def test_the_same_over_the_wire(page):
    image, seen = picture.drawn(picture.GLOVE)
    tree = {"part": PART, "marks": {name: list(at) for name, at in marked(seen).at_px.items()}, "rectangle": [210, 148]}
    with page.client() as client:
        client.post("/photos", files={"photo": ("glove.jpg", picture.jpeg(image), "image/jpeg")})
        digest = client.get("/photos/glove.jpg/marks").json()["digest"]
        looked = client.post("/photos/glove.jpg/look", json=tree).json()
        assert len(looked["distances"]) == 6 and looked["pattern"]
        done = client.post("/photos/glove.jpg/keep", json={**tree, "digest": digest, "readings": True}).json()
        assert "Taken down as" in done["said"]
        again = client.post("/photos/glove.jpg/keep", json={**tree, "digest": digest})
        assert again.status_code == 422 and "Reload" in again.json()["refused"]
        assert client.post("/photos/glove.jpg/look", content=b"{").status_code == 422
        assert client.post("/photos/glove.jpg/look", content=b"[" * 60_000).status_code == 422
        assert client.post("/photos/none.jpg/look", json=tree).status_code == 404
    rows = [json.dumps(row) for row in csv.reader((page.folder / "readings.csv").open())]
    assert sum("photo" in row for row in rows) == 6
