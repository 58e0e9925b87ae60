"""A donor that conflicts and that work may bring on: what has to be known before any work is named."""

from __future__ import annotations

from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.adaptation import adapting
from partkin.model.build import Build, Part
from partkin.model.fitting import Chance

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
FOUR_OFF = [*PLATE[:3], (4.0, 180.0)]


def first_asked(made: Build) -> tuple[str, str | None, str]:
    """The part and quantity that are asked for first, and how; no work is offered before."""
    found = partkin.check(made, "donor")
    assert found.verdict == "not enough measured" and found.adaptation is None
    assert found.next_step == f"Next: {found.unknown[0].says}"
    return found.unknown[0].part, found.unknown[0].quantity, found.unknown[0].says


def test_of_a_body_part_of_unknown_material_nothing_is_cut() -> None:
    """High-strength steel is never cut: until it is known to be none, no work is named."""
    made = build(studs(PLATE), given(holes(FOUR_OFF)), duty="body")
    assert first_asked(made) == (
        "donor", "material", "what is donor made of (material)? Until that is known nothing of it may be cut",
    )  # fmt: skip
    steel = [replace(part, material="steel sheet") if part.part == "donor" else part for part in made.parts]
    found = partkin.check(replace(made, parts=tuple(steel)), "donor")
    assert found.verdict == "bolts on with adaptation" and found.adaptation is not None
    assert found.after is not None and found.after.placement == found.adaptation.placement
    assert found.margin_mm is not None and found.margin_mm < 0.0
    assert len(found.after.pairs) == 4 and all((pair.margin_mm or 0.0) >= 0.0 for pair in found.after.pairs)


@pytest.mark.parametrize("points", [PLATE[:3], [(-4.0, 0.0), *PLATE[1:3]]])
def test_a_new_hole_waits_for_the_size_of_what_goes_through_it(points: list) -> None:
    unread = [replace(f, across_mm=None) if f.feature == "F4" else f for f in studs(PLATE)]
    part, quantity, says = first_asked(build(unread, given(holes(points)), duty="trim"))
    assert (part, quantity) == ("host", "across")
    assert says == "read how wide F4 of host is across: work on donor hangs on it"


@pytest.mark.parametrize("host_measured", [True, False])
def test_work_after_which_it_is_not_sure_waits_for_finer_readings(
    host_measured: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where what came off shows the fixings, each only within its own play: of the fixings themselves."""
    monkeypatch.setattr(adapting, "chance_after_work", lambda *_: Chance(0.94, 0.0, 1.0, 256))
    made = build(studs(PLATE), given(holes(FOUR_OFF)), duty="trim")
    if not host_measured:
        old = Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False)
        shows = [replace(f, part="old", goes_on=f"F{n}") for n, f in enumerate(holes(PLATE), 1)]
        bare = [replace(f, x_mm=None, y_mm=None) if f.part == "host" else f for f in made.features]
        made = replace(made, parts=(*made.parts, old), features=(*bare, *shows))
    part, quantity, says = first_asked(made)
    assert quantity == "centres" and (part == "donor") == host_measured
    assert says.startswith("measure the fixings on host itself") != host_measured


def test_the_original_itself_asks_for_a_donor() -> None:
    made = build(studs(PLATE), holes(PLATE), duty="trim")
    parts = [replace(part, origin="original") if part.part == "donor" else part for part in made.parts]
    found = partkin.check(replace(made, parts=tuple(parts)), "donor")
    assert found.verdict == "bolts on"
    assert found.next_step == "Next: name a donor, to see whether another part goes on in its place."
