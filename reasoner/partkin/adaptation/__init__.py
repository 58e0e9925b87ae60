"""The cheapest change that makes a donor fit, and what may not be touched."""

from partkin.adaptation.applied import adapted_features, adapted_task, workmanship_of
from partkin.adaptation.cheapest import cheapest
from partkin.adaptation.zones import near_zone, seam_departure

__all__ = ["adapted_features", "adapted_task", "cheapest", "near_zone", "seam_departure", "workmanship_of"]
