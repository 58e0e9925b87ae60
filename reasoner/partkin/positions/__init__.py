"""Readings -> where features are, with covariance; what to measure next; photographs. Numpy alone."""

from partkin.positions.adjusting import adjust
from partkin.positions.lengths import dimensions
from partkin.positions.sampling import draws, uniform_in_stadium

__all__ = ["adjust", "dimensions", "draws", "uniform_in_stadium"]
