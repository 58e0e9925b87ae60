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

from typing import TYPE_CHECKING

from partkin.model.lazily import lazily
from partkin.model.version import __version__

if TYPE_CHECKING:
    from partkin.commands.explaining import explain
    from partkin.commands.ranking import rank
    from partkin.pipeline import check, load_build

__all__ = ["__version__", "check", "explain", "load_build", "rank"]
__getattr__ = lazily(
    __name__, {"commands.explaining": ("explain",), "commands.ranking": ("rank",), "pipeline": ("check", "load_build")}
)
