"""The printed template measured as a picture: rendered at 600 dpi, crosses found by image processing."""

import shutil
import subprocess

import pytest

from partkin.drawing.template_pdf import template_pdf
from report.reading import laid_together, misplaced_mm

from .test_template import ALONE

DPI = 600
MM_PER_PIXEL = 25.4 / DPI


def _lines(dark, level):
    """Straight thin lines of a page: (middle x, middle y, length) in pixels, found by opening with a line."""
    import cv2
    import numpy as np

    shortest = round(8.0 / MM_PER_PIXEL)
    kernel = np.ones((1, shortest) if level else (shortest, 1), np.uint8)
    opened = cv2.morphologyEx(dark, cv2.MORPH_OPEN, kernel)
    _, _, stats, centres = cv2.connectedComponentsWithStats(opened, connectivity=8)
    found = []
    for (left, top, width, height, _), (x, y) in zip(stats[1:], centres[1:], strict=True):
        thickness, length = (height, width) if level else (width, height)
        if thickness <= 8:  # hairlines of 0.13 and 0.18 mm are 3 to 5 pixels thick
            middle = (left + (width - 1) / 2, y) if level else (x, top + (height - 1) / 2)
            found.append((middle[0], middle[1], length))
    return found


def crosses_of(path):
    """Hole crosses and join marks of one rendered page, in millimetres from its lower left corner.

    A join mark's lines are 11 mm long; a hole's are longer.
    """
    import cv2

    image = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    dark = (image < 140).astype("uint8")
    upright = _lines(dark, False)
    holes, marks = [], []
    for x, y, length in _lines(dark, True):
        for x2, y2, length2 in upright:
            # The middles of both lines of a cross coincide.
            if abs(x - x2) < 6 and abs(y - y2) < 6 and abs(length - length2) < 6:
                at = ((x2 + 0.5) * MM_PER_PIXEL, (image.shape[0] - y - 0.5) * MM_PER_PIXEL)
                (marks if abs(length * MM_PER_PIXEL - 11.0) < 0.4 else holes).append(at)
    return holes, marks


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_rendered_crosses_lie_within_a_tenth_of_a_millimetre_over_joined_tiles(tmp_path, paper):
    pytest.importorskip("cv2")
    pypdf = pytest.importorskip("pypdf")
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed")
    pdf = tmp_path / "template.pdf"
    pdf.write_bytes(template_pdf(ALONE, paper))
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-png", str(pdf), str(tmp_path / "page")], check=True)
    rendered = sorted(tmp_path.glob("page-*.png"))
    pages = pypdf.PdfReader(pdf).pages
    assert len(rendered) == len(pages) > 3
    tiles = {}
    for path, page in zip(rendered, pages, strict=True):
        text = page.extract_text()
        if "tile " in text:
            tiles[text.split("tile ", 1)[1].split()[0]] = crosses_of(path)
    points = laid_together(tiles, agree_mm=0.1)
    off_mm = misplaced_mm(points, {feature.id: feature.at_mm for feature in ALONE.features})
    assert set(off_mm) == {feature.id for feature in ALONE.features}
    assert max(off_mm.values()) < 0.1, off_mm
    print(f"worst of {paper}: {max(off_mm.values()):.3f} mm")
