"""No test of the suite is without an assertion that can fail: read from the tests' own text."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
RAISING = {"raises", "warns", "fail"}


def calls(node: ast.AST) -> set[str]:
    """Names of the functions that are called in it, or handed on: `wait_for(lambda: ...)`, `partial(check, 3)`."""
    found = {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}
    return found | {inner.attr for inner in ast.walk(node) if isinstance(inner, ast.Attribute)}


def asserts(node: ast.AST) -> bool:
    """Whether it asserts something itself, or says that something must raise."""
    raising = (isinstance(inner, ast.Attribute) and inner.attr in RAISING for inner in ast.walk(node))
    return any(isinstance(inner, ast.Assert) for inner in ast.walk(node)) or any(raising)


def cannot_fail(asserted: ast.expr) -> str | None:
    """Why what is asserted is true whatever the program does; None: it can be false.

    An `or` at the top is refused as a whole: which side holds is for an `if`, or for the test to know.
    """
    if isinstance(asserted, ast.BoolOp) and isinstance(asserted.op, ast.Or):
        return "either of two things will do"
    if isinstance(asserted, ast.Constant | ast.Tuple | ast.List | ast.Lambda | ast.GeneratorExp | ast.JoinedStr):
        return "it is true as it stands"
    if not isinstance(asserted, ast.Compare):
        return None
    left, right, how = asserted.left, asserted.comparators[-1], asserted.ops[-1]
    if ast.dump(left) == ast.dump(right) and not any(isinstance(inner, ast.Call) for inner in ast.walk(left)):
        return "a thing is compared with itself"
    if isinstance(how, ast.GtE) and ast.unparse(left).startswith("len(") and ast.unparse(right) == "0":
        return "a length is never below 0"
    return None


def unable(trees: dict[str, ast.Module]) -> list[str]:
    """Every test without an assertion, and every assertion that cannot fail, as `file:line: why`."""
    functions = [
        (file, node) for file, tree in trees.items() for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)
    ]
    helping = {node.name for _, node in functions if asserts(node) and not node.name.startswith("test")}
    while more := {node.name for _, node in functions if node.name not in helping and calls(node) & helping
                   and not node.name.startswith("test")}:  # fmt: skip
        helping |= more
    found = [
        f"{file}:{node.lineno}: {node.name} asserts nothing"
        for file, node in functions
        if node.name.startswith("test") and not asserts(node) and not calls(node) & helping
    ]
    for file, tree in trees.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Assert) and (why := cannot_fail(node.test)) is not None:
                found.append(f"{file}:{node.lineno}: {why}: {ast.unparse(node.test)[:80]}")
    return found


def test_every_test_has_an_assertion_that_can_fail() -> None:
    files = sorted(TESTS.rglob("*.py"))
    assert len(files) > 150
    assert unable({path.name: ast.parse(path.read_text(encoding="utf-8")) for path in files}) == []


@pytest.mark.parametrize(
    "body",
    ["made()", "assert True", "assert a == b or a != b", "assert (a, 'b')", "assert a.b is a.b", "assert len(a) >= 0",
     "helped()", "assert f'{a}'"],
)  # fmt: skip
def test_a_test_that_cannot_fail_is_found(body: str) -> None:
    text = f"def helped():\n    made()\n\ndef test_it(a, b):\n    {body}\n"
    assert len(unable({"it": ast.parse(text)})) == 1


@pytest.mark.parametrize("body", ["assert a", "pytest.raises(ValueError, a)", "held(a)", "assert a() == a()"])
def test_a_test_that_can_fail_is_let_by(body: str) -> None:
    text = f"def held(a):\n    assert a\n\ndef test_it(a):\n    {body}\n"
    assert unable({"it": ast.parse(text)}) == []
