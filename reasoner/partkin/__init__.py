"""partkin: will a part from a sister model bolt on?

>>> import partkin
>>> build = partkin.load_build("demo-build")          # doctest: +SKIP
>>> partkin.check(build, "top-kurm").verdict          # doctest: +SKIP
'bolts on'
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partkin.explaining import explain
    from partkin.pipeline import check, load_build
    from partkin.ranking import rank

__version__ = "0.1.0"
__all__ = ["__version__", "check", "explain", "load_build", "rank"]
_HOMES = {"check": "pipeline", "explain": "explaining", "load_build": "pipeline", "rank": "ranking"}


def __getattr__(name: str) -> Any:
    """Load a module only when something of it is asked for."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"partkin.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'partkin' has no attribute {name!r}")
