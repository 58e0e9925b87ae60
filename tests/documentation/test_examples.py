"""Every example in a docstring of the package gives what it says."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import partkin

ROOT = Path(partkin.__file__).parent
MODULES = sorted(file for file in ROOT.rglob("*.py") if ">>> " in file.read_text(encoding="utf-8"))


@pytest.mark.parametrize("file", MODULES, ids=lambda file: file.relative_to(ROOT).as_posix())
def test_examples_give_what_they_say(file: Path) -> None:
    name = ".".join(("partkin", *file.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert tried > 0 and failed == 0, "the failed examples stand in what was printed"
