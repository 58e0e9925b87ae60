"""Values of the room do not change once they are made: keys, caches and proofs rest on them."""

from __future__ import annotations

import dataclasses
import pkgutil
from importlib import import_module

import pytest

import partkin.fit

# What is worked on, and so changes.
WORKED_ON = {
    "Closing", "KnownPairings", "Node", "PairingSearch", "SpaceKnown", "SpaceWork", "StepBudget", "Walks", "WorkedTask",
    "_EveryLargest", "_Tree",
}  # fmt: skip
MODULES = [import_module(f"partkin.fit.{module.name}") for module in pkgutil.iter_modules(partkin.fit.__path__)]
CLASSES = [
    one for module in MODULES for one in vars(module).values()
    if dataclasses.is_dataclass(one) and isinstance(one, type) and one.__module__ == module.__name__
]  # fmt: skip


@pytest.mark.parametrize("one", CLASSES, ids=lambda one: one.__name__)
def test_only_what_is_worked_on_changes_and_arrays_are_never_compared(one: type) -> None:
    frozen = one.__dataclass_params__.frozen  # type: ignore[attr-defined]
    assert frozen is (one.__name__ not in WORKED_ON)
    told = " ".join(str(field.type) for field in dataclasses.fields(one))
    if not frozen or "Floats" in told or "ndarray" in told or "Pairs" in told:
        # To compare arrays gives arrays; and what is worked on is itself alone.
        assert one.__eq__ is object.__eq__
