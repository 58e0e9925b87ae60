"""Pictures of the screens for docs/screens: python tests/documentation/screens.py takes them anew.

The demo's report and page as Chromium shows them, light and dark, on a broad screen and on a telephone's width, and one
drawing. The drawing is the same byte for byte wherever it is made, the others where the same browser and fonts are.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from PIL import Image

from page.conftest import CHROMIUM, Server, demo_in
from partkin.commands import seeing
from partkin.drawing.overlay import pattern
from partkin.drawing.svg import picture_svg
from partkin.pipeline import load_build
from partkin.report.html import report_html

SCREENS = Path(__file__).parents[2] / "docs" / "screens"
# Name: what is shown, width and height of the window in px, and whether it is dark.
SHOTS = {
    "report-light.png": ("report", 1400, 1000, "light"),
    "report-dark.png": ("report", 1400, 1000, "dark"),
    "report-narrow-light.png": ("report", 360, 780, "light"),
    "report-narrow-dark.png": ("report", 360, 780, "dark"),
    "page-light.png": ("page", 1400, 900, "light"),
    "page-narrow-dark.png": ("page", 360, 780, "dark"),
}
DRAWING = "drawing.svg"
DONOR = "top-dask"


def drawing(folder: Path) -> str:
    """The donor that has to be adapted, as it is, as a file by itself."""
    build = load_build(folder)
    view = seeing.overlay(build, seeing.see(build, DONOR))
    assert view is not None
    return picture_svg(pattern(view).picture, bounded=True)


def small(shot: bytes) -> bytes:
    """The same picture in few colours."""
    out = io.BytesIO()
    Image.open(io.BytesIO(shot)).convert("RGB").quantize(48, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def take(folder: Path) -> None:
    """Take all of them, of the demo in a folder."""
    from playwright.sync_api import sync_playwright

    (SCREENS / DRAWING).write_text(drawing(folder), encoding="utf-8")
    report = folder.parent / "report.html"
    report.write_text(report_html(seeing.report_of(load_build(folder))), encoding="utf-8")
    with Server(folder) as running, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"])
        for name, (shown, width, height, scheme) in SHOTS.items():
            tab = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
            tab.goto(running.entrance if shown == "page" else report.as_uri())
            if shown == "page":
                tab.goto(f"{running.origin}/part/{DONOR}")
                tab.wait_for_selector("body:not(:has([data-waiting])) figure")
                tab.wait_for_selector("#progress:empty", state="attached")
            (SCREENS / name).write_bytes(small(tab.screenshot()))
            tab.close()
        browser.close()


if __name__ == "__main__":
    SCREENS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        take(demo_in(Path(made) / "demo"))
