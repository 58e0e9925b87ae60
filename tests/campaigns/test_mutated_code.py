"""The rooms whose code is changed are there, each with tests that mirror it."""

from __future__ import annotations

import pytest

from campaigns.mutated_code import PACKAGE, ROOMS, ROOT, files_of, mirrored_by


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_has_files_and_tests(room: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    assert (PACKAGE / room).exists() and all((ROOT / "tests" / test).exists() for test in ROOMS[room])
    files = list(files_of([room]))
    assert files and all(len(mirrored_by(file)) >= 2 for file in files)
