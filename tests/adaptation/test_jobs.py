"""Jobs worked out by hand: what, where, how large, in words; and the part that goes on afterwards."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from adapting_cases import ask, cheapest, holes, play_mm, spot, studs
from work_done import adapted_features

from partkin.adaptation.placing import adapted_task
from partkin.fit.solve import solve
from partkin.model.adapting import Action, AdaptationAnswer, AdaptationQuestion, workmanship_of
from partkin.model.build import Feature, Outline, Part, Settings, WorkRow, Zone
from partkin.model.fitting import Option
from partkin.model.mating import Mating

SQUARE = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
PAIRS = [("F1", "a"), ("F2", "b"), ("F3", "c"), ("F4", "d")]


def _square(c_at: tuple[float, float], **known: object) -> AdaptationQuestion:
    """Four studs M6, four 7 mm holes of which c stands elsewhere."""
    return ask(studs(*SQUARE), holes(*SQUARE[:2], c_at, SQUARE[3]), PAIRS, **known)


def _only(answer: AdaptationAnswer) -> Action:
    assert answer.adaptations, answer.why
    [action] = answer.adaptations[0].actions
    return action


def test_the_fifth_hole_out_is_opened_out() -> None:
    """DESIGN section 5: fifth hole out by d in y, margin 0.5 - d/2. d = 1.4: -0.2, and opening one hole mends it."""
    at = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0), (150.0, 0.0))
    off = (*at[:4], (150.0, 1.4))
    asked = ask(studs(*at), holes(*off), [(f"F{n}", "abcde"[n - 1]) for n in range(1, 6)])
    assert solve(asked.task).margin_mm == pytest.approx(-0.2, abs=1e-3)
    answer = cheapest(asked)
    action = _only(answer)
    assert (action.do, action.feature, answer.adaptations[0].cost) == ("open out", "e", 4.0)
    # e stands 1.4 off at best; the rest allow 0.5. Opened out to D: (D - 6)/2 - 0.5 of workmanship.
    assert action.to_mm is not None and (action.to_mm - 6.0) / 2.0 - 0.5 >= 1.4 - 0.5 - 1e-6
    assert answer.adaptations[0].proved_cheapest and answer.adaptations[0].bound_cost == 4.0


def test_a_slot_runs_from_the_hole_to_where_the_fixing_stands() -> None:
    """c is 6 mm too far in x: 6 + 2 x 0.5 = 7 mm wide, 7 + 6 = 13 mm long, at 180 degrees, centre 3 mm off."""
    action = _only(cheapest(_square((306.0, 200.0))))
    assert (action.do, action.feature, action.to_mm, action.length_mm) == ("slot", "c", 7.0, 13.0)
    assert action.angle_deg == pytest.approx(180.0, abs=0.05)
    assert action.at_mm == pytest.approx((303.0, 200.0), abs=0.01)
    assert action.says == (
        "File hole c into a slot 7.0 mm wide and 13 mm long overall, to one side only: the hole stays as one end, and "
        "the slot runs from it towards d (180 degrees from the x axis of the part, anticlockwise), so that the centre "
        "of its far end lies 6.0 mm from the hole's centre. Fit a washer wider than the slot (12 mm across or more). "
        "First see that its centre line stays at least 10.5 mm from every edge."
    )
    assert workmanship_of(cheapest(_square((306.0, 200.0))).adaptations[0]) == {"c": 0.5}


def test_the_adapted_part_fits_by_its_own_sheet() -> None:
    asked = _square((306.0, 200.0))
    found = cheapest(asked).adaptations[0]
    after = {f.feature: f for f in adapted_features(asked.donor_features, found)}
    assert (after["c"].kind, after["c"].across_mm, after["c"].length_mm) == ("slot", 7.0, 13.0)
    task = adapted_task(asked.task, found)
    own = {s.id: s for s in task.features}["c"]
    assert spot(after["c"], False).at_mm == pytest.approx(own.at_mm)
    assert spot(after["c"], False).half_travel_mm == pytest.approx(own.half_travel_mm) == 3.0
    by_fixing = {f.feature: f for f in asked.fixings}
    for option in task.options:
        assert option.allowed_mm == pytest.approx(play_mm(by_fixing[option.fixing], after[option.feature]))
    assert solve(task).margin_mm == pytest.approx(found.margin_mm)


def test_a_slot_that_is_there_is_made_longer_at_one_end() -> None:
    """Slot c, 7 x 10 along x: its fixing 6 mm to the left wants 6 - 1.5 = 4.5 more, less the play left over."""
    asked = _square((306.0, 200.0))
    c = replace(asked.donor_features[2], kind="slot", length_mm=10.0, angle_deg=0.0)
    features = (*asked.donor_features[:2], c, asked.donor_features[3])
    spots = tuple(spot(f, False) for f in features)
    action = _only(cheapest(replace(asked, donor_features=features, task=replace(asked.task, features=spots))))
    assert (action.do, action.feature, action.length_mm, action.to_mm) == ("slot", "c", 15.0, 7.0)
    assert action.at_mm == pytest.approx((303.5, 200.0), abs=1e-6)
    assert action.says.startswith("Lengthen slot c from 10.0 to 15.0 mm overall, at the end towards d only.")


def test_a_bolt_that_does_not_pass_opens_its_hole() -> None:
    asked = _square(SQUARE[2])
    c = replace(asked.donor_features[2], across_mm=5.5)
    options = (*asked.task.options[:2], Option("F3", "c", -0.25), asked.task.options[3])
    blocked = Mating("F3", "c", "fixed by the host", -0.25, blocked="6 mm does not pass 5.5 mm")
    asked = replace(
        asked, donor_features=(*asked.donor_features[:2], c, asked.donor_features[3]), matings=(blocked,),
        task=replace(asked.task, options=options),
    )  # fmt: skip
    action = _only(cheapest(asked))
    assert (action.do, action.feature, action.to_mm, action.allowed_mm) == ("open out", "c", 7.0, 0.5)


def test_the_float_of_a_nut_is_counted_once() -> None:
    """M6 nut floating 1 mm under a 6.6 hole: 0.3 + 1 as it is, and a slot 6.6 wide needs no widening."""
    nuts = [replace(f, kind="captive nut", across_mm=None, float_mm=1.0) for f in studs(*SQUARE)]
    made = holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3], across_mm=6.6)
    action = _only(cheapest(ask(nuts, made, PAIRS)))
    assert (action.do, action.to_mm) == ("slot", 6.6)
    assert action.allowed_mm == pytest.approx(1.3)


def test_a_screw_of_the_wrong_thread_gives_way_to_the_right_one() -> None:
    fixings = [replace(f, kind="tapped hole", across_mm=None) for f in studs(*SQUARE)]
    made = holes(*SQUARE)
    made[2] = replace(made[2], thread="M8", across_mm=9.0)
    clash = Mating("F3", "c", "fixed by the host", None, blocked="the screw is M8 and the tapped hole M6", option=False)
    asked = ask(fixings, made, [p for p in PAIRS if p[0] != "F3"], matings=(clash,))
    answer = cheapest(asked)
    action = _only(answer)
    assert (action.do, action.fixing, action.allowed_mm) == ("other bolt", "F3", 1.5)
    assert action.says.startswith("Use a bolt M6 at F3, not M8.")
    assert solve(adapted_task(asked.task, answer.adaptations[0])).fits


def test_a_tapped_hole_of_the_wrong_thread_takes_an_insert_or_its_own_bolt() -> None:
    """Host hole 9 for M8, donor tapped M6: an M6 bolt goes through (1.5 of play) and is the least work."""
    fixings = studs(*SQUARE)
    fixings[2] = replace(fixings[2], kind="hole", thread="M8", across_mm=9.0)
    made = holes(*SQUARE)
    made[2] = replace(made[2], kind="tapped hole", thread="M6", across_mm=None)
    clash = Mating("F3", "c", "fixed by the donor", None, blocked="threads differ", option=False)
    asked = ask(fixings, made, [p for p in PAIRS if p[0] != "F3"], matings=(clash,))
    answer = cheapest(asked)
    assert [[a.do for a in each.actions] for each in answer.adaptations] == [["other bolt"], ["thread insert"]]
    assert answer.adaptations[1].actions[0].allowed_mm == pytest.approx(0.5)


def test_a_stud_without_a_hole_gets_one_where_it_stands() -> None:
    """The donor lies turned by 90 degrees and shifted; the fifth stud stands at (150, 100) of the host."""
    turned = [(y + 40.0, -x) for x, y in SQUARE]
    asked = ask(studs(*SQUARE, (150.0, 100.0)), holes(*turned), PAIRS)
    answer = cheapest(asked)
    action = _only(answer)
    assert (action.do, action.feature, action.to_mm) == ("new hole", "new-F5", 7.0)
    assert action.at_mm == pytest.approx((140.0, -150.0), abs=0.11)
    assert solve(adapted_task(asked.task, answer.adaptations[0])).fits
    assert adapted_features(asked.donor_features, answer.adaptations[0])[-1].goes_on == "F5"


def test_no_new_hole_off_the_part_or_near_a_seam() -> None:
    fixings, made = studs(*SQUARE, (150.0, 100.0)), holes(*SQUARE)
    frame = Outline("D", "edge", "rim", ((-20.0, -20.0), (320.0, -20.0), (320.0, 220.0), (-20.0, 220.0)))
    off = studs(*SQUARE, (150.0, 230.0))
    answer = cheapest(ask(off, made, PAIRS, donor_outlines=(frame,)))
    assert not answer.adaptations and "off the part" in (answer.why or "")
    seam = Zone("D", "Z1", "tear seam", ((100.0, 110.0), (200.0, 110.0)))
    answer = cheapest(ask(fixings, made, PAIRS, donor_zones=(seam,)))
    assert not answer.adaptations and "tear seam Z1" in (answer.why or "")
    assert answer.ruled_out and "a new hole for F5 would bring it on" in answer.ruled_out[0].says


def test_pegs_and_clips_stay_where_they_are() -> None:
    """A peg of the donor 6 mm off its host hole: nothing on the donor moves it, and the host may not be cut."""
    fixings, made = studs(*SQUARE), holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3])
    fixings[2] = replace(fixings[2], kind="peg hole", thread=None, across_mm=8.0)
    made[2] = replace(made[2], kind="peg", across_mm=7.0)
    asked = ask(fixings, made, PAIRS)
    answer = cheapest(asked)
    assert not answer.adaptations and "F3" in (answer.why or "")
    host = replace(asked, settings=replace(asked.settings, adapt_host=True))
    action = _only(cheapest(host))
    assert (action.do, action.side, action.part, action.feature) == ("slot", "host", "H", "F3")
    assert "on the vehicle" in action.says
    assert not cheapest(replace(host, host_duty="structural")).adaptations


def test_a_clip_hole_without_a_clip_has_no_plain_cure() -> None:
    fixings = studs(*SQUARE, (150.0, 100.0))
    fixings[4] = replace(fixings[4], kind="clip hole", thread=None, across_mm=8.0)
    answer = cheapest(ask(fixings, holes(*SQUARE), PAIRS))
    assert not answer.adaptations and "F5" in (answer.why or "")


def test_what_should_be_held_may_be_left() -> None:
    fixings = [replace(f, kind="captive nut", across_mm=None) for f in studs(*SQUARE)]
    fixings[2] = replace(fixings[2], need="should")
    action = _only(cheapest(ask(fixings, holes(*SQUARE[:2], (312.0, 200.0), SQUARE[3]), PAIRS)))
    assert (action.do, action.fixing, action.minutes) == ("leave unused", "F3", 1.0)


@pytest.mark.parametrize("duty", [None, "structural", "restraint"])
def test_as_it_is_or_not_at_all(duty: str | None) -> None:
    answer = cheapest(_square((306.0, 200.0), duty=duty))
    assert not answer.adaptations and not answer.ruled_out
    assert "as it is or not at all" in (answer.why or "")
    assert "the maker's instructions, local law and a licensed person decide" in (answer.why or "")


def test_what_safety_forbids_is_listed_with_its_reason() -> None:
    """A slot at c alone would do; c lies 16 - 3.5 = 12.5 mm from a seam, so two others are cut in its place."""
    seam = Zone("D", "Z1", "tear seam", ((200.0, 216.0), (400.0, 216.0)))
    answer = cheapest(_square((305.0, 200.0), donor_zones=(seam,)))
    assert answer.adaptations and all(a.feature != "c" for each in answer.adaptations for a in each.actions)
    says = " ".join(ruled.says for ruled in answer.ruled_out)
    assert "a slot at c would be cheaper" in says
    assert "c lies 12 mm from the tear seam Z1" in says
    assert answer.ruled_out[0].source


def test_what_cannot_be_adapted_carries_its_proof() -> None:
    """c is 40 mm off: no slot is that long, and a new hole has no room because the material is cast."""
    answer = cheapest(_square((340.0, 200.0), donor=Part("D", material="cast aluminium", duty="trim")))
    assert not answer.adaptations and answer.conflict is not None
    assert "F3" in answer.conflict.fixings and answer.conflict.nogoods
    assert answer.conflict.shortfall_mm is not None and answer.conflict.shortfall_mm > 5.0


def test_different_sets_do_without_a_job_of_the_ones_before() -> None:
    answer = cheapest(_square((306.0, 200.0)))
    done = [{(a.do, a.feature) for a in each.actions} for each in answer.adaptations]
    assert 2 <= len(done) <= 3
    assert all(not earlier <= later for n, later in enumerate(done) for earlier in done[:n])
    costs = [each.cost for each in answer.adaptations]
    assert costs == sorted(costs)


def test_without_a_rate_the_least_minutes_count_and_no_money_is_named() -> None:
    answer = cheapest(_square((306.0, 200.0), settings=Settings()))
    assert answer.adaptations[0].minutes == 15.0
    assert answer.adaptations[0].cost is None and answer.adaptations[0].bound_cost is None
    assert all(a.cost is None for a in answer.adaptations[0].actions)


def test_the_builds_own_work_table_decides() -> None:
    """Where drilling is dear and a slot takes a minute, the slot is chosen even where opening out would do."""
    dear = (
        WorkRow("open out", "any", 60.0, 0.0, 0.5, ("drill",), "this workshop"),
        WorkRow("slot", "any", 1.0, 0.0, 0.5, ("router",), "this workshop"),
    )
    asked = _square((301.4, 200.0))
    assert _only(cheapest(asked)).do == "open out"
    action = _only(cheapest(replace(asked, work=dear)))
    assert (action.do, action.minutes, action.source) == ("slot", 1.0, "this workshop")


def test_more_reserve_asks_for_more_room() -> None:
    plain = _only(cheapest(_square((301.5, 200.0))))
    roomy = _only(cheapest(_square((301.5, 200.0), reserve_mm=0.5)))
    assert (plain.do, roomy.do) == ("open out", "slot")
    assert roomy.to_mm is not None and roomy.to_mm >= 6.0 + 2.0 * (0.5 + 0.5)


def test_an_open_pairing_is_found_first() -> None:
    asked = _square((306.0, 200.0))
    options = tuple(Option(f"F{n}", name, 0.5) for n in range(1, 5) for name in "abcd")
    answer = cheapest(replace(asked, task=replace(asked.task, options=options, given=False)))
    [action] = answer.adaptations[0].actions
    assert (action.do, action.feature) == ("slot", "c")
    assert set(answer.adaptations[0].pairs) in (set(PAIRS), {("F1", "c"), ("F2", "d"), ("F3", "a"), ("F4", "b")})


def test_the_other_face_is_worked_in_the_donors_own_frame() -> None:
    """The donor seen from behind: x runs the other way, and so does its slot."""
    mirrored = [(-x, y) for x, y in SQUARE]
    mirrored[2] = (-306.0, 200.0)
    asked = ask(studs(*SQUARE), holes(*mirrored), PAIRS)
    asked = replace(asked, task=replace(asked.task, mirrored=True))
    action = _only(cheapest(asked))
    assert (action.do, action.feature, action.length_mm) == ("slot", "c", 13.0)
    assert math.cos(math.radians(action.angle_deg or 0.0)) == pytest.approx(1.0, abs=1e-5)


def test_what_goes_on_needs_no_work() -> None:
    answer = cheapest(_square(SQUARE[2]))
    assert not answer.adaptations and answer.why == "it goes on as it is"


def test_the_same_question_has_the_same_answer() -> None:
    asked = _square((306.0, 203.0))
    assert repr(cheapest(asked)) == repr(cheapest(asked))


def test_stopped_early_it_still_says_what_is_proved() -> None:
    asked = ask(
        studs(*SQUARE), holes((0.0, 4.0), (303.0, 0.0), (306.0, 200.0), (0.0, 196.0)), PAIRS,
    )  # fmt: skip
    whole = cheapest(asked).adaptations[0]
    for limit in range(1, 8):
        answer = cheapest(asked, limit=limit)
        for found in answer.adaptations[:1]:
            assert found.cost is not None and whole.cost is not None and found.bound_cost is not None
            assert found.bound_cost <= whole.cost <= found.cost
            assert found.proved_cheapest == (found.cost == found.bound_cost)


def test_a_fast_verdict_changes_nothing_but_the_time() -> None:
    asked = _square((306.0, 203.0))
    slow = cheapest(asked)
    fast = cheapest(asked, quick=True)
    assert [each.cost for each in slow.adaptations[:1]] == [each.cost for each in fast.adaptations[:1]]


def test_nothing_known_of_what_goes_through() -> None:
    fixings = studs(*SQUARE)
    fixings[2] = Feature("H", "F3", "hole", x_mm=300.0, y_mm=200.0)
    asked = ask(fixings, holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3]), [p for p in PAIRS if p[0] != "F3"])
    options = (*asked.task.options, Option("F3", "c", 1.0e5))
    answer = cheapest(replace(asked, task=replace(asked.task, options=options)))
    assert answer.why == "it goes on as it is"


def test_what_nobody_has_said_is_noted() -> None:
    def notes(**known: object) -> tuple[str, ...]:
        return cheapest(_square((306.0, 200.0), **known)).adaptations[0].notes

    unsaid = notes(donor=Part("D", duty="trim"))
    assert "The material of D is not known: find out before the first cut." in unsaid
    assert any("outline of D is not known" in note for note in unsaid)
    odd = notes(donor=Part("D", material="papier-mache", duty="trim"))
    assert any("'papier-mache', which the table does not know" in note for note in odd)
    rim = Outline("D", "edge", "rim", ((-50.0, -50.0), (360.0, -50.0), (360.0, 250.0), (-50.0, 250.0)))
    assert notes(donor_outlines=(rim,)) == ()


def test_what_would_bring_it_on_is_named_whole() -> None:
    """Two holes are out and neither may be cut: only both together would do, and no hole that lines up is named."""
    made = holes(*SQUARE[:2], (SQUARE[2][0] + 5.0, SQUARE[2][1]), (SQUARE[3][0], SQUARE[3][1] + 5.0))
    seams = tuple(
        Zone("D", f"Z{n}", "tear seam", ((x - 30.0, y + 10.0), (x + 30.0, y + 10.0)))
        for n, (x, y) in enumerate(SQUARE, start=1)
    )
    answer = cheapest(ask(studs(*SQUARE), made, PAIRS[:4], donor_zones=seams))
    assert not answer.adaptations and answer.ruled_out
    for refused in answer.ruled_out:
        assert " together with " in refused.says and " would bring it on" in refused.says
        assert "F1" not in refused.says and "F2" not in refused.says
        assert not any(f"{job} {hole} " in refused.says for job in ("slot at", "opening out") for hole in "ab")
