"""The report: one file, well-formed, complete, small, quick; and as a browser shows it."""

import io
import re
import subprocess
import sys
import time
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from page.seen import LIE_ON, STICKS_OUT
from partkin.drawing.pens import THEME
from partkin.model.drawing import ReportView
from partkin.page.frame import style
from partkin.report.html import report_html
from partkin.report.html_pieces import Kept, environment
from partkin.tables.reader import shipped

from . import sample
from .reading import html_tree, outside_references

XHTML = "{http://www.w3.org/1999/xhtml}"
CHROMIUM = Path("/usr/bin/chromium")
# As Node looks for packages: in node_modules of this folder and of every one above it.
AXE = [folder / "node_modules/axe-core/axe.min.js" for folder in Path(__file__).resolve().parents]


def text_of(element):
    return " ".join("".join(element.itertext()).split())


@pytest.fixture(scope="module")
def page():
    return report_html(sample.REPORT)


def test_it_is_well_formed_and_reaches_for_nothing(page):
    tree = html_tree(page)
    assert tree.get("lang") == "en"
    assert not outside_references(page)
    assert "<script" not in page and "javascript:" not in page
    assert not re.search(r"""\son[a-z]+\s*=""", re.sub(r">[^<]*<", "><", page)), "no handler on any element"


def test_html5_reads_it_as_it_was_meant():
    """A second reader, by the HTML standard's own rules, in strict mode: any parse error raises."""
    html5rdf = pytest.importorskip("html5rdf")
    parser = html5rdf.HTMLParser(strict=False)
    parser.parse(report_html(sample.REPORT))
    # Elements of SVG closed by a slash are right in HTML; a void tag's slash is allowed (HTML, 13.1.2.1).
    assert [error for error in parser.errors if error[1] != "non-void-element-with-trailing-solidus"] == []


def test_ids_are_unique_and_every_link_inside_leads_somewhere(page):
    tree = html_tree(page)
    ids = Counter(element.get("id") for element in tree.iter() if element.get("id"))
    assert [name for name, count in ids.items() if count > 1] == []
    for element in tree.iter():
        for key in ("href", "aria-labelledby", "aria-describedby"):
            if element.get(key):
                assert element.get(key).lstrip("#") in ids, element.get(key)


def test_headings_come_in_order_and_tables_have_captions_and_scopes(page):
    tree = html_tree(page)
    levels = [int(element.tag[-1]) for element in tree.iter() if re.fullmatch(rf"{XHTML}h[1-6]", element.tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    tables = list(tree.iter(f"{XHTML}table"))
    assert tables
    for table in tables:
        assert text_of(table.find(f"{XHTML}caption"))
        assert all(cell.get("scope") in ("col", "row", "rowgroup") for cell in table.iter(f"{XHTML}th"))


def test_everything_the_verdicts_rest_on_is_there(page):
    text = text_of(html_tree(page))
    for verdict in sample.VERDICTS:
        assert verdict.says in text and verdict.next_step in text
        for reason in verdict.reasons:
            assert reason.says in text
        for caution in verdict.safety:
            assert caution.says in text and caution.source in text
        for unknown in verdict.unknown:
            assert unknown.says in text
        for out in verdict.ruled_out:
            assert out.says in text and out.source in text
        for action in verdict.adaptation.actions if verdict.adaptation else ():
            assert action.says in text and all(tool in text for tool in action.tools)
        for pair in verdict.pairs:
            assert pair.fixing in text and (pair.feature or "") in text
    assert "Reading: centres of a and b, on D4." in text
    assert "because of r1, r2" in text.replace(" ,", ",")
    assert "corrects r0; second try" in text
    assert "328.00" in text and "Spent so far 12.50 EUR" in text
    assert f"Hold: {sample.SEAM.rule}" in text and "Holds and cautions" in text


def test_a_hold_stands_right_under_its_verdict(page):
    first = page.index('<section class="donor"')
    assert page.index('class="holdline"', first) < page.index("<figure", first)


def test_a_corrected_reading_is_marked():
    readings = (
        replace(sample.BUILD.readings[1], reading="r1"), replace(sample.BUILD.readings[1], reading="r2", corrects="r1"),
    )  # fmt: skip
    page = report_html(replace(sample.REPORT, build=replace(sample.BUILD, readings=readings)))
    assert "corrected by a later reading" in page


def test_a_report_of_nothing_is_still_a_page():
    empty = report_html(ReportView(replace(sample.BUILD, readings=()), (), ()))
    assert "0 donors judged" in text_of(html_tree(empty))


def test_five_donors_in_well_under_a_second_and_300_kb():
    report_html(sample.REPORT)
    start = time.perf_counter()
    page = report_html(sample.REPORT)
    assert time.perf_counter() - start < 1.0
    assert len(page.encode()) < 300_000


def test_twenty_donors_of_twelve_pairs_stay_well_under_a_megabyte():
    view, verdict = sample.OVERLAYS[2], sample.DOES_NOT_FIT

    def doubled(things, key):
        return tuple(things) + tuple(
            replace(one, **{key: f"{getattr(one, key)}x", "at_mm": _away(one.at_mm)}) for one in things
        )

    def _away(at_mm):
        return (at_mm[0] + 31.0, at_mm[1] + 40.0)

    pairs = verdict.pairs + tuple(replace(p, fixing=f"{p.fixing}x", feature=f"{p.feature}x") for p in verdict.pairs)
    view = replace(view, fixings=doubled(view.fixings, "id"), features=doubled(view.features, "id"), pairs=pairs)
    verdict = replace(verdict, pairs=pairs, reasons=tuple(
        replace(reason, id=f"{reason.id}-{n}") for n in range(4) for reason in verdict.reasons
    ))  # fmt: skip
    verdicts = tuple(replace(verdict, donor=f"D{n}") for n in range(20))
    overlays = tuple(replace(view, donor=f"D{n}") for n in range(20))
    page = report_html(replace(sample.REPORT, verdicts=verdicts, overlays=overlays))
    assert len(page.encode()) < 700_000


def _browser():
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed")
    return pytest.importorskip("playwright.sync_api")


@pytest.fixture(scope="module")
def shown(page, tmp_path_factory):
    sync_api = _browser()
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(page, encoding="utf-8")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"])
        yield browser, path.as_uri()
        browser.close()


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 800, 1400])
def test_a_browser_shows_it_whole_at_every_width(shown, width):
    browser, address = shown
    tab = browser.new_page(viewport={"width": width, "height": 900})
    asked, said = [], []
    tab.on("request", lambda request: asked.append(request.url))
    tab.on("console", lambda message: said.append(message.text))
    tab.goto(address)
    assert asked == [address], "it reads itself and nothing else"
    assert said == []
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    assert tab.evaluate(STICKS_OUT) == []
    assert tab.evaluate(LIE_ON) == []
    shown_drawings = tab.evaluate(
        "[...document.querySelectorAll('figure > svg.dw')].filter(e => e.clientWidth > 0).length"
    )
    assert shown_drawings == 4, "one drawing a donor, broad or narrow"
    tab.close()


@pytest.mark.browser
@pytest.mark.parametrize(("width", "how"), [
    (360, {}), (800, {}), (1400, {}), (1400, {"color_scheme": "dark"}), (1400, {"forced_colors": "active"}),
])  # fmt: skip
def test_axe_finds_no_violation(shown, width, how):
    axe = next((path for path in AXE if path.exists()), None)
    if axe is None:
        pytest.skip("axe-core is not installed: npm install axe-core")
    browser, address = shown
    tab = browser.new_page(viewport={"width": width, "height": 900}, **how)
    tab.goto(address)
    # What is folded away is read too.
    tab.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    tab.evaluate(axe.read_text(encoding="utf-8") + ";0")
    found = tab.evaluate("axe.run()")
    assert len(found["passes"]) > 15
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
    tab.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_drawings_are_the_same_in_forced_colours(shown, scheme):
    """Their lines are ink on paper of their own, dark or not: on a page of other colours none may vanish."""
    browser, address = shown
    pictures = []
    for forced in ("none", "active"):
        tab = browser.new_page(viewport={"width": 1400, "height": 900}, color_scheme=scheme, forced_colors=forced)
        tab.goto(address)
        drawings = tab.query_selector_all("svg.dw.broad, svg.sketch")
        shots = [Image.open(io.BytesIO(drawing.screenshot())).convert("L") for drawing in drawings]
        # The outermost pixels may be shared with the page.
        pictures.append([np.asarray(shot.crop((2, 2, shot.width - 2, shot.height - 2)), dtype=float) for shot in shots])
        tab.close()
    assert len(pictures[0]) > 5
    for plain, kept in zip(*pictures, strict=True):
        assert np.ptp(plain) > 180 and np.mean(np.abs(plain - kept) > 60) < 0.002


@pytest.mark.browser
def test_a_dark_screen_gets_a_dark_page_and_paper_stays_white(shown):
    browser, address = shown
    tab = browser.new_page(viewport={"width": 1400, "height": 900}, color_scheme="dark")
    tab.goto(address)
    seen = """() => {
        const of = (found, what) => getComputedStyle(document.querySelector(found))[what];
        return [of("body", "backgroundColor"), of("body", "color"), of("svg.dw text", "fill")];
    }"""
    for media, at in (("screen", 1), ("print", 0)):
        tab.emulate_media(media=media)
        ink, paper = (rgb(THEME[name][at]) for name in ("ink", "paper"))
        assert tab.evaluate(seen) == [f"rgb{paper}", f"rgb{ink}", f"rgb{ink}"]
    tab.close()


def rgb(colour):
    return tuple(int(colour[place : place + 2], 16) for place in (1, 3, 5))


def contrast(one, other):
    """Contrast ratio (WCAG 2.1, relative luminance)."""
    shares = [[part / 255 for part in rgb(colour)] for colour in (one, other)]
    linear = [[c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts] for parts in shares]
    low, high = sorted(0.2126 * red + 0.7152 * green + 0.0722 * blue for red, green, blue in linear)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("at", [0, 1], ids=["light", "dark"])
def test_what_is_written_and_drawn_stands_off_its_paper(at):
    """4.5 for text, 3 for what has to be seen (WCAG 2.1, 1.4.3 and 1.4.11); fills are told by their outline."""
    colours = {name: both[at] for name, both in THEME.items()}
    assert all(contrast(colours[name], colours["paper"]) >= 4.5 for name in ("ink", "soft", "faint", "blue"))
    assert all(contrast(colours["ink"], colours[under]) >= 4.5 for under in ("shade", "solid", "tint"))
    assert contrast(colours["blue"], colours["tint"]) >= 3
    assert contrast(colours["ink"], colours["orange"]) >= 3, "the dashes of a cut on their band"


def test_report_and_page_name_their_colours():
    before, _, after = style().partition("}}")
    assert before.count("--ink:") == 2
    assert not re.findall(r"(?<!\")#[0-9A-Fa-f]{3,6}\b", after)


@pytest.mark.parametrize("words", [["--help"], ["check", "side-kurm-right"]])
def test_what_writes_no_page_loads_no_templates(words):
    code = (
        "import sys\nfrom partkin.cli import main\n"
        f"sys.argv = ['partkin', *{words!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    print([m for m in ('jinja2', 'starlette') if m in sys.modules])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=shipped("data") / "demo"
    )
    assert ran.stdout.endswith("\n[]\n") and len(ran.stdout) > 100


def test_where_compiled_templates_cannot_be_kept_the_page_is_written_all_the_same(tmp_path):
    for folder, kept in ((tmp_path, 1), (tmp_path / "gone", 0)):
        made = environment().overlay(bytecode_cache=Kept(folder.as_posix()))
        assert "lines up" in made.get_template("pieces.html").module.marked("lines up")
        assert len(list(folder.glob("*"))) == kept
