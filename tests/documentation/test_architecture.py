"""docs/architecture.md says what the code does today, and no function is longer than a page."""

import ast
from pathlib import Path

import partkin
from documentation.architecture import PAGE, page, walk_of_a_hole


def test_the_page_is_what_the_script_writes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python tests/documentation/architecture.py"


def test_a_hole_passes_through_at_most_twelve_classes() -> None:
    steps = walk_of_a_hole()
    classes = {step.holder.split(".")[0] for step in steps}
    assert {"Feature", "Positions", "Verdict"} <= classes
    assert len(classes) <= 12


def test_no_function_is_longer_than_45_lines_beside_its_docstring() -> None:
    longest = dict[str, int]()
    for file in Path(partkin.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                told = node.body[0] if ast.get_docstring(node) is not None else None
                own = (told.end_lineno or 0) - told.lineno + 1 if told is not None else 0
                longest[f"{file.name} {node.name}"] = (node.end_lineno or 0) - node.lineno + 1 - own
    assert len(longest) > 1000
    assert [name for name, lines in longest.items() if lines > 45] == []
