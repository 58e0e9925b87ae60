"""Getting a part out and back in: the least that must be undone, in an order that works, and the way back.

In: a build, and what the person asks of one part. Out: plans with the proof that none is cheaper, and their words.
cli and page ask `answer`, `way_back`, `view_of` and `to_plan`; `plan` gives another room the minutes of getting a part
out. HiGHS is loaded by the first plan, not by this package.
"""

from partkin.strip.answering import Asked, answer, original_of, step_numbers, to_plan, view_of, way_back
from partkin.strip.circles import impossible
from partkin.strip.move_across import move_across
from partkin.strip.plan import plan
from partkin.strip.refit import refit
from partkin.strip.stuck import left, stuck, undone_by
from partkin.strip.text import labels, lines, moved_lines, refit_lines, stuck_lines, tools

__all__ = [
    "Asked",
    "answer",
    "impossible",
    "labels",
    "left",
    "lines",
    "move_across",
    "moved_lines",
    "original_of",
    "plan",
    "refit",
    "refit_lines",
    "step_numbers",
    "stuck",
    "stuck_lines",
    "to_plan",
    "tools",
    "undone_by",
    "view_of",
    "way_back",
]
