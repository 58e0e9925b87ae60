"""Numbers only: pairing, placement, certificate, chance.

`solve` answers a `partkin.model.fitting.FitTask`; the other modules are its parts and are imported by name.
"""

from partkin.fit.solve import solve

__all__ = ["solve"]
