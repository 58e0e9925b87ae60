"""Two sheets that belong together, stopped at some of their writes; all commands and faults: stopped_writes.py."""

from __future__ import annotations

from pathlib import Path

import pytest

from campaigns.stopped_writes import COMMANDS, campaign


@pytest.mark.parametrize("name", ["outline"])
def test_sheets_are_as_before_or_as_after(name: str, tmp_path: Path) -> None:
    told: list[str] = []
    done, wrong = campaign({name: COMMANDS[name]}, 8, tmp_path, told.append)
    assert (told, wrong, sum(done.values())) == ([], 0, 8)
