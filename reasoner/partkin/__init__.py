"""partkin: will a part from a sister model bolt on?

>>> import partkin
>>> from partkin.tables.reader import shipped
>>> build = partkin.load_build(shipped("data") / "demo")
>>> partkin.check(build, "top-kurm").verdict
'bolts on'
>>> [way.part for way in partkin.rank(build, "dash-frame").ways if way.verdict == "bolts on"]
['top-kurm']
>>> verdict, changes = partkin.explain(build, "top-dask")
>>> verdict.verdict, len(changes) > 0
('bolts on with adaptation', True)
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from partkin.model.version import __version__

if TYPE_CHECKING:
    from partkin.commands.explaining import explain
    from partkin.commands.ranking import rank
    from partkin.pipeline import check, load_build

__all__ = ["__version__", "check", "explain", "load_build", "rank"]
_ELSEWHERE = {"explain": "commands.explaining", "rank": "commands.ranking"}


def __getattr__(name: str) -> Any:
    """Load a module only when something of it is asked for."""
    if name in _ELSEWHERE:
        from importlib import import_module

        return getattr(import_module(f"partkin.{_ELSEWHERE[name]}"), name)
    if name in __all__:
        from partkin import pipeline

        return getattr(pipeline, name)
    raise AttributeError(f"module 'partkin' has no attribute {name!r}")
