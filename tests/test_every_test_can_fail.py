"""No test of the suite is without an assertion that can fail: read from the tests' own text.

What text does not tell (a loop over nothing, a branch that is never taken) tests/conftest.py tells as the tests run:
CI has pytest report every assertion that holds.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
RAISING = {"raises", "warns", "fail"}
ANYTHING = {"Exception", "BaseException", "AssertionError"}


def alive(body: list[ast.stmt]) -> Iterator[ast.AST]:
    """Every node that can be reached and whose failing would be told; functions within it only where they are named."""
    for statement in body:
        if isinstance(statement, ast.FunctionDef):
            named = {node.id for one in body for node in ast.walk(one) if isinstance(node, ast.Name)}
            yield from alive(statement.body) if statement.name in named or statement.decorator_list else ()
        elif isinstance(statement, ast.Try) and any(map(swallows, statement.handlers)):
            yield from alive(
                [*statement.orelse, *statement.finalbody, *(one for it in statement.handlers for one in it.body)]
            )
        elif isinstance(statement, ast.With) and any("suppress(" in ast.unparse(item) for item in statement.items):
            continue
        elif (isinstance(statement, ast.If | ast.While) and never(statement.test)) or (
            isinstance(statement, ast.For) and never(statement.iter)
        ):
            yield from alive(statement.orelse)
        else:
            yield statement
            blocks = [getattr(statement, name, []) for name in ("body", "orelse", "finalbody")]
            blocks += [handler.body for handler in getattr(statement, "handlers", [])]
            inner = {id(one) for block in blocks for one in block}
            for child in ast.iter_child_nodes(statement):
                if id(child) not in inner and not isinstance(child, ast.ExceptHandler):
                    yield from ast.walk(child)
            for block in blocks:
                yield from alive(block)
        if isinstance(statement, ast.Return | ast.Raise | ast.Continue | ast.Break):
            return


def swallows(handler: ast.ExceptHandler) -> bool:
    """Whether a handler takes a failed assertion and lets the test go on."""
    caught = {node.id for node in ast.walk(handler.type) if isinstance(node, ast.Name)} if handler.type else ANYTHING
    return bool(caught & ANYTHING) and not any(isinstance(node, ast.Raise | ast.Assert) for node in ast.walk(handler))


def never(tested: ast.expr) -> bool:
    """Whether it is false, or empty, as it stands."""
    if isinstance(tested, ast.BoolOp):
        found = [never(one) for one in tested.values]
        return any(found) if isinstance(tested.op, ast.And) else all(found)
    if isinstance(tested, ast.UnaryOp) and isinstance(tested.op, ast.Not):
        return not isinstance(tested.operand, ast.BoolOp) and cannot_fail(tested.operand) is not None
    literal = {ast.Constant: "value", ast.Tuple: "elts", ast.List: "elts", ast.Set: "elts", ast.Dict: "keys"}
    return type(tested) in literal and not getattr(tested, literal[type(tested)])


def cannot_fail(asserted: ast.expr) -> str | None:
    """Why what is asserted, or a part of it, is true whatever the program does; None: it can be false."""
    if isinstance(asserted, ast.BoolOp):
        found = [cannot_fail(one) for one in asserted.values]
        return next((why for why in found if why is not None), None)
    if isinstance(asserted, ast.UnaryOp) and isinstance(asserted.op, ast.Not):
        return "what is false as it stands is denied" if never(asserted.operand) else None
    if isinstance(asserted, ast.IfExp):
        return cannot_fail(asserted.body) or cannot_fail(asserted.orelse)
    if isinstance(asserted, ast.NamedExpr):
        return cannot_fail(asserted.value)
    literals = ast.Constant | ast.Tuple | ast.List | ast.Set | ast.Dict | ast.Lambda | ast.GeneratorExp | ast.JoinedStr
    if isinstance(asserted, literals):
        return None if never(asserted) else "it is true as it stands"
    if isinstance(asserted, ast.Call):
        return called_in_vain(asserted)
    return compared_in_vain(asserted) if isinstance(asserted, ast.Compare) else None


def either(asserted: ast.expr) -> str | None:
    """Why an `or` as a whole is refused: which side holds is for an `if`, or for the test to know."""
    any_does = isinstance(asserted, ast.BoolOp) and isinstance(asserted.op, ast.Or)
    return "either of two things will do" if any_does else None


def called_in_vain(asserted: ast.Call) -> str | None:
    """Why a call is true whatever its arguments are."""
    name, given = ast.unparse(asserted.func), asserted.args
    if name == "any" and given and isinstance(given[0], ast.List | ast.Tuple | ast.Set):
        return next((why for one in given[0].elts if (why := cannot_fail(one)) is not None), None)
    if name in ("bool", "all") and given and (never(given[0]) if name == "all" else cannot_fail(given[0])):
        return "it is true as it stands"
    if name == "isinstance" and ast.unparse(given[-1]) == "object":
        return "everything is an object"
    return None


def compared_in_vain(asserted: ast.Compare) -> str | None:
    """Why a comparison holds whatever is compared."""
    left, right, how = asserted.left, asserted.comparators[-1], asserted.ops[-1]
    texts = (ast.unparse(left), ast.unparse(right))
    if all(isinstance(one, ast.Constant) for one in (left, *asserted.comparators)):
        return "two constants are compared"
    same = ast.dump(left) == ast.dump(right) and isinstance(how, ast.Eq | ast.Is | ast.LtE | ast.GtE | ast.In)
    if same and not any(isinstance(inner, ast.Call) for inner in ast.walk(left)):
        return "a thing is compared with itself"
    least = {(ast.GtE, "0"), (ast.Gt, "-1"), (ast.NotEq, "-1")}
    if (texts[0].startswith("len(") and (type(how), texts[1]) in least) or (
        texts[1].startswith("len(") and (texts[0], type(how)) in {("0", ast.LtE), ("-1", ast.Lt)}
    ):
        return "a length is never below 0"
    return None


def wide_open(node: ast.AST) -> bool:
    """Whether it lets any error pass for the one that is meant: no kind and no words are named."""
    if not (isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.raises"):
        return False
    kinds = {inner.id for one in node.args[:1] for inner in ast.walk(one) if isinstance(inner, ast.Name)}
    return bool(kinds & ANYTHING) and not any(word.arg == "match" for word in node.keywords)


def asserts(function: ast.FunctionDef) -> bool:
    """Whether it asserts something itself where that can be reached, or says that something must raise."""
    return any(
        isinstance(node, ast.Assert)
        or (isinstance(node, ast.Attribute) and node.attr in RAISING and ast.unparse(node.value) == "pytest")
        for node in alive(function.body)
    )


def calls(function: ast.FunctionDef) -> set[str]:
    """Names of the functions that are called in it, or handed on: `wait_for(lambda: ...)`, `partial(check, 3)`."""
    nodes = list(alive(function.body))
    names = {node.id for node in nodes if isinstance(node, ast.Name)}
    return names | {node.attr for node in nodes if isinstance(node, ast.Attribute)}


def beside(file: str, tree: ast.Module, files: set[str]) -> set[str]:
    """The files of the tests that one takes something from, itself among them."""
    found = {file}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            paths = [node.module or "", *(f"{node.module}.{name.name}" for name in node.names)]
        elif isinstance(node, ast.Import):
            paths = [name.name for name in node.names]
        else:
            continue
        ends = tuple("/" + path.replace(".", "/") + ".py" for path in paths if not path.startswith("partkin"))
        found |= {one for one in files if f"/{one}".endswith(ends)}
    return found


def unable(trees: dict[str, ast.Module]) -> list[str]:
    """Every test without an assertion, and every assertion that cannot fail, as `file:line: why`."""
    functions = [(file, node) for file, tree in trees.items() for node in ast.walk(tree)
                 if isinstance(node, ast.FunctionDef)]  # fmt: skip
    near = {file: beside(file, tree, set(trees)) for file, tree in trees.items()}
    helping = {(file, node.name) for file, node in functions if asserts(node)}
    asked = [(file, node.name, {(one, name) for name in calls(node) for one in near[file]}) for file, node in functions]
    while more := {(file, name) for file, name, called in asked if called & helping} - helping:
        helping |= more
    found = [
        f"{file}:{node.lineno}: {node.name} asserts nothing"
        for file, node in functions
        if node.name.startswith("test") and (file, node.name) not in helping
    ]
    for file, tree in trees.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Assert) and (why := either(node.test) or cannot_fail(node.test)) is not None:
                found.append(f"{file}:{node.lineno}: {why}: {ast.unparse(node.test)[:80]}")
            if wide_open(node):
                found.append(f"{file}:{node.lineno}: any error will do: {ast.unparse(node)[:80]}")
    return found


def test_every_test_has_an_assertion_that_can_fail() -> None:
    files = sorted(TESTS.rglob("*.py"))
    assert len(files) > 150
    told = {path.relative_to(TESTS).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in files}
    assert unable(told) == []


BODIES_THAT_CANNOT_FAIL = """
made()
assert True
assert a == b or a != b
assert (a, 'b')
assert {'a': b}
assert a.b is a.b
assert a <= a
assert len(a) >= 0
assert len(a) > -1
assert 0 <= len(a)
assert 1 < 2
assert f'{a}'
assert a if b else True
assert (c := True)
assert not (a and False)
assert not None
assert a and (b or True)
assert any([a, True])
assert all([])
assert isinstance(a, object)
helped()
made().held(b)
if False: assert a
while 0: assert a
for one in (): assert one
return; assert a
def inner(): assert a
pytest.raises(Exception, a)
pytest.raises((ValueError, Exception), a)
warnings.warns(a)
"""
SWALLOWED = ["try:\n        assert a\n    except AssertionError:\n        pass",
             "try:\n        assert a\n    except:\n        print(a)",
             "with suppress(AssertionError):\n        assert a"]  # fmt: skip


@pytest.mark.parametrize("body", [*BODIES_THAT_CANNOT_FAIL.strip().splitlines(), *SWALLOWED])
def test_a_test_that_cannot_fail_is_found(body: str) -> None:
    text = f"def helped():\n    made()\n\ndef test_it(a, b):\n    {body}\n"
    elsewhere = "def made(a):\n    assert a\n\ndef held(a):\n    assert a\n"
    assert len(unable({"it.py": ast.parse(text), "elsewhere.py": ast.parse(elsewhere)})) == 1


BODIES_THAT_CAN_FAIL = """
assert a
pytest.raises(ValueError, a)
pytest.raises(Exception, match='b')
held(a)
assert a() == a()
assert 1 <= a <= 2
assert a and (b or c)
assert a if b else c
assert not (a and b)
for one in a: assert one
if a: pytest.fail('b')
test_other(a)
wait_for(lambda: held(a))
"""
RAISED_AGAIN = ["try:\n        assert a\n    except AssertionError:\n        raise ValueError from None",
                "try:\n        assert a\n    finally:\n        made()",
                "def inner(): assert a\n    made(inner)"]  # fmt: skip


@pytest.mark.parametrize("body", [*BODIES_THAT_CAN_FAIL.strip().splitlines(), *RAISED_AGAIN])
def test_a_test_that_can_fail_is_let_by(body: str) -> None:
    text = f"from there import held\n\ndef test_other(a):\n    held(a)\n\ndef test_it(a):\n    {body}\n"
    assert unable({"it.py": ast.parse(text), "there.py": ast.parse("def held(a):\n    assert a\n")}) == []


TESTS_BY_HALF = """
import pytest
from helping import held

def test_loop():
    for one in sorted([]):
        assert one

@pytest.mark.parametrize('things', [[], [1]])
def test_some(things):
    for one in things:
        assert one

def test_branch():
    if len('') > 0:
        assert len('') == 1

def test_reached():
    assert len('a') == 1

def test_helped():
    held('a')

def test_raising():
    with pytest.raises(ValueError):
        int('a')
"""


@pytest.mark.parametrize(
    ("workers", "option", "told"), [("2", "true", ["test_branch", "test_loop"]), ("0", "false", [])]
)
def test_a_test_that_reaches_no_assertion_fails_in_ci(
    tmp_path: Path, workers: str, option: str, told: list[str]
) -> None:
    (tmp_path / "conftest.py").write_text((TESTS / "conftest.py").read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "helping.py").write_text("def held(a):\n    assert a\n", encoding="utf-8")
    (tmp_path / "test_half.py").write_text(TESTS_BY_HALF, encoding="utf-8")
    words = ["-m", "pytest", "-q", "-n", workers, "-o", f"enable_assertion_pass_hook={option}", str(tmp_path)]
    done = subprocess.run([sys.executable, *words], cwd=tmp_path, capture_output=True, text=True, timeout=300)
    assert (done.returncode, re.findall(r"::(\w+): no assertion was reached", done.stdout)) == (bool(told), told)
    assert "enable_assertion_pass_hook=true" in (TESTS.parent / ".ci" / "run").read_text(encoding="utf-8")
