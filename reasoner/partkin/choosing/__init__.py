"""Which way to go: what each way costs, what it risks, and how the stated chances have fared."""

from partkin.choosing.costing import Donor, expected_cost, total
from partkin.choosing.ordering import rank
from partkin.choosing.score import calibration

__all__ = ["Donor", "calibration", "expected_cost", "rank", "total"]
