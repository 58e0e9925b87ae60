"""What a package gives, each name taken from its module only when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def lazily(package: str, modules: Mapping[str, tuple[str, ...]]) -> Callable[[str], Any]:
    """Return the `__getattr__` of a package; `modules`: the names that each of its modules gives.

    Examples
    --------
    >>> lazily("partkin", {"model.words": ("mm",)})("mm")(0.5)
    '0.50 mm'
    """
    where = {name: module for module, names in modules.items() for name in names}

    def given(name: str) -> Any:
        if name not in where:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{where[name]}"), name)

    return given
