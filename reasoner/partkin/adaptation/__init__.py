"""The cheapest change that makes a donor fit, and what may not be touched.

In: an `AdaptationQuestion` (what is measured, what is known of duty, material and zones) and the geometry's answers.
Out: jobs with sizes, cost and the proof that nothing cheaper does; the donor as it is after them; the bench sheet.
The pipeline asks for the work and what goes with it, commands for the steps of the bench sheet.
"""

from partkin.adaptation.applied import adapted_features, adapted_task
from partkin.adaptation.bench_sheet import worklist
from partkin.adaptation.cheapest import DEFAULT_LIMIT, Cheapest, not_to_be_altered
from partkin.adaptation.connectors import compare_connectors, connector_jobs
from partkin.adaptation.fasteners import fasteners_as_it_is
from partkin.adaptation.one_pairing import GOES_ON_AS_IT_IS, TOO_MANY
from partkin.adaptation.outlines import edge_gaps, trim_jobs

__all__ = [
    "DEFAULT_LIMIT",
    "GOES_ON_AS_IT_IS",
    "TOO_MANY",
    "Cheapest",
    "adapted_features",
    "adapted_task",
    "compare_connectors",
    "connector_jobs",
    "edge_gaps",
    "fasteners_as_it_is",
    "not_to_be_altered",
    "trim_jobs",
    "worklist",
]
