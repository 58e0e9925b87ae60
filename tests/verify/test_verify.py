"""Verdict files are confirmed when true, and refused when anything in them or in the sheets was changed."""

from __future__ import annotations

import ast
import copy
from dataclasses import replace
from math import cos, pi, sin
from pathlib import Path

import pytest
from written import build_of, hole, parts, random_build, stud, verdict_of

import partkin.verify
from partkin.model.build import Build, Feature, Reading
from partkin.verify.verify import confirm, verify

SQUARE = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]


def fitting() -> Build:
    """Four studs and five holes, one of them a slot."""
    slot = Feature("donor", "s", "slot", across_mm=7.0, length_mm=12.0, angle_deg=30.0, x_mm=300.4, y_mm=200.0)
    studs = [stud(f"F{k}", *at) for k, at in enumerate(SQUARE)]
    holes = [hole("a", 0.2, 0.1), hole("b", 300.1, -0.2), hole("c", 0.0, 200.3)]
    return build_of(*studs, *holes, hole("spare", 77.0, 33.0, need="spare"), slot)


def turned_apart() -> Build:
    """Three pairs, of which every two agree and all three do not: the certificate needs weights.

    A triangle with equal sides, its corners out by r: two need r sqrt(3)/2 of play, all three need r.
    """
    corners = [(cos(2 * pi * k / 3), sin(2 * pi * k / 3)) for k in range(3)]
    studs = [stud(f"F{k}", round(100.33 * x, 4), round(100.33 * y, 4)) for k, (x, y) in enumerate(corners)]
    holes = [
        hole(f"d{k}", round(100 * x, 4), round(100 * y, 4), 6.6, goes_on=f"F{k}") for k, (x, y) in enumerate(corners)
    ]
    return build_of(*studs, *holes)


def not_given() -> Build:
    """Three studs in a triangle that no three of the four holes repeat."""
    studs = [stud("F0", 0.0, 0.0), stud("F1", 100.0, 0.0), stud("F2", 30.0, 70.0)]
    holes = [hole("a", 0.0, 0.0), hole("b", 100.2, 0.0), hole("c", 30.0, 72.4), hole("d", 55.0, 20.0)]
    return build_of(*studs, *holes)


CASES = {"fitting": fitting, "weights": turned_apart, "pairing not given": not_given}


@pytest.mark.parametrize("case", CASES)
def test_true_verdicts_are_confirmed(case):
    build = CASES[case]()
    assert verify(verdict_of(build), build) == ()


def test_the_cases_are_what_they_are_meant_to_be():
    assert verdict_of(fitting())["verdict"] == "bolts on"
    weights = verdict_of(turned_apart())
    assert weights["verdict"] == "does not fit" and len(weights["conflict"]["fixings"]) == 3
    assert any("weights" in p for n in weights["conflict"]["certificate"]["pairings"] for p in n["pieces"])
    assert len(verdict_of(not_given())["conflict"]["certificate"]["pairings"]) > 5


@pytest.mark.parametrize("seed", range(70))
def test_random_verdicts_are_confirmed(seed):
    build, mirrored = random_build(seed)
    assert verify(verdict_of(build, mirrored), build) == ()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(70, 600))
def test_many_random_verdicts_are_confirmed(seed):
    build, mirrored = random_build(seed)
    assert verify(verdict_of(build, mirrored), build) == ()


def test_it_shares_no_code_with_the_stages():
    modules = sorted(Path(partkin.verify.__file__).parent.glob("*.py"))
    assert len(modules) > 6
    allowed = ("partkin.model", "partkin.tables", "partkin.verify")
    for module in modules:
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            other = [name for name in names if name.startswith(("partkin", "numpy", "scipy"))]
            assert [name for name in other if not name.startswith(allowed)] == [], module.name


# Forgeries: every leaf that a claim rests on, changed one at a time.
CLAIMS = ("margin_mm", "placement", "pairs", "conflict", "verdict", "host", "donor")
# What a confirmation does not cover (it says so), or what may be written otherwise and still be true.
FREE = {("conflict", "says"), ("conflict", "shortfall_mm"), ("conflict", "local")}


def leaves(tree, path=()):
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from leaves(value, (*path, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            yield from leaves(value, (*path, index))
    else:
        yield path, tree


def changed(value):
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, (int, float)):
        return [value + 0.01, value - 0.01, -value - 1.0, None]
    if isinstance(value, str):
        return ["nonsense"]
    return [1]


def forged(tree, path, value):
    copied = copy.deepcopy(tree)
    at = copied
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    return copied


@pytest.mark.parametrize("case", CASES)
def test_any_changed_figure_is_refused(case):
    build = CASES[case]()
    true = verdict_of(build)
    tried = 0
    for path, value in leaves({key: true[key] for key in CLAIMS}):
        if path[:2] in FREE:
            continue
        for other in changed(value)[: 1 if "certificate" in path else None]:
            tried += 1
            assert verify(forged(true, path, other), build), (path, value, other)
    assert tried > 50


@pytest.mark.parametrize("case", CASES)
def test_anything_dropped_is_refused(case):
    build = CASES[case]()
    true = verdict_of(build)
    lists = [("pairs",)] if case == "fitting" else [
        ("conflict", "fixings"), ("conflict", "certificate", "pairings"),
        *(("conflict", "certificate", "pairings", k, part)
          for k in range(len(true["conflict"]["certificate"]["pairings"])) for part in ("pairs", "pieces")),
    ]  # fmt: skip
    if case != "fitting":
        nothing = {**true, "conflict": {**true["conflict"], "fixings": [], "features": []}}
        assert "the conflict names nothing that must be paired" in verify(nothing, build)
    for path in lists:
        whole = true
        for step in path:
            whole = whole[step]
        for k in range(len(whole)):
            assert verify(forged(true, path, whole[:k] + whole[k + 1 :]), build), (path, k)
        assert verify(forged(true, path, []), build), path


def test_another_word_is_refused():
    for case in CASES.values():
        build = case()
        true = verdict_of(build)
        for word in ("bolts on", "bolts on with adaptation", "does not fit", "not judged", "fits"):
            if word != true["verdict"]:
                assert verify({**true, "verdict": word}, build), word
    assert verify({**verdict_of(fitting()), "verdict": "not enough measured"}, fitting())


def test_pairs_swapped_or_made_twice_are_refused():
    build = fitting()
    true = verdict_of(build)
    pairs = true["pairs"]
    one, two = copy.deepcopy(pairs[0]), copy.deepcopy(pairs[1])
    one["feature"], two["feature"] = two["feature"], one["feature"]
    assert verify({**true, "pairs": [one, two, *pairs[2:]]}, build)
    assert any("twice" in why for why in verify({**true, "pairs": [*pairs, pairs[0]]}, build))


def test_a_stretched_or_sheared_matrix_is_refused():
    build = fitting()
    true = verdict_of(build)
    for row, column in ((0, 0), (0, 1), (2, 2), (3, 3)):
        matrix = copy.deepcopy(true["placement"]["matrix"])
        matrix[row][column] += 1e-6
        assert "rigid" in verify(forged(true, ("placement", "matrix"), matrix), build)[0]
    assert verify(forged(true, ("placement", "matrix"), true["placement"]["matrix"][:3]), build)


def shown_out_by(off_mm, **figures):
    """Two studs and holes laid as they were read, the second out by so much of its 0.5 mm of play, and a verdict."""
    build = build_of(stud("F0", 0, 0), stud("F1", 300, 0), hole("a", 0, 0), hole("b", 300 + off_mm, 0))
    tree = verdict_of(build_of(stud("F0", 0, 0), stud("F1", 300, 0), hole("a", 0, 0), hole("b", 300, 0)))
    margin_mm = round(0.5 - off_mm, 6)
    word = "out of reach" if margin_mm < 0 else "tight" if margin_mm < 0.1 else "lines up"
    tree["pairs"][1] |= {"offset_mm": off_mm, "margin_mm": margin_mm, "state": word} | figures
    return tree | {"margin_mm": margin_mm}, build


@pytest.mark.parametrize(
    ("off_mm", "figures", "true"),
    [
        (0.3, {}, True), (0.45, {}, True),
        # A place that is rounded to six decimals may lie so far out of reach, and no farther.
        (0.500009, {}, True), (0.500011, {}, False),
        # So do lengths; what they are rounded from may differ by two of the last figure.
        (0.3, {"offset_mm": 0.3000019}, True), (0.3, {"offset_mm": 0.3000021}, False),
        (0.3, {"offset_mm": 0.2999981}, True), (0.3, {"offset_mm": 0.2999979}, False),
        (0.3, {"allowed_mm": 0.500003}, False), (0.3, {"margin_mm": 0.200003}, False),
        # Just at a limit either word will do.
        (0.399999, {"state": "tight"}, True), (0.399997, {"state": "tight"}, False),
        (0.400001, {"state": "lines up"}, True), (0.400003, {"state": "lines up"}, False),
        (0.500001, {"state": "tight"}, True), (0.499999, {"state": "out of reach"}, True),
        (0.499997, {"state": "out of reach"}, False), (0.3, {"state": "blocked"}, False),
    ],
)  # fmt: skip
def test_figures_hold_to_what_they_are_rounded_to(off_mm, figures, true):
    assert (verify(*shown_out_by(off_mm, **figures)) == ()) == true


@pytest.mark.parametrize(("off_mm", "true"), [(0.0019, True), (-0.0019, True), (0.0021, False), (-0.0021, False)])
def test_the_margin_is_that_of_the_worst_pair(off_mm, true):
    tree, build = shown_out_by(0.3)
    assert (verify(tree | {"margin_mm": 0.2 + off_mm}, build) == ()) == true


@pytest.mark.parametrize("row", range(4))
@pytest.mark.parametrize("column", range(4))
def test_a_matrix_is_rigid_to_its_last_figure(row, column):
    tree, build = shown_out_by(0.3)
    for off, true in ((9e-10, True), (3e-9, False)):
        other = copy.deepcopy(tree)
        other["placement"]["matrix"][row][column] += off
        assert (verify(other, build) == ()) == (true or (column == 3 and row < 2))


def test_a_conflict_of_nothing_that_must_be_paired_is_refused():
    build = not_given()
    for given in (build, replace(build, features=tuple(replace(f, need="should") for f in build.features))):
        conflict = copy.deepcopy(verdict_of(build))
        conflict["conflict"] |= {"fixings": [], "features": []}
        assert "the conflict names nothing that must be paired" in verify(conflict, given)


def test_lowered_offsets_are_refused():
    build = fitting()
    true = verdict_of(build)
    for k in range(4):
        forgery = copy.deepcopy(true)
        forgery["pairs"][k]["offset_mm"] = 0.0
        forgery["pairs"][k]["margin_mm"] = forgery["pairs"][k]["allowed_mm"]
        assert any("offset_mm" in why for why in verify(forgery, build))


def test_a_part_of_the_fixings_is_short_by_no_more_than_all_of_them():
    build = not_given()
    true = verdict_of(build)
    most = -true["margin_mm"]
    assert 0.0 < true["conflict"]["shortfall_mm"] <= most + 1e-6
    for wrong in (0.0, -0.1, most + 0.1):
        refused = verify(forged(true, ("conflict", "shortfall_mm"), wrong), build)
        assert any(why.startswith(f"a shortfall of {wrong} mm does not go with") for why in refused), wrong


def test_changed_sheets_are_refused():
    build = fitting()
    true = verdict_of(build)
    for k, feature in enumerate(build.features):
        if feature.need == "spare":
            continue
        for other in (replace(feature, x_mm=feature.x_mm + 0.3), replace(feature, across_mm=feature.across_mm - 0.1)):
            sheets = replace(build, features=(*build.features[:k], other, *build.features[k + 1 :]))
            assert verify(true, sheets), feature.feature
    more = replace(build, features=(*build.features, stud("F9", 150.0, 90.0)))
    assert verify(true, more) == ("F9 must be paired and is not",)


def test_sheets_mended_so_that_it_fits_refuse_the_old_conflict():
    for case, name, at in (("weights", "F0", (100.0, 0.0)), ("pairing not given", "F2", (30.0, 72.4))):
        build = CASES[case]()
        true = verdict_of(build)
        features = tuple(replace(f, x_mm=at[0], y_mm=at[1]) if f.feature == name else f for f in build.features)
        assert any("not ruled out" in why for why in verify(true, replace(build, features=features)))
    build = not_given()
    more = replace(build, features=(*build.features, hole("e", 30.0, 70.0)))
    assert any("nothing rules out" in why for why in verify(verdict_of(build), more))


def test_a_conflict_of_fixings_that_need_not_be_paired_is_refused():
    build = not_given()
    true = verdict_of(build)
    spare = replace(build, features=tuple(
        replace(f, kind="tapped hole", need="spare") if f.part == "host" and f.feature == "F2" else f
        for f in build.features
    ))  # fmt: skip
    assert "F2 need not be paired" in verify(true, spare)


def test_the_face_that_is_up_counts():
    build, mirrored = next(b for b in map(random_build, range(40)) if b[1] and verdict_of(*b)["verdict"] == "bolts on")
    true = verdict_of(build, mirrored)
    assert verify(true, build) == ()
    other = replace(build, parts=parts("outside", "outside"))
    assert "the wrong face of the donor is up" in verify(true, other)
    unknown = confirm(true, replace(build, parts=parts("outside", None)))
    assert unknown.refused == () and any("other face" in what for what in unknown.as_stated)


def test_with_the_face_unknown_a_conflict_has_to_hold_for_both():
    build = replace(turned_apart(), parts=parts("outside", None))
    one, other = verdict_of(build, False), verdict_of(build, True)
    assert any("other face" in why for why in verify(one, build))
    both = copy.deepcopy(one)
    both["conflict"]["certificate"]["pairings"] += other["conflict"]["certificate"]["pairings"]
    assert verify(both, build) == ()


def test_places_from_distances_are_taken_as_the_verdict_states_them_and_said_so():
    build = fitting()
    true = verdict_of(build)
    rows = ("r1", "centres", 300.0, "a", "b"), ("r2", "centres", 200.75, "a", "c"), ("r3", "far edges", 250.0, "a", "c")
    rows += ("r4", "centres", 50.0, "x", "a"), ("r5", "centres", 50.0, "b", "x")  # nobody knows where x is
    measured = replace(
        build, readings=tuple(Reading("donor", name, what, value, "mm", *ends) for name, what, value, *ends in rows)
    )
    assert "does not state them" in verify({**true, "positions": None}, measured)[0]
    # Stated are none, as of what nothing is known of: then what rests on a place is refused.
    assert "a place or a size of F0 or a is not written" in verify(true, measured)[0]
    stated = {f.feature: [f.x_mm, f.y_mm] for f in build.features if f.part == "donor"}
    found = confirm({**true, "positions": {"donor": stated}}, measured)
    assert found.refused == () and any("places of donor" in what for what in found.as_stated)
    # From c to a are 200.2 mm, and r2 says 200.75.
    assert "(farthest from reading r2, by 0.55 mm)" in " ".join(found.as_stated)
    stated["a"] = [5.0, 5.0]
    assert verify({**true, "positions": {"donor": stated}}, measured)
    # Without distances the sheet itself is read, whatever the file says.
    assert verify({**true, "positions": {"donor": stated}}, build) == ()


def test_it_goes_on_only_by_what_is_written():
    """A size that nobody wrote could be any: it helps a claim that it does not go on, and none that it does."""
    build = fitting()
    unread = tuple(replace(f, across_mm=None) if f.feature == "F0" else f for f in build.features)
    assert any(
        "a size of F0 or a is not written" in why for why in verify(verdict_of(build), replace(build, features=unread))
    )


def test_a_newer_reading_of_a_hole_counts():
    build = fitting()
    true = verdict_of(build)
    smaller = Reading("donor", "r1", "across", 0.66, "cm", "a")
    assert any("allowed_mm" in why for why in verify(true, replace(build, readings=(smaller,))))
    corrected = Reading("donor", "r2", "across", 7.0, "mm", "a", corrects="r1")
    assert verify(true, replace(build, readings=(smaller, corrected))) == ()


def test_restraint_parts_and_part_numbers():
    bag = replace(fitting(), parts=tuple(replace(p, duty="restraint") for p in parts()))
    empty = {key: None for key in ("chance", "margin_mm", "placement", "conflict")}
    said = {"host": "host", "donor": "donor", "measured_from": "host", **empty, "pairs": [], "adaptations": []}
    assert verify({**said, "verdict": "not judged"}, bag) == ()
    assert verify({**said, "verdict": "not judged"}, fitting())
    assert verify({**said, "verdict": "not judged", "margin_mm": 0.3}, bag)
    same = replace(fitting(), parts=tuple(replace(p, part_number="55 012") for p in parts()))
    assert verify({**said, "verdict": "bolts on"}, same) == ()
    assert verify({**said, "verdict": "bolts on"}, fitting())


@pytest.mark.parametrize("junk", [{}, [], {"verdict": "bolts on"}, {"verdict": 3}, None, {"verdict": "does not fit"}])
def test_what_is_no_verdict_is_refused_and_never_raises(junk):
    assert verify(junk, fitting())


def test_a_flat_placement_is_not_confirmed_where_heights_differ():
    build = fitting()
    true = verdict_of(build)
    level = replace(build, features=tuple(replace(f, z_mm=1.0) for f in build.features))
    assert verify(true, level) == ()
    lifted = replace(build, features=tuple(replace(f, z_mm=float(k)) for k, f in enumerate(build.features)))
    assert "the placement is flat" in verify(true, lifted)[0]
    one = tuple(replace(f, z_mm=1.0 if f.part == "host" else None) for f in build.features)
    assert verify(true, replace(build, features=one)) == ()
    bent = tuple(replace(f, z_mm=float(k) if f.part == "host" else None) for k, f in enumerate(build.features))
    assert "the placement is flat" in verify(true, replace(build, features=bent))[0]
