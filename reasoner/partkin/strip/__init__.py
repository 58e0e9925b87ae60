"""Getting a part out and back in: the least that must be undone, in an order that works, and the way back.

In: a build, and what the person asks of one part. Out: plans with the proof that none is cheaper, and their words.
cli and page ask `answer`, `way_back`, `view_of` and `to_plan`; `levels` tells commands how a part separates from its
assembly. HiGHS is loaded by the first plan, not by this package.
"""

from partkin.strip.answering import StripQuestion, answer, step_numbers, to_plan, view_of, way_back

__all__ = ["StripQuestion", "answer", "step_numbers", "to_plan", "view_of", "way_back"]
