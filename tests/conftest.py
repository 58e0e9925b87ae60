"""Make tests/builders.py importable, and hypothesis repeatable; tell a test that reaches no assertion.

pytest reports assertions that hold only with `-o enable_assertion_pass_hook=true`, as CI has it.
"""

import sys
from collections.abc import Callable, Generator
from functools import wraps
from pathlib import Path
from typing import Any

import pytest
from _pytest.assertion import util
from hypothesis import HealthCheck, settings

TESTS = Path(__file__).parent
sys.path.insert(0, str(TESTS))
HELPING = {name for path in TESTS.rglob("*.py") for name in (path.relative_to(TESTS).parts[0], path.stem)}
# Assertions of helpers are reported like those of tests.
pytest.register_assert_rewrite(*sorted(name.removesuffix(".py") for name in HELPING - {"__init__", "conftest"}))

settings.register_profile(
    "steady", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")

# Whether the case that runs has reached an assertion (above 0), and whether any case of a test has reached one.
REACHED = [0]
TOLD: dict[str, bool] = {}


def reached(*_told: object) -> None:
    """Count the first assertion that held; pytest writes each out in full for this, so no more of the case are told."""
    REACHED[0] += 1
    util._assertion_pass = None


def counted(way: Callable[..., Any]) -> Callable[..., Any]:
    """Count what says that something must raise or warn as an assertion."""

    @wraps(way)
    def counting(*given: Any, **named: Any) -> Any:
        REACHED[0] += 1
        return way(*given, **named)

    return counting


pytest.raises, pytest.warns = counted(pytest.raises), counted(pytest.warns)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """Send with the report of a case how many assertions it reached, wherever it ran."""
    REACHED[0] = 0
    util._assertion_pass = reached
    result = yield
    item.user_properties.append(("assertions", REACHED[0]))
    return result


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Keep of a test whether one of its cases reached an assertion."""
    if report.when == "call" and report.passed:
        test = report.nodeid.split("[")[0]
        TOLD[test] = TOLD.get(test, False) or bool(dict(report.user_properties)["assertions"])


def in_vain(config: pytest.Config) -> list[str]:
    """Tests that went through without an assertion: loops over nothing, branches that were not taken."""
    asked = config.getini("enable_assertion_pass_hook") and not hasattr(config, "workerinput")
    return sorted(test for test, reached in TOLD.items() if not reached) if asked else []


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail where a test reached none."""
    if in_vain(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Name the tests that reached none."""
    for test in in_vain(config):
        terminalreporter.write_line(f"{test}: no assertion was reached", red=True)
