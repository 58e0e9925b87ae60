"""partkin: will a part from a sister model bolt on?

>>> import partkin
>>> build = partkin.load_build("demo-build")          # doctest: +SKIP
>>> partkin.check(build, "top-kurm").verdict          # doctest: +SKIP
'bolts on'
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partkin.pipeline import check, load_build

__version__ = "0.1.0"
__all__ = ["__version__", "check", "load_build"]


def __getattr__(name: str) -> Any:
    """Load the pipeline only when something of it is asked for."""
    if name in __all__:
        from partkin import pipeline

        return getattr(pipeline, name)
    raise AttributeError(f"module 'partkin' has no attribute {name!r}")
