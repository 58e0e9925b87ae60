"""Every page read by the rules of the HTML standard, on the demo and on sheets that hold what looks like HTML."""

from __future__ import annotations

import csv
import re
from collections import Counter

import pytest

from . import picture
from .conftest import Server, demo_in

PATHS = (
    "/", "/part/top-dask", "/part/bag-kurm", "/part/glove-dask", "/part/dash-frame", "/part/top-dask/lay",
    "/part/bag-kurm/lay", "/part/top-velt/out", "/photos", "/photos?part=top-dask", "/photos/glove.jpg",
    "/photos/glove.jpg?part=glove-dask", "/nowhere", "/words", "/parts",
    "/part/dash-frame/features", "/part/top-dask/features",
    "/part/glove-dask/seller?questions=2", "/part/top-kurm/seller",
)  # fmt: skip
NASTY = """</title></svg><script>alert(1)</script> & "quoted" 'so' <b>"""
SPOILT = {"parts.csv": ("name", "note"), "readings.csv": ("by", "note"), "offers.csv": ("note",)}


def nasty(folder):
    """Names, notes and the build's own name turned into what must stay text."""
    for sheet, columns in SPOILT.items():
        with (folder / sheet).open(newline="") as opened:
            rows = list(csv.DictReader(opened))
        for row in rows:
            row.update({column: f"{NASTY}{row[column] or ''}" for column in columns if column in row})
        with (folder / sheet).open("w", newline="") as opened:
            writer = csv.DictWriter(opened, rows[0], lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
    settings = (folder / "build.toml").read_text()
    name = NASTY.replace('"', '\\"')
    (folder / "build.toml").write_text(re.sub(r'name = ".*"', lambda _: f'name = "{name}"', settings))


@pytest.fixture(scope="module", params=["demo", "nasty"])
def running(request, tmp_path_factory):
    folder = demo_in(tmp_path_factory.mktemp("well-formed") / "build")
    if request.param == "nasty":
        nasty(folder)
    image, _ = picture.drawn(picture.GLOVE)
    (folder / "glove.jpg").write_bytes(picture.jpeg(image))
    with Server(folder) as served:
        yield served


def test_every_page_is_valid(running):
    html5rdf = pytest.importorskip("html5rdf")
    with running.client() as client:
        for path in PATHS:
            answer = client.get(path)
            assert answer.status_code == (404 if path == "/nowhere" else 200), path
            parser = html5rdf.HTMLParser(strict=False)
            tree = parser.parse(answer.text)
            # A void tag's slash is allowed (HTML, 13.1.2.1), and elements of SVG are closed by one.
            errors = [error for error in parser.errors if error[1] != "non-void-element-with-trailing-solidus"]
            assert errors == [], path
            elements = list(tree.iter())
            ids = Counter(element.get("id") for element in elements if element.get("id"))
            assert [name for name, count in ids.items() if count > 1] == [], path
            scripts = [element for element in elements if str(element.tag).endswith("}script")]
            assert scripts and all(element.get("src") and not element.text for element in scripts), path
            assert not any(key.startswith("on") for element in elements for key in element.attrib), path
            ends = [element.get("for") for element in elements if element.get("for")]
            assert set(ends) <= set(ids), "every label is that of a field"
