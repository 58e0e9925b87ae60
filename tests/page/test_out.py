"""Getting a part out on the page: the plan, ticks that live in the address, what to do where something is stuck."""

from __future__ import annotations

from html import unescape

import httpx
import pytest

from .seen import LIE_ON, STICKS_OUT
from .test_bench_browser import AXE, CHECKED, until

OUT = "/part/top-velt/out"


def ticked(page: httpx.Response) -> list[str]:
    boxes = [piece.split(">")[0] for piece in page.text.split("<input ") if 'name="done"' in piece.split(">")[0]]
    return [unescape(box.split('value="')[1].split('"')[0]) for box in boxes if "checked" in box]


def test_the_plan_with_its_drawing_and_lists(page):
    with page.client() as client:
        found = client.get(OUT)
        assert found.status_code == 200
        for words in (
            "comes free", "18 of 18 steps left", 'role="img"', "What holds dashboard top", "Back in: steps to tick",
            "disconnect the battery", "Leave these 4 alone", "bag 16", "look up the maker",
        ):  # fmt: skip
            assert words in found.text, words
        assert ticked(found) == []
        assert f'href="{OUT}"' in client.get("/part/top-velt").text
        assert client.get("/part/nothing/out").status_code == 404


def test_ticks_come_from_the_address_and_outlive_a_changed_sheet(page):
    before = {path.name: path.read_bytes() for path in page.folder.iterdir() if path.is_file()}
    with page.client() as client:
        asked = {"done": ["B4", "take off:console", "no such step"]}
        found = client.get(OUT, params=asked)
        assert ticked(found) == ["B4", "take off:console"] and "16 of 18 steps left" in found.text
        assert {path.name: path.read_bytes() for path in page.folder.iterdir() if path.is_file()} == before
        sheet = page.folder / "held_by.csv"
        more = "dash-velt,shell,B99,bolt,2,M8x1.25,,,,cabin,,yes,,,found behind the radio\n"
        sheet.write_text(sheet.read_text(encoding="utf-8") + more, encoding="utf-8")
        found = client.get(OUT, params=asked)
        assert "B99" in found.text and "17 of 19 steps left" in found.text
        assert ticked(found) == ["B4", "take off:console"], "the numbers changed, the ticks did not"


def test_one_that_will_not_come(page):
    with page.client() as client:
        found = client.get(OUT, params={"stuck": "B5", "done": "B4"})
        assert "B1: its row says that it must be off before B5" in found.text
        assert "without=B5" in found.text
        other = client.get(OUT, params={"without": "S5"})
        assert "Planned without undoing S5" in other.text and "No plan frees top-velt" not in other.text
        none = client.get(OUT, params={"without": "B5"})
        assert none.status_code == 200 and "No plan frees top-velt" in none.text and "comes free" not in none.text
        for wrong in ({"stuck": "Q9"}, {"without": "Q9"}):
            refused = client.get(OUT, params=wrong)
            assert refused.status_code == 422 and "there is no fastener" in refused.text


def test_nothing_known_is_no_plan_and_faulty_sheets_are_named(page):
    with page.client() as client:
        found = client.get("/part/top-dask/out")
        assert "Nothing is known to hold" in found.text and "comes free" not in found.text
        assert "light sensor" in found.text, "what has to be moved across from the original"
        sheet = page.folder / "held_by.csv"
        sheet.write_text(sheet.read_text(encoding="utf-8").replace("K2,connector", "K2,rivet"), encoding="utf-8")
        assert "is not a word for kind" in client.get(OUT).text


def test_what_people_write_is_escaped(page):
    with page.client() as client:
        found = client.get(OUT, params={"done": "<script>x</script>", "stuck": "<b>"})
        assert "<script>x" not in found.text and "<b>'" not in found.text and "&lt;b&gt;" in found.text


@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.parametrize("width", [360, 1400])
def test_ticks_survive_a_reload_and_nothing_sticks_out(tab, page, width):
    tab.set_viewport_size({"width": width, "height": 900})
    tab.goto(page.entrance)
    tab.goto(page.origin + OUT)
    until(tab, CHECKED)
    assert tab.evaluate(STICKS_OUT) == [] and tab.evaluate(LIE_ON) == []
    tab.locator("#ticks input[value=B4]").check()
    tab.locator("#ticks input[value='take off:console']").focus()
    tab.keyboard.press("Space")
    assert tab.locator("#left").inner_text() == "16 of 18 steps left"
    tab.reload()
    assert tab.locator("#ticks input:checked").count() == 2
    assert tab.locator("#left").inner_text() == "16 of 18 steps left"
    tab.select_option("#stuck", "B5")
    tab.click("text=What may still hold it?")
    tab.wait_for_selector("#stuck-answer pre")
    assert tab.locator("#ticks input:checked").count() == 2
    assert tab.evaluate(STICKS_OUT) == [] and tab.evaluate(LIE_ON) == []
    axe = next((path for path in AXE if path.exists()), None)
    if axe is not None:
        tab.evaluate(axe.read_text(encoding="utf-8") + ";0")
        found = tab.evaluate("axe.run()")
        assert [(one["id"], [node["html"][:90] for node in one["nodes"]]) for one in found["violations"]] == []
