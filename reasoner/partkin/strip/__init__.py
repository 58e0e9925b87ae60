"""Getting a part out and back in: the least that must be undone, in an order that works, and the way back.

Imports are lazy in effect: HiGHS is loaded by the first plan, not by this package.
"""

from partkin.strip.across import move_across
from partkin.strip.circles import impossible
from partkin.strip.holding import left, stuck, undone_by
from partkin.strip.planning import plan
from partkin.strip.refit import refit
from partkin.strip.text import labels, lines, moved_lines, nothing_known, said, stuck_lines, tools

__all__ = [
    "impossible",
    "labels",
    "left",
    "lines",
    "move_across",
    "moved_lines",
    "nothing_known",
    "plan",
    "refit",
    "said",
    "stuck",
    "stuck_lines",
    "tools",
    "undone_by",
]
