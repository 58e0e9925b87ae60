"""Evidence, geometry and what forbids -> one of the five words, with its reasons."""

from partkin.verdict.cautions import airbag, is_airbag_panel, is_restraint
from partkin.verdict.decide import decide
from partkin.verdict.findings import Findings, leading, strictest_duty

__all__ = ["Findings", "airbag", "decide", "is_airbag_panel", "is_restraint", "leading", "strictest_duty"]
