"""Names that people write: script, quotes, endless, right to left, empty. None does harm, none breaks a page."""

import io
from dataclasses import replace
from pathlib import Path

import pytest

from partkin.drawing.lettering import text_width
from partkin.drawing.overlay import pattern
from partkin.drawing.plots import calibration_picture, chance_picture, margin_picture, pattern_picture
from partkin.drawing.raster import picture_png
from partkin.drawing.shapes import Words
from partkin.drawing.svg import clean, escaped, picture_svg
from partkin.drawing.template import template_svg
from partkin.drawing.template_dxf import template_dxf
from partkin.drawing.template_pdf import template_pdf
from partkin.model.drawing import CalibrationPlot, ChancePlot, MarginPlot, OptionRow, PatternPlot
from partkin.model.verdict import Reason
from partkin.report.html import report_html

from . import sample
from .reading import html_tree, outside_references, svg_tree

HARMLESS = ("http://www.w3.org/2000/svg", "http://www.w3.org/1999/xhtml")


def renamed(view, bad):
    """The overlay with the bad text wherever a person's text may stand."""
    ids = {fixing.id: f"{bad}{n}" for n, fixing in enumerate(view.fixings)}
    names = {feature.id: f"{bad}'{n}" for n, feature in enumerate(view.features)}
    return replace(
        view,
        host=bad or "H",
        donor=bad or "D",
        host_name=bad,
        donor_name=bad,
        note=bad,
        fixings=tuple(replace(one, id=ids[one.id]) for one in view.fixings),
        features=tuple(replace(one, id=names[one.id]) for one in view.features),
        pairs=tuple(replace(one, fixing=ids[one.fixing], feature=names[one.feature], why=bad) for one in view.pairs),
        conflict=tuple(ids[one] for one in view.conflict),
        spans=tuple(replace(one, from_fixing=ids[one.from_fixing], to_fixing=ids[one.to_fixing]) for one in view.spans),
        zones=tuple(replace(one, name=bad) for one in view.zones),
        outlines=tuple(replace(one, name=bad) for one in view.outlines),
        cuts=tuple(replace(one, feature=bad, says=bad) for one in view.cuts),
        spreads=(),
    )


def bad_report(bad):
    verdicts = tuple(
        replace(
            verdict,
            says=bad,
            next_step=bad,
            conflict_says=bad,
            notes=(bad,),
            reasons=(Reason(bad, bad, (bad, "r2"), bad), Reason("r2", bad, (bad,), bad)),
            safety=tuple(replace(one, says=bad, source=bad, rule=bad) for one in verdict.safety),
            unknown=tuple(
                replace(one, what=bad, says=bad, from_feature=bad, to_feature=bad, part=bad) for one in verdict.unknown
            ),
            pairs=tuple(replace(one, fixing=bad, feature=bad, why=bad) for one in verdict.pairs),
        )
        for verdict in sample.VERDICTS
    )
    build = replace(
        sample.BUILD,
        settings=replace(sample.BUILD.settings, name=bad, currency=bad),
        parts=tuple(replace(part, name=bad, note=bad) for part in sample.BUILD.parts),
        readings=tuple(
            replace(
                one, reading=bad, unit=bad, from_feature=bad, to_feature=bad, by=bad, on=bad, note=bad, corrects=bad
            )
            for one in sample.BUILD.readings
        ),
    )
    options = (
        OptionRow("donor", "D1", bad, note=bad, seller=bad),
        OptionRow("custom", bad or None, bad, note=bad, seller=bad),
    )
    overlays = tuple(renamed(view, bad) if view else None for view in sample.OVERLAYS)
    return replace(sample.REPORT, build=build, verdicts=verdicts, options=options, overlays=overlays, notes=(bad,))


@pytest.mark.parametrize("bad", sample.NASTY, ids=range(len(sample.NASTY)))
def test_no_name_breaks_or_poisons_the_report(bad):
    page = report_html(bad_report(bad))
    tree = html_tree(page)
    tags = {element.tag.rsplit("}")[-1] for element in tree.iter()}
    assert tags <= {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "header",
        "main",
        "footer",
        "section",
        "div",
        "figure",
        "h1",
        "h2",
        "h3",
        "p",
        "b",
        "span",
        "bdi",
        "a",
        "ul",
        "ol",
        "li",
        "br",
        "table",
        "caption",
        "details",
        "figcaption",
        "small",
        "summary",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "dl",
        "dt",
        "dd",
        "svg",
        "symbol",
        "pattern",
        "use",
        "path",
        "circle",
        "ellipse",
        "text",
        "desc",
    }, "a name has become an element"
    for element in tree.iter():
        assert not any(key.lower().startswith("on") for key in element.attrib), "a name has become a handler"
    assert not outside_references(page)
    assert "\u202e" not in page and "\x00" not in page and "\x1b" not in page


@pytest.mark.parametrize("bad", sample.NASTY, ids=range(len(sample.NASTY)))
@pytest.mark.parametrize("width", [340.0, 760.0])
def test_no_name_leaves_a_drawing(bad, width):
    view = renamed(sample.OVERLAYS[2], bad)
    picture = pattern(view, width).picture
    svg_tree(picture_svg(picture))
    for shape in picture.shapes:
        if isinstance(shape, Words) and not shape.turn_deg:
            run = text_width(shape.text, shape.size, shape.bold)
            left = {"start": 0.0, "middle": -run / 2, "end": -run}[shape.anchor] + shape.at[0]
            assert left > 0 and left + run < width, shape.text
    assert not any("\n" in shape.text for shape in picture.shapes if isinstance(shape, Words))


@pytest.mark.parametrize("bad", sample.NASTY, ids=range(len(sample.NASTY)))
def test_no_name_breaks_a_template(bad):
    pypdf = pytest.importorskip("pypdf")
    ezdxf = pytest.importorskip("ezdxf")
    view = replace(
        sample.TEMPLATE,
        part=bad or "P",
        name=bad,
        laid_on_part=bad or "H",
        laid_on_name=bad,
        cautions=(bad, "real caution"),
        features=tuple(replace(one, id=bad) for one in sample.TEMPLATE.features),
        cuts=tuple(replace(one, feature=bad, says=bad) for one in sample.TEMPLATE.cuts),
    )
    svg = template_svg(view)
    svg_tree(svg.split("?>\n", 1)[1])
    assert "<script" not in svg
    document = ezdxf.read(io.StringIO(template_dxf(view).decode()))
    assert not document.audit().errors and len(document.modelspace().query("CIRCLE"))
    pages = pypdf.PdfReader(io.BytesIO(template_pdf(view))).pages
    assert "real caution" in " ".join(pages[0].extract_text().split())


@pytest.mark.parametrize("bad", sample.NASTY, ids=range(len(sample.NASTY)))
def test_no_name_breaks_a_plot(bad):
    features = tuple(replace(one, id=f"{bad}{n}") for n, one in enumerate(sample.GOOD))
    pairs = tuple(replace(one, fixing=bad, feature=bad) for one in sample.BOLTS_ON.pairs)
    for picture in (
        pattern_picture(PatternPlot(bad or "P", bad, features, ())),
        margin_picture(MarginPlot(bad, bad, pairs)),
        chance_picture(ChancePlot(bad, bad, (1.0, 2.0), (0.1, 0.9))),
    ):
        svg_tree(picture_svg(picture))
        assert picture_png(picture, 0.5)[:4] == b"\x89PNG"
    assert calibration_picture(CalibrationPlot(())).title


def test_escaping_and_cleaning():
    assert escaped("<a href='x' on=\"y\">&") == "&lt;a href=&#39;x&#39; on=&quot;y&quot;&gt;&amp;"
    assert clean("\u202ea\u2066b\x07\ufffe") == "ab\ufffd\ufffd"
    assert clean("\u0645\u0642\u0628\u0636 e\u0301 \U0001f697") == "\u0645\u0642\u0628\u0636 e\u0301 \U0001f697"


@pytest.mark.browser
def test_a_browser_runs_nothing_that_a_name_says(tmp_path):
    chromium = Path("/usr/bin/chromium")
    if not chromium.exists():
        pytest.skip("Chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    path = tmp_path / "bad.html"
    bad = "".join(sample.NASTY)
    path.write_text(report_html(bad_report(bad)), encoding="utf-8")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(chromium), args=["--no-sandbox", "--disable-gpu"])
        tab = browser.new_page(viewport={"width": 360, "height": 800})
        alarms, asked = [], []
        tab.on("dialog", lambda dialog: (alarms.append(dialog.message), dialog.dismiss()))
        tab.on("request", lambda request: asked.append(request.url))
        tab.goto(path.as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= 360, "an endless name is broken, not cut"
        assert tab.evaluate("document.scripts.length") == 0
        browser.close()
    assert alarms == [] and asked == [path.as_uri()]
