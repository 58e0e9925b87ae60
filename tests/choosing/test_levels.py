"""Interchange at every level: the whole does not go on, its skin does, and what has to be separated is named."""

from __future__ import annotations

import partkin
from partkin.model.build import Build, Feature, Holding, Part

AT = {"F1": (0.0, 0.0), "F2": (300.0, 0.0), "F3": (300.0, 200.0), "F4": (0.0, 200.0)}


def holes(part: str, out_mm: float) -> list[Feature]:
    """Four holes, the third and fourth out by so much."""
    return [
        Feature(part, f"{name.lower()}", "hole", across_mm=7.0, x_mm=x_mm + (out_mm if y_mm else 0.0), y_mm=y_mm,
                plus_minus_mm=0.1)
        for name, (x_mm, y_mm) in AT.items()
    ]  # fmt: skip


def build(*holdings: Holding) -> Build:
    studs = [
        Feature(host, name, "stud", thread="M6", x_mm=x_mm, y_mm=y_mm, plus_minus_mm=0.1)
        for host in ("cowl", "frame") for name, (x_mm, y_mm) in AT.items()
    ]  # fmt: skip
    parts = (
        Part("cowl", origin="host", seen_from="outside", duty="body"),
        Part("frame", origin="host", seen_from="outside", duty="body"),
        Part("dash", "dashboard", origin="donor", takes_place_of="cowl", seen_from="outside", duty="structural"),
        Part("skin", "leather top", origin="donor", takes_place_of="frame", part_of="dash", seen_from="outside",
             duty="trim"),
    )  # fmt: skip
    return Build(parts=parts, features=(*studs, *holes("dash", 30.0), *holes("skin", 0.0)), holdings=holdings)


def test_the_whole_does_not_go_on_and_its_skin_does() -> None:
    screws = Holding("skin", "dash", "s1", "screw", 6)
    clips = Holding("skin", "dash", "c1", "clip", 1, certain=False)
    verdict = partkin.check(build(screws, clips), "dash")
    assert verdict.verdict == "does not fit"
    assert [(level.part, level.verdict, level.within) for level in verdict.levels] == [("skin", "bolts on", True)]
    assert verdict.levels[0].says == (
        "skin (leather top), part of dash, goes on frame; "
        "to separate it from dash undo 6 screws (s1), 1 clip (c1, a guess)"
    )


def test_what_is_not_known_of_its_fasteners_is_said() -> None:
    assert "list it in held_by.csv" in partkin.check(build(), "dash").levels[0].says


def test_from_the_skin_the_whole_is_told_with_where_it_differs() -> None:
    level = partkin.check(build(), "skin").levels[0]
    assert (level.part, level.within) == ("dash", False)
    assert "does not go on cowl whole: it differs at" in level.says and "(F" in level.says
