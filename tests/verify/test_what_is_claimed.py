"""Decided verdicts of the program are confirmed, whatever they rest on: numbers, kinds alone, one face for both."""

from __future__ import annotations

import json
from dataclasses import replace

import partkin
from builders import build, holes, studs
from partkin.model.build import Build, Feature, Part, Reading
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import Confirmation, confirm

PLATE = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]
OFF = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 208.0)]


def checked(made: Build, word: str) -> Confirmation:
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == word
    return confirm(json.loads(verdict_json(verdict)), made)


def numbered(donor: str, host: str = "AB-12.3", replaces: tuple[str, ...] = ()) -> Build:
    made = build(studs(PLATE), holes(OFF))
    numbers = {"host": (host, ()), "donor": (donor, replaces)}
    return replace(
        made, parts=tuple(replace(p, part_number=numbers[p.part][0], replaces=numbers[p.part][1]) for p in made.parts)
    )


def test_a_number_decides_although_what_was_measured_says_no() -> None:
    for made in (numbered("ab 12 3"), numbered("CD-1", replaces=("AB 12.3",))):
        assert checked(made, "bolts on") == Confirmation(
            (), ("that parts of one number, or of one that replaces it, are alike",)
        )


def test_figures_beside_a_number_have_to_be_true() -> None:
    made = numbered("ab 12 3")
    claimed = json.loads(verdict_json(partkin.check(made, "donor")))
    for key, off in (("offset_mm", 0.01), ("margin_mm", -0.01)):
        pairs = [{**pair, key: pair[key] + off * (n == 2)} for n, pair in enumerate(claimed["pairs"])]
        (refused,) = {fault.split(" is ")[0] for fault in confirm({**claimed, "pairs": pairs}, made).refused}
        assert refused == f"{key} of a3 on F3"


def test_a_number_that_the_hosts_own_replaces_speaks_for_nothing() -> None:
    made = numbered("old-1", host="new-2")
    made = replace(made, parts=tuple(replace(p, replaces=("old-1",) if p.part == "host" else ()) for p in made.parts))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "does not fit"
    claimed = json.loads(verdict_json(verdict)) | {"verdict": "bolts on", "pairs": []}
    assert confirm(claimed, made).refused


def test_a_part_that_must_be_used_and_goes_on_nothing_needs_no_heights() -> None:
    host = [replace(f, z_mm=float(n)) for n, f in enumerate(studs(PLATE))]
    peg = Feature("donor", "peg", "peg", across_mm=8.0, need="must")
    assert checked(build(host, [*holes(PLATE), peg]), "does not fit").refused == ()


def test_of_two_fixings_one_face_stands_for_both() -> None:
    """Two studs known by their distance alone are their own mirror image."""
    host = [replace(f, x_mm=None, y_mm=None) for f in studs([(0.0, 0.0), (600.0, 0.0)])]
    apart = Reading("host", "r1", "centres", 600.0, "mm", "F1", "F2", plus_minus=0.5)
    made = replace(build(host, holes([(0.0, 0.0), (630.0, 0.0), (100.0, 40.0)])), readings=(apart,))
    assert checked(made, "does not fit").refused == ()


def test_where_nothing_must_be_paired_each_pair_is_ruled_out_by_itself() -> None:
    host = [replace(f, kind="hole", thread="M8") for f in studs(PLATE, across_mm=7.0, need="should")]
    made = build(host, holes(PLATE, need="spare"))
    assert checked(made, "does not fit").refused == ()
    claimed = json.loads(verdict_json(partkin.check(made, "donor")))
    claimed["conflict"]["certificate"]["pairings"].pop()
    assert "nothing rules out" in confirm(claimed, made).refused[0]


def test_kinds_alone_keep_off_what_should_be_paired() -> None:
    host = [replace(f, kind="peg") for f in studs(PLATE, need="should")]
    donor = [replace(f, kind="clip") for f in holes(PLATE)]
    made = replace(build(host, donor), parts=(*build(host, donor).parts, Part("other", origin="donor")))
    assert checked(made, "does not fit").refused == ()
