"""Where the contract's thresholds lie (DESIGN.md 1): what stands on one is on the side that it says."""

from __future__ import annotations

from importlib import import_module
from types import SimpleNamespace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.adaptation import adapting
from partkin.model.fitting import Chance
from partkin.trial import trying

# The package offers the function of the same name.
DECIDE = import_module("partkin.verdict.decide")
CONFIDENCE = 0.95
PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def chance(fits: float) -> Chance:
    return Chance(fits, 0.0, 1.0, 256)


@pytest.mark.parametrize(
    ("fits", "as_read", "just", "stand"),
    [
        (0.95, True, 0.0, "fits"), (0.9499, True, 0.0, "unsure"), (0.05, True, 0.0, "unsure"),
        (0.0501, False, 0.0, "unsure"), (0.5, False, 0.0, "unsure"), (0.9499, False, 0.0, "unsure"),
        (0.05, False, 0.05, "does not"), (0.05, False, 0.0501, "unsure"), (0.0, False, 0.5, "unsure"),
        (0.0, False, 0.0, "does not"), (0.0, False, None, "does not"),
    ],
)  # fmt: skip
def test_a_donor_does_not_go_on_only_where_chance_and_looks_both_say_so(
    fits: float, as_read: bool, just: float | None, stand: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`fits` from c on; `does not` up to 1 - c, where a part that just goes on looks so in at most 1 - c of cases."""
    monkeypatch.setattr(trying, "would_just_go_on", lambda *_: just)
    monkeypatch.setattr(trying, "_contradict", lambda _: [])
    found = trying._stand(None, SimpleNamespace(fits=as_read), chance(fits), None, CONFIDENCE)  # type: ignore[arg-type]
    assert found[0] == stand


@pytest.mark.parametrize(
    ("fits", "stand", "verdict"),
    [
        (0.95, "does not", "bolts on with adaptation"), (0.9499, "does not", "does not fit"),
        (0.5, "does not", "does not fit"), (1.0, "unsure", "not enough measured"), (1.0, "fits", "bolts on"),
    ],
)  # fmt: skip
def test_work_counts_only_where_the_donor_goes_on_after_it_as_surely_as_any(
    fits: float, stand: str, verdict: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    findings = SimpleNamespace(
        known=None, trial=SimpleNamespace(stand=stand), seams=None, face_open=False, work_waits=False,
        adapted_chance=chance(fits), adapting=SimpleNamespace(adaptations=("a slot",)), confidence=CONFIDENCE,
    )  # fmt: skip
    for of in ("is_restraint", "leading"):
        monkeypatch.setattr(DECIDE, of, lambda _: None)
    assert DECIDE.word(findings) == verdict


@pytest.mark.parametrize(("fits", "verdict"), [(0.95, "bolts on with adaptation"), (0.9499, "not enough measured")])
def test_work_after_which_it_goes_on_less_surely_is_not_offered(
    fits: float, verdict: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adapting, "chance_after_work", lambda *_: chance(fits))
    made = build(studs(PLATE), given(holes([*PLATE[:3], (4.0, 180.0)])), duty="trim")
    found = partkin.check(made, "donor")
    assert found.verdict == verdict and (found.adaptation is not None) == (fits >= CONFIDENCE)
