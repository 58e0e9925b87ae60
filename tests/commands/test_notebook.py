"""The notebook of the documentation runs from top to bottom, and is kept without what it printed."""

from __future__ import annotations

import ast
import contextlib
import io
import json
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[2] / "docs").glob("*.ipynb"))


def cells(path):
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def run(path):
    """Run the code cells as a notebook does: one namespace, the last expression of a cell is shown."""
    names: dict[str, object] = {"__name__": "__main__"}
    shown = {}
    for cell in cells(path):
        if cell["cell_type"] != "code":
            continue
        where = f"{path.name}, cell {cell['id']}"
        tree = ast.parse("".join(cell["source"]), where)
        last = ast.Expression(tree.body.pop().value) if isinstance(tree.body[-1], ast.Expr) else None
        with contextlib.redirect_stdout(io.StringIO()) as printed:
            exec(compile(tree, where, "exec"), names)
            value = eval(compile(last, where, "eval"), names) if last is not None else None
        shown[cell["id"]] = (printed.getvalue(), value)
    return shown


@pytest.fixture(scope="module")
def shown():
    return run(NOTEBOOKS[0])


def test_there_is_one():
    assert [path.name for path in NOTEBOOKS] == ["from-python.ipynb"]


def test_it_is_kept_without_what_it_printed():
    for path in NOTEBOOKS:
        tree = json.loads(path.read_text(encoding="utf-8"))
        assert (tree["nbformat"], tree["nbformat_minor"]) == (4, 5)
        code = [cell for cell in tree["cells"] if cell["cell_type"] == "code"]
        assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in code)
        assert len({cell["id"] for cell in tree["cells"]}) == len(tree["cells"])


def test_every_cell_shows_something_that_is_so(shown):
    assert ("top-dask", "dashboard top") in shown["load"][1]
    assert shown["verdict"][0].startswith("bolts on with adaptation: ")
    assert shown["work"][0].count("\n") >= 2 and "minutes; then" in shown["work"][0]
    assert shown["explain"][0].strip()
    assert {"top-kurm", "top-dask"} <= set(shown["rank"][1]["part"])
    svg = shown["picture"][1]._repr_html_()
    assert svg.startswith("<svg") and "top-dask" in svg
    assert shown["ask"][0].splitlines()[0] and len(shown["ask"][0].splitlines()) > 1


def test_what_if_widens_the_margin(shown):
    words = shown["if"][0].split()
    figures = [float(word) for word in words if word.lstrip("-").replace(".", "", 1).isdigit()]
    assert len(figures) == 2 and figures[1] > figures[0]
