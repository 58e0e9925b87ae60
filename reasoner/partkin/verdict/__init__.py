"""Evidence, geometry and what forbids -> one of the five words, with its reasons."""

from partkin.verdict.decide import decide

__all__ = ["decide"]
