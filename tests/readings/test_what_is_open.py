"""What keeps a verdict open is asked for by name: sides, layouts, slips, and the fewest readings of a loose hole."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from builders import build, holes, studs
from partkin.commands import asking_next
from partkin.graph import known_of
from partkin.model.build import Build, Feature, Reading
from partkin.model.verdict import Unknown
from partkin.pipeline import check
from partkin.positions import adjust
from partkin.readings import untied
from partkin.report.verdict_file import verdict_json
from partkin.trial import trying
from partkin.verify.verify import confirm
from readings.panels import LEANING, all_pairs, panel

MIRRORED = [(x, -y) for x, y in LEANING]


def asked(build: Build) -> list[tuple[str | None, str | None, str | None]]:
    return [(u.quantity, u.from_feature, u.to_feature) for u in check(build, "donor").unknown]


# Left or right


def test_distances_alone_ask_for_left_or_right() -> None:
    verdict = check(panel(LEANING, all_pairs(4)), "donor")
    assert verdict.verdict == "not enough measured"
    (only,) = verdict.unknown
    assert (only.quantity, only.from_feature, only.to_feature) == ("left of", "a3", "a0 a2")
    assert "Looking at donor from the outside and going from a0 to a2: is a3 on the left or on the right" in only.says
    assert verdict.next_step == f"Next: {only.says}"


@pytest.mark.parametrize(("points", "side"), [(LEANING, "left"), (MIRRORED, "left")])
@pytest.mark.parametrize("face", ["outside", "inside"])
def test_where_all_agrees_but_for_this_the_verdict_says_so_first(points: list, side: str, face: str) -> None:
    """The mirror image has the same distances. Seen from the other face what has to be left is right."""
    verdict = check(panel(points, all_pairs(4), host=LEANING, face=face), "donor")
    lies = side if face == "outside" else "right"
    assert verdict.verdict == "not enough measured"
    assert verdict.says == (
        f"donor (side panel) bolts on host, unless it is a mirror image: look whether a3 lies {lies} of a0 to a2."
    )


@pytest.mark.parametrize(("quantity", "word"), [("left of", "bolts on"), ("right of", "does not fit")])
def test_the_answer_settles_it(quantity: str, word: str) -> None:
    build = panel(LEANING, all_pairs(4))
    seen = Reading("donor", "s1", quantity, None, None, "a3", line_from="a0", line_to="a2")
    told = replace(build, readings=(*build.readings, seen))
    verdict = check(told, "donor")
    assert verdict.verdict == word
    assert confirm(json.loads(verdict_json(verdict)), told).refused == ()


@pytest.mark.parametrize(("hands", "word"), [
    (("left", "left"), "bolts on"), (("left", "right"), "not enough measured"), (("left", None), "not enough measured"),
])  # fmt: skip
def test_of_one_hand_a_mirror_image_is_not_asked_about(hands: tuple, word: str) -> None:
    build = panel(LEANING, all_pairs(4))
    parts = tuple(replace(part, hand=hand) for part, hand in zip(build.parts, hands, strict=True))
    verdict = check(replace(build, parts=parts), "donor")
    assert verdict.verdict == word
    assert any(one.quantity == "left of" for one in verdict.unknown) == (word != "bolts on")
    says = [reason.says for reason in verdict.reasons]
    assert any("both parts are for the left, and a mirror image would be the other" in s for s in says) == (
        word == "bolts on"
    )


def test_of_one_hand_what_goes_on_neither_way_does_not_fit() -> None:
    moved = [*LEANING[:3], (60.0, 280.0)]
    build = panel(moved, all_pairs(4), host=LEANING)
    told = replace(build, parts=tuple(replace(part, hand="left") for part in build.parts))
    verdict = check(told, "donor")
    assert verdict.verdict == "does not fit"
    assert confirm(json.loads(verdict_json(verdict)), told).refused == ()


@pytest.mark.parametrize("answer", ["left", "right"])
def test_the_commands_of_an_answer_say_it(answer: str) -> None:
    build = panel(LEANING, all_pairs(4))
    text = asking_next.next_text(asking_next.next_for(build, "donor"), ".")
    (command,) = [line for line in text.splitlines() if line.strip().startswith(f"{answer}:")]
    assert command.split(":")[1].strip() == f"partkin record donor a3 --{answer}-of a0 a2"


def test_answers_that_contradict_each_other_leave_it_open_and_are_asked_for_again() -> None:
    build = panel(LEANING, all_pairs(4))
    seen = [
        Reading("donor", "s1", "left of", None, None, "a3", line_from="a0", line_to="a2"),
        Reading("donor", "s2", "left of", None, None, "a1", line_from="a0", line_to="a2"),
    ]
    verdict = check(replace(build, readings=(*build.readings, *seen)), "donor")
    assert verdict.verdict == "not enough measured"
    assert [one.what for one in verdict.unknown] == ["reading s1", "reading s2"]
    text = asking_next.next_text(asking_next.next_for(replace(build, readings=(*build.readings, *seen)), "donor"), ".")
    assert "partkin record donor a1 --right-of a0 a2 --corrects s2" in text


def test_an_answer_against_the_stated_places_is_told() -> None:
    """Places were written down with y the wrong way: nothing is decided until one of the two is mended."""
    build = panel(LEANING, placed=range(4))
    seen = Reading("donor", "s1", "right of", None, None, "a3", line_from="a0", line_to="a2")
    verdict = check(replace(build, readings=(seen,)), "donor")
    assert verdict.verdict == "not enough measured"
    assert "s1: a3 is said to lie right of a0 to a2" in verdict.unknown[0].says + verdict.unknown[-1].says


def test_an_answer_tells_layouts_apart() -> None:
    """Without the distance from a1 to a3 the one may be folded over the line of the others; a look tells."""
    build = panel(LEANING, [pair for pair in all_pairs(4) if pair != (1, 3)])
    both = [
        Reading("donor", "s1", "left of", None, None, "a3", line_from="a0", line_to="a2"),
        Reading("donor", "s2", "right of", None, None, "a1", line_from="a0", line_to="a2"),
    ]
    assert len(adjust("donor", build.features, build.readings).layouts) == 2
    found = adjust("donor", build.features, (*build.readings, *both))
    assert found.handed and len(found.layouts) == 1
    assert check(replace(build, readings=(*build.readings, *both)), "donor").verdict == "bolts on"


def test_where_both_sides_agree_nothing_is_asked() -> None:
    rectangle = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]
    assert check(panel(rectangle, all_pairs(4), given=False), "donor").verdict == "bolts on"


def test_the_face_is_asked_for_beside_the_side_where_it_is_blank() -> None:
    assert [one[0] for one in asked(panel(LEANING, all_pairs(4), face=None))] == ["left of", "seen_from"]
    assert [one[0] for one in asked(panel(LEANING, placed=range(4), face=None))] == ["seen_from"]


# Layouts


def test_two_layouts_ask_for_the_reading_between_them() -> None:
    build = panel(LEANING, [pair for pair in all_pairs(4) if pair != (1, 3)])
    verdict = check(build, "donor")
    assert verdict.verdict == "not enough measured"
    assert (verdict.unknown[0].quantity, verdict.unknown[0].from_feature, verdict.unknown[0].to_feature) == (
        "centres", "a1", "a3",
    )  # fmt: skip
    assert "it is 223 mm or 422 mm" in verdict.unknown[0].says


def chain(count: int) -> tuple[Build, list]:
    """Holes tied to the first two by two distances each: every one on either side of their line."""
    points = [(0.0, 0.0), (500.0, 0.0), *((60.0 + 90.0 * at, 100.0 + 13.0 * at * (at % 3)) for at in range(count))]
    pairs = [(0, 1), *((base, at) for at in range(2, len(points)) for base in (0, 1))]
    return panel(points, pairs, placed=(0, 1)), points


def test_more_layouts_than_are_tried_never_settle_anything() -> None:
    """Five holes, each on either side: 32 layouts, of which eight are tried. All tried ones fail, and yet."""
    build, _ = chain(5)
    places = trying.places_of(known_of(build, "donor"))
    assert trying.layouts_left_out(places)
    verdict = check(build, "donor")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].quantity == "centres"


def test_few_layouts_are_all_tried() -> None:
    build, _ = chain(2)
    places = trying.places_of(known_of(build, "donor"))
    assert not trying.layouts_left_out(places)
    assert len(trying.trials(known_of(build, "donor"), places, 0.95)) == 4
    assert check(build, "donor").verdict == "not enough measured"


def test_layouts_that_all_fail_settle_it() -> None:
    """The two placed holes are 9 mm too far apart: no side of the others mends that."""
    host = [(0.0, 0.0), (491.0, 0.0), (60.0, 100.0), (150.0, 113.0)]
    donor = [(0.0, 0.0), (500.0, 0.0), (60.0, 100.0), (150.0, 113.0)]
    pairs = [(0, 1), (0, 2), (1, 2), (0, 3), (1, 3)]
    assert check(panel(donor, pairs, placed=(0, 1), host=host), "donor").verdict == "does not fit"


# Slips


def test_a_slip_that_could_be_any_of_three_leaves_it_open() -> None:
    build = panel(LEANING, [(0, 3), (1, 3), (2, 3)], placed=(0, 1, 2))
    readings = (*build.readings[:2], replace(build.readings[2], value=build.readings[2].value - 50.0))
    verdict = check(replace(build, readings=readings), "donor")
    assert verdict.verdict == "not enough measured"
    assert {u.what for u in verdict.unknown} == {"reading r0", "reading r1", "reading r2"}
    assert all("read it again" in u.says for u in verdict.unknown)


def test_a_slip_that_matters_to_nothing_does_not_hold_the_verdict_up() -> None:
    """Two other holes are 9 mm too far apart whichever of the three readings is wrong."""
    host = [(0.0, 0.0), (391.0, 0.0), *LEANING[2:]]
    build = panel(LEANING, [(0, 3), (1, 3), (2, 3)], placed=(0, 1, 2), host=host)
    readings = (*build.readings[:2], replace(build.readings[2], value=build.readings[2].value - 50.0))
    assert check(replace(build, readings=readings), "donor").verdict == "does not fit"


def test_a_slip_that_is_plain_is_left_out() -> None:
    build = panel(LEANING, all_pairs(4), placed=range(4))
    readings = (replace(build.readings[0], value=437.0), *build.readings[1:])
    verdict = check(replace(build, readings=readings), "donor")
    assert verdict.verdict == "bolts on"
    assert "37 mm more than the other readings allow; left out" in verdict.unknown[0].says


# Loose holes


def test_a_loose_hole_takes_two_distances_and_a_look() -> None:
    verdict = check(panel(LEANING, placed=(0, 1, 2)), "donor")
    assert verdict.verdict == "not enough measured"
    first, second = verdict.unknown[:2]
    assert {first.from_feature, second.from_feature} == {"a3"}
    anchors = {first.to_feature, second.to_feature}
    assert len(anchors) == 2
    told = re.search(
        r"in two places then, a look whether it lies left or right of (a\d) to (a\d) tells which", first.says
    )
    assert set(told.groups()) == anchors
    assert len([u for u in verdict.unknown if u.quantity == "centres"]) == 2


def test_one_distance_that_is_read_already_counts() -> None:
    verdict = check(panel(LEANING, [(0, 3)], placed=(0, 1, 2)), "donor")
    (one,) = verdict.unknown
    assert (one.from_feature, one.quantity) == ("a3", "centres")
    assert one.to_feature in ("a1", "a2")
    assert "mm is just right" in one.says and "means that it bolts on" in one.says


@pytest.mark.parametrize(
    ("y_mm", "handed", "tells"),
    [
        (0.3, True, None),
        (15.0, True, "d to c"),
        (40.0, True, "a look whether it lies left or right of a to b"),
        (40.0, False, "d to c"),
    ],
)
def test_what_tells_a_place_from_its_mirror_image(y_mm: float, handed: bool, tells: str | None) -> None:
    """On the line of the two they are one; 15 mm beside it no glance tells; 40 mm it does, on a known face."""
    at = {"a": np.array([0.0, 0.0]), "b": np.array([400.0, 0.0]), "c": np.array([200.0, 150.0])}
    spot = untied.UnplacedFeature("d", np.array([200.0, y_mm]), 1.0, ())
    assert untied._telling_which(spot, at, ["a", "b"], handed) == tells


@pytest.mark.parametrize("off_mm", [0.0, 9.0])
def test_the_fewest_readings_do_settle_it(off_mm: float) -> None:
    """Take the readings that are asked for, one after the other, until nothing is open."""
    points = [*LEANING[:3], (LEANING[3][0] + off_mm, LEANING[3][1])]
    truth = np.array(points)
    build = panel(points, placed=(0, 1, 2), host=LEANING)
    taken: list[Reading] = []
    for turn in range(4):
        verdict = check(replace(build, readings=tuple(taken)), "donor")
        if verdict.verdict != "not enough measured":
            break
        taken.append(answer_to(verdict.unknown[0], truth, f"n{turn}"))
    assert verdict.verdict == ("bolts on" if off_mm == 0.0 else "does not fit")
    distances = [row.quantity == "centres" for row in taken]
    assert distances == ([True, True, False] if off_mm == 0.0 else [True] * len(taken))


def answer_to(one: Unknown, truth: np.ndarray, name: str, wrong: bool = False) -> Reading:
    """What somebody reads who is asked this; `wrong`: who mixes up left and right."""
    at = {f"a{number}": point for number, point in enumerate(truth)}
    if one.quantity == "centres":
        value = float(np.linalg.norm(at[one.from_feature] - at[one.to_feature]))
        return Reading(
            "donor", name, "centres", value, "mm", one.from_feature, one.to_feature, plus_minus=0.3, instrument="tape"
        )
    begin, end = one.to_feature.split()
    (bx, by), (cx, cy) = at[end] - at[begin], at[one.from_feature] - at[begin]
    side = "left of" if (bx * cy - by * cx > 0.0) != wrong else "right of"
    return Reading("donor", name, side, None, None, one.from_feature, line_from=begin, line_to=end)


@pytest.mark.parametrize("given", [True, False])
def test_left_and_right_mixed_up_sends_no_part_away(given: bool) -> None:
    """A look that puts a hole where the donor cannot go on is asked for once more; looked at again it stands."""
    build = panel(LEANING, placed=(0, 1, 2))
    if not given:
        build = replace(build, features=tuple(replace(one, goes_on=None) for one in build.features))
    truth = np.array(LEANING)
    taken = [
        Reading("donor", f"n{at}", "centres", float(np.linalg.norm(truth[at] - truth[3])), "mm", f"a{at}", "a3",
                plus_minus=0.3, instrument="tape")
        for at in (0, 1)
    ]  # fmt: skip
    asked = check(replace(build, readings=tuple(taken)), "donor").unknown[0]
    assert asked.quantity == "left of"
    taken.append(answer_to(asked, truth, "n2", wrong=True))
    verdict = check(replace(build, readings=tuple(taken)), "donor")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].what == "reading n2"
    assert "were it on the other side, the donor would or might go on: look once more" in verdict.unknown[0].says
    again = replace(answer_to(asked, truth, "n3", wrong=True), corrects="n2")
    assert check(replace(build, readings=(*taken, again)), "donor").verdict == "does not fit"
    right = replace(answer_to(asked, truth, "n3"), corrects="n2")
    assert check(replace(build, readings=(*taken, right)), "donor").verdict == "bolts on"


def test_what_the_values_of_a_loose_hole_mean_holds() -> None:
    """Values within what is said to bolt on do, on the side where it has to lie."""
    build = panel(LEANING, [(0, 3), (2, 3)], placed=(0, 1, 2))
    first = panel(LEANING, [(0, 3)], placed=(0, 1, 2))
    says = check(first, "donor").unknown[0].says
    low, high = (float(value) for value in re.search(r"([\d.]+) to ([\d.]+) mm means that it bolts on", says).groups())
    to = int(check(first, "donor").unknown[0].to_feature[1:])
    for value in (low + 0.1, (low + high) / 2, high - 0.1):
        row = replace(build.readings[1], value=value, from_feature=f"a{to}", to_feature="a3", plus_minus=None)
        known = known_of(replace(build, readings=(build.readings[0], row)), "donor")
        places = trying.places_of(known)
        assert "fits" in {trial.stand for trial in trying.trials(known, places, 0.95)}, value


def test_the_first_three_distances_of_a_bare_donor_make_its_widest_triangle() -> None:
    verdict = check(panel(LEANING), "donor")
    spans = [{u.from_feature, u.to_feature} for u in verdict.unknown[:3]]
    assert spans == [{"a0", "a2"}, {"a0", "a3"}, {"a2", "a3"}]
    low, high = (
        float(v) for v in re.search(r"less than ([\d.]+) or more than ([\d.]+) mm", verdict.unknown[0].says).groups()
    )
    assert (low + high) / 2 == pytest.approx(np.hypot(430, 180), abs=0.06)
    # Both holes give 1 mm, and 1.645 standard uncertainties of a seller's reading and of the two studs are beyond.
    spread = np.hypot(2.5 / 3**0.5, 2**0.5 * 0.2 / 3**0.5)
    assert (high - low) / 2 == pytest.approx(2.0 + 1.645 * spread, abs=0.1)  # rounded outwards


def test_a_guessed_hole_is_uncertain_in_the_frame_too() -> None:
    """Seams are compared in the frame that their corners are in, whichever holes are guessed meanwhile."""
    build = panel(LEANING, [(0, 1), (0, 2), (1, 2)], placed=(0, 1, 2))
    found = adjust("donor", [f for f in build.features_of("donor") if f.feature != "a3"], build.readings)
    guessed = untied.with_guess(found, "a3", np.array([10.0, 20.0]), 5.0)
    assert found.in_frame_mm2 is not None and guessed.in_frame_mm2 is not None
    assert np.array_equal(guessed.in_frame_mm2[:6, :6], found.in_frame_mm2)
    assert np.allclose(guessed.in_frame_mm2[6:, 6:], np.eye(2) * 25.0 / 3.0)


def test_bare_holes_that_can_go_on_one_fixing_only_tell_no_distance() -> None:
    """Three holes for one stud: none of them is known to be its own, so no two are a known distance apart."""
    bare = [replace(hole, x_mm=None, y_mm=None) for hole in holes([(0, 0), (1, 0), (2, 0)])]
    verdict = check(build(studs([(10, 20)]), bare, duty="trim"), "donor")
    assert verdict.verdict == "not enough measured"
    assert "on the host" not in " ".join(unknown.says for unknown in verdict.unknown)


def test_a_span_beyond_its_value_decides_at_once() -> None:
    build = panel(LEANING)
    far = Reading("donor", "r1", "centres", 485.0, "mm", "a0", "a2", instrument="seller")
    assert check(replace(build, readings=(far,)), "donor").verdict == "does not fit"


def test_sizes_come_before_places() -> None:
    build = panel(LEANING, placed=(0, 1, 2))
    features = tuple(replace(f, across_mm=None) if f.feature == "a1" else f for f in build.features)
    assert asked(replace(build, features=features))[0] == ("across", "a1", None)


def test_a_loose_hole_of_unknown_partner_is_asked_for_all_the_same() -> None:
    build = panel([*LEANING, (200.0, 120.0)], placed=(0, 1), given=False)
    assert all(one[0] in ("centres", "seen_from") for one in asked(build))
    assert check(build, "donor").verdict == "not enough measured"


def test_the_words_of_what_ties_a_point_down() -> None:
    rows = [Feature("p", name, "hole", x_mm=x, y_mm=y) for name, x, y in (("a", 0.0, 0.0), ("b", 300.0, 0.0))]
    (missing,) = adjust("p", [*rows, Feature("p", "c", "hole")], []).missing
    assert missing.says == "Measure from c to a and b of p, centre to centre; or give its x and y."
