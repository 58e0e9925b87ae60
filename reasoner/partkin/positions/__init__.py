"""Readings -> where features are, with covariance; what to measure next; photographs. Numpy alone."""

from partkin.positions.adjusting import adjust
from partkin.positions.budget import budget, ellipse, place_budget
from partkin.positions.expecting import predict, surprise
from partkin.positions.lengths import dimensions
from partkin.positions.sampling import draws, evenly, within_play

__all__ = [
    "adjust",
    "budget",
    "dimensions",
    "draws",
    "ellipse",
    "evenly",
    "place_budget",
    "predict",
    "surprise",
    "within_play",
]
