"""Which features can go together, and with how much play."""

from __future__ import annotations

import pytest

from partkin.fit.mating import mate, play_rule, threads_clash
from partkin.model.build import Feature
from partkin.model.mating import DonorFeature, Fixing, Mating, Size
from partkin.model.words import KINDS
from partkin.tables.reader import read
from partkin.tables.threads import NearMiss


def pair(host: Feature, donor: Feature) -> Mating:
    def size(f: Feature) -> tuple[Size, Size]:
        return Size(f.across_mm), Size(f.length_mm)

    return mate(Fixing(host, *size(host)), DonorFeature(donor, *size(donor)))


def host(kind: str, across_mm: float | None, **more: object) -> Feature:
    return Feature("h", "F1", kind, across_mm=across_mm, **more)


def donor(kind: str, across_mm: float | None, **more: object) -> Feature:
    return Feature("d", "a", kind, across_mm=across_mm, **more)


@pytest.mark.parametrize(
    ("one", "other", "allowed_mm"),
    [
        (host("stud", 6.0), donor("hole", 7.0), 0.5),
        (host("tapped hole", 8.0), donor("slot", 9.0, length_mm=15.0), 0.5),
        (host("captive nut", 5.0, float_mm=1.0), donor("hole", 7.0), 2.0),
        (host("hole", 7.0), donor("captive nut", 5.0, float_mm=0.5), 1.5),
        (host("hole", 9.0, fastener_mm=8.0), donor("hole", 8.6), 0.8),
        (host("hole", 9.0, thread="M8"), donor("hole", 9.0, fastener_mm=6.0), 1.0),
        (host("hole", 9.0), donor("hole", 9.0, fastener_mm=8.0), 1.0),
        (host("peg hole", 8.0), donor("peg", 7.0), 0.5),
    ],
)
def test_play(one: Feature, other: Feature, allowed_mm: float) -> None:
    """Formulas: ASME Y14.5 fixed and floating."""
    found = pair(one, other)
    assert found.blocked is None and found.option
    assert found.allowed_mm == pytest.approx(allowed_mm)


@pytest.mark.parametrize("clip_on_host", [True, False])
@pytest.mark.parametrize(
    ("clip_mm", "hole_mm", "material", "allowed_mm", "why"),
    [
        (8.6, 8.0, "sheet steel", 0.0, None),
        (8.6, 8.0, None, 0.0, None),
        (8.6, 8.0, "ABS", 0.5, None),
        (7.5, 8.0, "sheet steel", 0.25, None),
        (7.5, 8.0, "ABS", 0.5, None),
        (12.0, 8.0, "ABS", -0.5, "a clip of 12 mm does not go into a hole of 8 mm"),
        (8.0, 12.0, "ABS", -1.5, "a clip of 8 mm does not hold in a hole of 12 mm"),
    ],
)
def test_a_clip_goes_by_its_table_on_whichever_side_it_is(
    clip_on_host: bool, clip_mm: float, hole_mm: float, material: str | None, allowed_mm: float, why: str | None
) -> None:
    """data/tables/clips.csv: common practice, no source."""
    clip, hole = Size(clip_mm), Size(hole_mm)
    if clip_on_host:
        found = mate(
            Fixing(host("clip", clip_mm), clip, Size(None), material="sheet steel"),
            DonorFeature(donor("clip hole", hole_mm), hole, Size(None), material=material),
        )
    else:
        found = mate(
            Fixing(host("clip hole", hole_mm), hole, Size(None), material=material),
            DonorFeature(donor("clip", clip_mm), clip, Size(None), material="ABS"),
        )
    assert found.option and found.blocked == why
    assert found.allowed_mm == pytest.approx(allowed_mm)


@pytest.mark.parametrize(
    ("one", "other", "allowed_mm"),
    [
        (host("stud", 8.0), donor("hole", 7.0), -0.5),
        (host("captive nut", 8.0, float_mm=2.0), donor("hole", 7.0), -0.5),
        (host("hole", 20.0, fastener_mm=16.0), donor("hole", 15.0), -0.5),
    ],
)
def test_too_large_is_blocked_however_much_play_there_is(one: Feature, other: Feature, allowed_mm: float) -> None:
    found = pair(one, other)
    assert found.blocked and found.option
    assert found.allowed_mm == pytest.approx(allowed_mm)


def test_kinds_that_never_go_together() -> None:
    never = [("stud", "stud"), ("tapped hole", "tapped hole"), ("stud", "captive nut"), ("peg", "stud")]
    never.append(("clip", "peg hole"))
    assert all(play_rule(*kinds) is None for kinds in never)
    assert all(play_rule(a, b) is None or play_rule(b, a) is not None for a in KINDS for b in KINDS)


def test_what_is_not_known_is_named() -> None:
    assert pair(host("stud", 6.0), donor("hole", None)).lacks == (("donor", "across"),)
    assert pair(host("hole", 9.0), donor("hole", 9.0)).lacks == (("host", "fastener"),)
    assert pair(host("stud", 6.0), donor("slot", 7.0)).lacks == (("donor", "length"),)


def test_a_nut_of_unknown_screw_floats_all_the_same() -> None:
    """At most a screw as thin as can be, and the float of the nut besides."""
    assert pair(host("captive nut", None, float_mm=0.5), donor("hole", 8.0)).most_mm == pytest.approx(4.5)


def test_a_screw_of_another_thread_is_no_option() -> None:
    found = pair(host("tapped hole", None, thread="M8x1.25"), donor("hole", 9.0, thread="5/16-18"))
    assert not found.option and "strip" in (found.blocked or "")


def test_threads_that_start_in_each_other_are_refused_and_named() -> None:
    """Every row of data/tables/near_misses.csv; what its pitches and diameters say is held by tests/sheets."""
    for miss in read("near_misses.csv", NearMiss):
        nut = host("tapped hole", None, thread=miss.thread_a)
        clash = threads_clash(nut, donor("hole", None, thread=miss.thread_b))
        assert clash is not None and miss.thread_a in clash and miss.thread_b in clash, miss
        assert threads_clash(nut, donor("hole", None, thread=miss.thread_a)) is None
