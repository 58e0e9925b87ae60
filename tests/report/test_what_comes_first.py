"""What comes first: measured on the demo's report as a browser lays it out, on a telephone, a desk and on paper."""

import io
from pathlib import Path

import pytest

from partkin.commands import seeing
from partkin.pipeline import load_build
from partkin.report.html import report_html
from partkin.tables.reader import shipped

CHROMIUM = Path("/usr/bin/chromium")
# A telephone's screen (width, height) and a desk's, px.
TELEPHONE = {"width": 360, "height": 640}
DESK = {"width": 1400, "height": 900}
FIRST = """[...document.querySelectorAll('.donor')].map(donor => {
  const last = [...donor.querySelectorAll('.whole > *')].at(-1).getBoundingClientRect().bottom;
  return Math.round(last - donor.getBoundingClientRect().top);
})"""

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def view():
    return seeing.report_of(load_build(shipped("data") / "demo"))


@pytest.fixture(scope="module")
def shown(view, tmp_path_factory):
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    path = tmp_path_factory.mktemp("demo") / "report.html"
    path.write_text(report_html(view), encoding="utf-8")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"])
        yield browser, path.as_uri()
        browser.close()


def opened(shown, size):
    tab = shown[0].new_page(viewport=size)
    tab.goto(shown[1])
    return tab


def test_every_donor_begins_with_a_block_that_fits_a_telephone(shown, view):
    tab = opened(shown, TELEPHONE)
    tall = tab.evaluate(FIRST)
    assert len(tall) == len(view.verdicts) and max(tall) <= TELEPHONE["height"]
    tab.close()


def test_the_build_at_a_glance_is_one_screen(shown):
    for size in (TELEPHONE, DESK):
        tab = opened(shown, size)
        box = tab.locator("section:has(> #glance)").bounding_box()
        assert box["height"] <= size["height"]
        tab.close()


def test_the_whole_is_six_screens_at_a_desk(shown):
    tab = opened(shown, DESK)
    assert tab.evaluate("document.documentElement.scrollHeight") <= 6 * DESK["height"]
    tab.close()


def test_it_prints_on_nine_sheets_with_tables_and_holds_and_no_heading_alone_at_the_foot(shown, view):
    pypdf = pytest.importorskip("pypdf")
    tab = opened(shown, DESK)
    printed = pypdf.PdfReader(io.BytesIO(tab.pdf(prefer_css_page_size=True)))
    tab.close()
    sheets = [page.extract_text() for page in printed.pages]
    assert len(sheets) <= 9
    text = " ".join(" ".join(sheets).split())
    for verdict in view.verdicts:
        for caution in verdict.safety:
            assert " ".join(caution.says.split()) in text
    assert text.count("Pairs, in mm") == sum(bool(verdict.pairs) for verdict in view.verdicts)
    headings = [f"({verdict.donor}) on " for verdict in view.verdicts]
    for sheet in sheets:
        foot = sheet.strip().splitlines()[-3:]
        assert not any(heading in line for heading in headings for line in foot)
