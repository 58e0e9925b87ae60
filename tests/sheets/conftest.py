"""Commands typed as a person types them."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from partkin.cli.app import run


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Exit code, standard output and standard error of a command line, or of its words."""

    def type_in(*line: str) -> tuple[int, str, str]:
        words = line[0].split() if len(line) == 1 else line
        monkeypatch.setattr(sys, "argv", ["partkin", *words])
        code: object = 0
        try:
            run()
        except SystemExit as end:
            code = end.code or 0
        said = capsys.readouterr()
        return int(str(code)), said.out, said.err

    return type_in
