"""Interchange at every level: the whole does not go on, its skin does, and what has to be separated is named."""

from __future__ import annotations

from dataclasses import replace

import partkin
from partkin.model.build import Build, Feature, Holding, Offer, Part, Settings

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
             duty="trim", airbag=False),
    )  # fmt: skip
    return Build(parts=parts, features=(*studs, *holes("dash", 30.0), *holes("skin", 0.0)), holdings=holdings)


def test_the_whole_does_not_go_on_and_its_skin_does() -> None:
    screws = Holding("skin", "dash", "s1", "screw", 6)
    clips = Holding("skin", "dash", "c1", "clip", 1, certain=False)
    verdict = partkin.check(build(screws, clips), "dash")
    assert verdict.verdict == "does not fit"
    assert [(level.part, level.verdict, level.within) for level in verdict.levels] == [("skin", "bolts on", True)]
    # One sentence says both, with what has to be separated by the plan: 6 screws and a clip (work times of the tables).
    assert verdict.levels[0].says == (
        "the whole dashboard (dash) does not go on cowl: it differs at 4 fixings (F1, F2, F3, F4); its leather top "
        "(skin) does, on frame; to separate it undo 6 screws (s1), 1 clip (c1, a guess): about 3 min in hand; "
        "strip lists the steps"
    )


def test_what_is_not_known_of_its_fasteners_is_said() -> None:
    assert "list it in held_by.csv" in partkin.check(build(), "dash").levels[0].says


def test_from_the_skin_the_whole_is_told_with_where_it_differs() -> None:
    level = partkin.check(build(), "skin").levels[0]
    assert (level.part, level.within) == ("dash", False)
    assert level.says.startswith("the whole dashboard (dash) does not go on cowl: it differs at 4 fixings (F1, ")
    assert "; its leather top (skin) does, on frame; what holds it" in level.says


def test_what_is_in_the_way_is_named_and_what_cannot_be_separated_is_said() -> None:
    first = build(Holding("skin", "dash", "s1", "screw", 4, behind=(("vent",),)), Holding("vent", "dash", "s2", "clip"))
    first = replace(first, parts=(*first.parts, Part("vent", duty="trim")))
    says = partkin.check(first, "dash").levels[0].says
    assert "to separate it take off vent first and undo " in says and "4 screws (s1)" in says
    glued = (
        Holding("skin", "dash", "s1", "screw", 4, behind=(("a",),)),
        Holding("a", "dash", "s2", "screw", 1, behind=(("skin",),)),
    )
    first = replace(first, parts=(*first.parts[:4], Part("a", duty="trim")), holdings=glued)
    assert "it cannot be separated: " in partkin.check(first, "dash").levels[0].says


def test_three_levels_are_judged_each_for_its_own_place() -> None:
    first = build(Holding("skin", "dash", "s1", "screw", 6))
    stitching = Part(
        "stitching",
        "stitched panel",
        origin="donor",
        takes_place_of="frame",
        part_of="skin",
        seen_from="outside",
        duty="trim",
        airbag=False,
    )
    first = replace(first, parts=(*first.parts, stitching), features=(*first.features, *holes("stitching", 9.0)))
    assert [(one.part, one.verdict, one.within) for one in partkin.check(first, "dash").levels] == [
        ("skin", "bolts on", True),
        ("stitching", "bolts on with adaptation", True),
    ]
    assert [(one.part, one.within) for one in partkin.check(first, "skin").levels] == [
        ("stitching", True),
        ("dash", False),
    ]


def test_the_best_level_stands_in_the_ranking() -> None:
    first = build(Holding("skin", "dash", "s1", "screw", 6))
    first = replace(first, offers=(Offer("donor", "dash", 200.0, 30.0), Offer("donor", "skin", 90.0, 10.0)))
    whole = partkin.rank(first, "cowl").ways[0]
    assert (whole.part, whole.ruled_out, whole.level) == ("dash", "does not fit", "skin")
    assert any("its leather top (skin) does" in text for text in whole.says)
    # Where only the whole is for sale, its skin is bought with it and taken out: 6 screws, 0.5 min each in the table.
    only_whole = replace(first, offers=first.offers[:1], settings=Settings(currency="EUR", labour_rate=40.0))
    skin = partkin.rank(only_whole, "frame").ways[0]
    assert (skin.part, skin.price, skin.carriage, skin.labour) == ("skin", 200.0, 30.0, 2.0)
    assert any("it comes with dash: it has to be separated (about 3 min, counted as hours)" in t for t in skin.says)
    skin = partkin.rank(first, "frame").ways[0]
    assert (skin.part, skin.ruled_out, skin.level) == ("skin", None, "skin")
