"""Bolts, spacers and clips that go with an adaptation: stack-up and thread engagement."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.adaptation.choices import Bench, Unit
from partkin.model.adapting import Action


def fastener_jobs(bench: Bench, units: Sequence[Unit]) -> tuple[tuple[Action, ...], tuple[str, ...]]:
    return (), ()
