"""Each reader is given a few inputs that nobody meant for it; more of them: fuzzed_readers.py."""

from __future__ import annotations

from pathlib import Path

import pytest

from campaigns.fuzzed_readers import Found, campaign

# Of the sheets tests/sheets/test_properties.py does the like; the others take long.
QUICK = ("sparql", "listings", "own list", "pictures", "dxf", "svg")


@pytest.mark.parametrize("name", QUICK)
def test_a_reader_tells_what_it_cannot_read(name: str, tmp_path: Path) -> None:
    found = Found()
    campaign([name], 20, 1, tmp_path, found)
    assert (found.wrong, found.inputs[name]) == ({}, 20)
