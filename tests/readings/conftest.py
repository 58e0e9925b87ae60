"""The demo as a folder to change, and the command line to change it by."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from partkin.cli.app import app
from partkin.commands import demonstration
from partkin.model.problem import FaultyInput


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An invented build that may be changed."""
    demonstration.write(tmp_path / "build")
    return tmp_path / "build"


@pytest.fixture
def partkin(folder: Path) -> Callable[..., Result]:
    """Run a command in the folder; faults of the input come as exit code 2 with their text."""

    def run(*words: object) -> Result:
        result = CliRunner().invoke(app, [*map(str, words), "--in", str(folder)])
        if isinstance(result.exception, FaultyInput):
            result.exit_code = 2
            result.stderr_bytes = "\n".join(map(str, result.exception.problems)).encode()
        elif result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run
