"""Connectors compared."""

from __future__ import annotations

import pytest

from partkin.adaptation.surroundings import compare_connectors
from partkin.model.build import Connector


def _plug(name: str, ways: int | None = 4, keyed_as: str | None = "A", need: str | None = None) -> Connector:
    return Connector("P", name, ways, keyed_as, need)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("original", "donor", "state"),
    [
        (_plug("lamp"), _plug("lamp"), "matches"),
        (_plug("lamp"), _plug("lamp", ways=6), "needs an adapter"),
        (_plug("lamp"), _plug("lamp", keyed_as="B"), "needs an adapter"),
        (_plug("lamp"), _plug("lamp", ways=None), "to be found out"),
        (_plug("lamp", keyed_as=None), _plug("lamp"), "to be found out"),
        (_plug("lamp"), _plug("light"), "matches"),
        (_plug("lamp"), None, "move over"),
        (_plug("lamp", need="spare"), None, "not used"),
        (_plug("passenger airbag"), _plug("passenger airbag", ways=2), "licensed practice only"),
        (_plug("airbag squib"), None, "licensed practice only"),
    ],
)
def test_states(original: Connector, donor: Connector | None, state: str) -> None:
    [line] = compare_connectors([original], [donor] if donor else [])
    assert line.state == state
    assert original.connector in line.says
    if state == "licensed practice only":
        assert "the maker's instructions, local law and a licensed person decide" in line.says


def test_what_only_the_donor_has() -> None:
    lines = compare_connectors([_plug("lamp")], [_plug("heater", 2, "C"), _plug("lamp"), _plug("SRS", 2, "Y")])
    assert [(line.connector, line.state) for line in lines] == [
        ("lamp", "matches"), ("heater", "not used"), ("SRS", "licensed practice only"),
    ]  # fmt: skip


def test_a_name_goes_before_a_likeness() -> None:
    lines = compare_connectors([_plug("b"), _plug("a")], [_plug("a"), _plug("b")])
    assert [(line.original, line.donor) for line in lines] == [("b", "b"), ("a", "a")]


def test_both_differences_are_named() -> None:
    [line] = compare_connectors([_plug("lamp")], [_plug("lamp", 6, "B")])
    assert "4 ways on the original, 6 on the donor" in line.says and "keyed A on the original, B" in line.says
