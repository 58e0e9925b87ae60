"""What one room hands to another is a value: it cannot be changed, and it is equal to another by what it says."""

from __future__ import annotations

import dataclasses
import pkgutil
import re
from importlib import import_module

import pytest


@pytest.mark.parametrize("room", ["adaptation", "model", "positions", "verify"])
def test_a_value_is_frozen_and_has_no_equality_where_it_holds_arrays(room: str) -> None:
    """Arrays are compared place by place, so values with some are neither equal nor not."""
    folder, tried = import_module(f"partkin.{room}"), 0
    for one in pkgutil.iter_modules(folder.__path__):
        module = import_module(f"{folder.__name__}.{one.name}")
        kinds = {name: kind for name, kind in vars(module).items() if dataclasses.is_dataclass(kind)}
        unequal = {name for name, kind in kinds.items() if not kind.__dataclass_params__.eq}  # type: ignore[union-attr]
        for kind in kinds.values():
            if kind.__module__ == module.__name__:
                said = {word for field in dataclasses.fields(kind) for word in re.findall(r"\w+", str(field.type))}
                told = kind.__dataclass_params__  # type: ignore[union-attr]
                assert (told.frozen, told.eq) == (True, not said & {"ndarray", *unequal}), kind
                tried += 1
    assert tried > 3
