"""The cheapest change that makes a donor fit, and what may not be touched."""

from partkin.adaptation.answering import DEFAULT_LIMIT, GOES_ON_AS_IT_IS, Cheapest, cheapest, not_to_be_altered
from partkin.adaptation.applied import adapted_features, adapted_task, workmanship_of
from partkin.adaptation.bench_sheet import worklist
from partkin.adaptation.connectors import compare_connectors, connector_jobs
from partkin.adaptation.fasteners import fasteners_as_it_is
from partkin.adaptation.one_pairing import TOO_MANY
from partkin.adaptation.outlines import edge_gaps, trim_jobs
from partkin.adaptation.placing import Quick
from partkin.adaptation.tables import read_work
from partkin.adaptation.zones import near_zone, seam_departure

__all__ = [
    "DEFAULT_LIMIT",
    "GOES_ON_AS_IT_IS",
    "TOO_MANY",
    "Cheapest",
    "Quick",
    "adapted_features",
    "adapted_task",
    "cheapest",
    "compare_connectors",
    "connector_jobs",
    "edge_gaps",
    "fasteners_as_it_is",
    "near_zone",
    "not_to_be_altered",
    "read_work",
    "seam_departure",
    "trim_jobs",
    "workmanship_of",
    "worklist",
]
