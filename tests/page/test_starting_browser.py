"""From an empty folder to a verdict as a person does it in a browser: with keys alone, and no sheet opened."""

from __future__ import annotations

import pytest

from partkin import pipeline

from .person import DONOR, HOST, person
from .seen import LIE_ON, STICKS_OUT
from .test_bench_browser import AXE, CHECKED, tab_to, until

pytestmark = [pytest.mark.slow, pytest.mark.browser]


def looked_at(tab, where):
    """Nothing is cut, nothing lies on anything else, and axe finds nothing."""
    assert tab.evaluate(STICKS_OUT) == [], where
    assert tab.evaluate(LIE_ON) == [], where
    axe = next((path for path in AXE if path.exists()), None)
    if axe is None:
        pytest.skip("axe-core is not installed: npm install axe-core")
    tab.evaluate(axe.read_text(encoding="utf-8") + ";0")
    found = tab.evaluate("axe.run()")
    assert len(found["passes"]) > 10
    assert [(one["id"], [node["html"][:90] for node in one["nodes"]]) for one in found["violations"]] == [], where


def typed_into(tab, selector, text):
    tab_to(tab, selector)
    tab.keyboard.press("Control+A")
    tab.keyboard.type(text)


def chosen(tab, selector, word):
    """Choose in a list by typing, as lists take it."""
    tab_to(tab, selector)
    tab.keyboard.type(word)


def went_on(tab, key="Enter"):
    with tab.expect_navigation():
        tab.keyboard.press(key)


def begun(tab):
    """The three questions; each begins with the keyboard in its first box."""
    for name in ("Dash top", "cross beam", "Dash top of the estate"):
        assert tab.evaluate("document.activeElement.id") == "f-name"
        looked_at(tab, name)
        tab.keyboard.type(name)
        if name == "Dash top":
            chosen(tab, "#f-duty", "trim")
        tab_to(tab, "#part button")
        went_on(tab)


def listed(tab, cells):
    """Three alike of one part, and that is all."""
    assert tab.evaluate("document.activeElement.id") == "f-count"
    looked_at(tab, cells)
    tab.keyboard.press("Control+A")
    tab.keyboard.type("3")
    for selector, text in cells.items():
        typed_into(tab, selector, text)
    if tab.query_selector("#f-goes_on"):
        chosen(tab, "#f-goes_on", "the next")
    tab_to(tab, "#feature button[value=done]")
    went_on(tab)


def answered(tab, who, asked):
    """Answer what is asked for; whether it was a distance."""
    button = tab.evaluate("document.querySelector('#told-asked button')?.name")
    if button is None:
        part, one, other = (tab.input_value(f"#f-{name}") for name in ("part", "from", "to"))
        assert one in asked and other in asked
        typed_into(tab, "#f-value", who.distance(part, one, other))
        if not tab.input_value("#f-instrument"):
            chosen(tab, "#f-instrument", "tape")
            tab_to(tab, "#reading p button")
        tab.keyboard.press("Enter")
        return True
    hidden = tab.evaluate(
        "Object.fromEntries([...document.querySelectorAll('#told-asked input')].map(box => [box.name, box.value]))"
    )
    if button == "quantity":
        word = who.side(hidden["part"], hidden["from"], hidden["to"])
    else:
        word = who.word(hidden["asked"])
    tab_to(tab, f"#told-asked button[value='{word}']")
    went_on(tab)
    return False


@pytest.mark.parametrize("width", [360, 1400])
def test_from_an_empty_folder_to_a_verdict(tab, bare_page, width):
    who = person(3)
    tab.set_viewport_size({"width": width, "height": 900})
    tab.goto(bare_page.entrance)
    begun(tab)
    assert tab.url.startswith(f"{bare_page.origin}/part/{HOST}/features")
    listed(tab, {"#f-through": "M6"})
    assert tab.url.startswith(f"{bare_page.origin}/part/{DONOR}/features")
    listed(tab, {"#f-across_mm": "9"})
    distances = 0
    for _ in range(25):
        until(tab, CHECKED)
        verdict = tab.inner_text(".verdict > :last-child").strip()
        if verdict != "not enough measured":
            break
        asked = tab.inner_text("#told-asked")
        looked_at(tab, asked)
        if answered(tab, who, asked):
            distances += 1
            # It is asked for no more once it is answered, and the answer stands in its place.
            until(tab, f"document.getElementById('told-asked').innerText !== {asked!r}")
            until(tab, CHECKED)
            said = tab.inner_text("#said")
            assert said.startswith("Taken down as r") and "being checked" not in said
    assert verdict == "bolts on" and distances >= 6
    looked_at(tab, verdict)
    build = pipeline.load_build(bare_page.folder)
    assert pipeline.check(build, DONOR).verdict == "bolts on"
    assert len({reading.part for reading in build.readings}) == 2
