"""adapt and worklist as a person types them: every kind of job, and everything that keeps one from being offered."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from folders import FRAME, OLD, PANEL, SQUARE, holes, studs, typed, write

from partkin.model.build import Feature, Outline, Part, Zone

OUT = (*SQUARE[:2], (306.0, 200.0), SQUARE[3])
NUT = {"kind": "captive nut", "float_mm": 0.5}
HELD_BY = "part,held_to,fastener,kind,count,tool,minutes,certain\nlug,old,s1,screw,2,T20,2,yes\n"
LUG = Part(
    "lug", origin="original", takes_place_of="old", part_of="old", seen_from="outside", duty="trim", airbag=False
)
LUG_FEATURES = [
    Feature("lug", "k", "clip", across_mm=7.5, x_mm=0.0, y_mm=0.0, goes_on="F5"),
    Feature("lug", "m1", "hole", across_mm=5.0, x_mm=-12.0, y_mm=-20.0),
    Feature("lug", "m2", "hole", across_mm=5.0, x_mm=12.0, y_mm=-20.0),
]
CLIP_HOLE = Feature("frame", "F5", "clip hole", across_mm=8.0, x_mm=150.0, y_mm=245.0, plus_minus_mm=0.2, need="must")


def slot(folder: Path) -> Path:
    """c is 6 mm too far to the right."""
    return write(folder, [FRAME, PANEL], [*studs(SQUARE), *holes(OUT)])


def opened(folder: Path) -> Path:
    """A fifth hole 1.4 mm out: opened out, where drills are cheap and files dear."""
    at = (*SQUARE, (150.0, 0.0))
    made = [replace(f, plus_minus_mm=0.0) for f in (*studs(at), *holes((*SQUARE, (150.0, 1.4))))]
    return write(folder, [FRAME, PANEL], made)


def new_hole(folder: Path) -> Path:
    return write(folder, [FRAME, PANEL], [*studs((*SQUARE, (150.0, 100.0))), *holes(SQUARE)])


def left(folder: Path) -> Path:
    """A nut that should be held, 3 mm away, where the stud next to it keeps a slot from being worth it."""
    fixings = studs(SQUARE, **NUT)
    fixings[2] = replace(fixings[2], need="should")
    return write(folder, [FRAME, PANEL], [*fixings, *holes(((0.0, 3.0), SQUARE[1], (316.0, 200.0), SQUARE[3]))])


def spacer(folder: Path) -> Path:
    thin = replace(PANEL, thickness_mm=1.5)
    return write(folder, [FRAME, OLD, thin], [*studs(SQUARE), *holes(OUT), *holes(SQUARE, "old")])


def longer(folder: Path) -> Path:
    thick = replace(PANEL, thickness_mm=5.0)
    return write(folder, [FRAME, OLD, thick], [*studs(SQUARE, **NUT), *holes(OUT), *holes(SQUARE, "old")])


def other_bolt(folder: Path) -> Path:
    fixings, made = studs(SQUARE), holes(SQUARE)
    fixings[2] = replace(fixings[2], kind="tapped hole")
    made[2] = replace(made[2], across_mm=9.0, thread="M8x1.25")
    return write(folder, [FRAME, PANEL], [*fixings, *made])


def insert(folder: Path) -> Path:
    """A tapped hole M6 under a host hole for M8; a thinner bolt is dear, as the folder's own work.csv says."""
    fixings, made = studs(SQUARE), holes(SQUARE)
    fixings[2] = replace(fixings[2], kind="hole", across_mm=9.0, thread="M8x1.25")
    made[2] = replace(made[2], kind="tapped hole", across_mm=None, thread="M6x1")
    work = "do,group,minutes,cost,workmanship_mm,tools\nother bolt,any,90,0,0,thread gauge\n"
    return write(folder, [FRAME, PANEL], [*fixings, *made], work=work)


def new_clip(folder: Path) -> Path:
    clip = Feature("panel", "k", "clip", across_mm=7.5, x_mm=150.0, y_mm=245.0, plus_minus_mm=0.0, goes_on="F5")
    exact = [replace(f, plus_minus_mm=0.0) for f in (*studs(SQUARE), CLIP_HOLE, *holes(OUT), clip)]
    return write(folder, [FRAME, PANEL], exact, outlines=())


def bracket(folder: Path) -> Path:
    made = [*studs(SQUARE), CLIP_HOLE, *holes(SQUARE), *holes(SQUARE, "old"), *LUG_FEATURES]
    return write(folder, [FRAME, OLD, PANEL, LUG], made, held_by=HELD_BY)


@pytest.mark.parametrize(
    ("build", "jobs", "says"),
    [
        (slot, ["slot"], "File hole c into a slot"),
        (opened, ["open out"], "Open out hole e from 7.0 to"),
        (new_hole, ["new hole"], "Drill a new 7.0 mm hole for fixing F5 at x 150.0, y 100.0"),
        (spacer, ["slot", *["spacer"] * 4], "At F1, F2, F3 and F4: put a spacer or washers 1.5 mm thick"),
        (longer, ["slot", *["longer bolt"] * 4], "use an M6 bolt 14 mm long or longer: 5 mm clamped + 1.6 washer + 6"),
        (other_bolt, ["other bolt"], "Use a bolt M6x1 at F3, not M8x1.25."),
        (insert, ["thread insert"], "Fit a thread insert M8x1.25 in tapped hole c"),
        (new_clip, ["slot", "new clip"], "At F5: use a new clip"),
        (bracket, ["move over"], "Move lug over from old: undo 2 screws (T20). Fasten it to F5"),
    ],
)
def test_every_kind_of_job(build: Callable[[Path], Path], jobs: list[str], says: str, tmp_path: Path) -> None:
    folder = build(tmp_path)
    code, told, _ = typed(folder, "adapt", "panel")
    plain = " ".join(told.split())
    assert code == 0 and says in plain and "bolts on with adaptation" in plain
    assert "tools: " in plain and "EUR)" in plain and "Chance that it goes on after that:" in plain
    tree = json.loads(typed(folder, "check", "panel", "--json")[1])
    assert [job["do"] for job in tree["adaptations"]] == jobs
    assert all(job["tools"] and job["minutes"] and job["cost"] and job["source"] for job in tree["adaptations"])
    code, sheet, _ = typed(folder, "worklist", "panel")
    begins = "Look panel over" if jobs == ["other bolt"] else "Lay panel down with its outside face towards you"
    assert code == 0 and f"[ ] 1. {begins}" in sheet
    assert says.split(". ")[0] in " ".join(sheet.split()) and "[ ] 2." in sheet


def test_two_more_ways_that_do_without_a_job_of_the_first(tmp_path: Path) -> None:
    tree = json.loads(typed(slot(tmp_path), "check", "panel", "--json")[1])
    first = {(job["do"], job["feature"]) for job in tree["adaptations"]}
    others = [{(job["do"], job["feature"]) for job in other} for other in tree["other_adaptations"]]
    assert others and all(not first <= other for other in others)
    totals = tree["adaptation_totals"]
    assert [one["cost"] for one in totals] == sorted(one["cost"] for one in totals)
    assert totals[0]["proved_cheapest"] and totals[0]["bound_cost"] == totals[0]["cost"]


def test_what_should_be_held_may_be_left_and_is_plugged(tmp_path: Path) -> None:
    code, told, _ = typed(left(tmp_path), "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "Leave fixing F3 empty (c does not reach it) and plug the hole that stays open." in told


def test_a_bracket_keeps_away_from_a_seam(tmp_path: Path) -> None:
    """F5 comes to y = 245; the lug's holes reach 25.8 mm from it, and 20 are kept: a zone at 190 to 205 is too near."""
    zone = Zone("panel", "S1", "structural", ((100.0, 190.0), (200.0, 190.0), (200.0, 205.0), (100.0, 205.0)))
    made = [*studs(SQUARE), CLIP_HOLE, *holes(SQUARE), *holes(SQUARE, "old"), *LUG_FEATURES]
    folder = write(tmp_path / "near", [FRAME, OLD, PANEL, LUG], made, zones=[zone])
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "does not fit" in told and "What to do to it" not in told
    assert "its holes could come within 14 mm of the structural S1 (20 mm are kept)" in told
    away = replace(zone, corners_mm=tuple((x, y - 10.0) for x, y in zone.corners_mm))
    folder = write(tmp_path / "far", [FRAME, OLD, PANEL, LUG], made, zones=[away])
    assert "Move lug over" in typed(folder, "adapt", "panel")[1]


@pytest.mark.parametrize("duty", ["structural", "restraint"])
def test_a_bracket_with_a_duty_of_its_own_stays(duty: str, tmp_path: Path) -> None:
    lug = replace(LUG, duty=duty)
    made = [*studs(SQUARE), CLIP_HOLE, *holes(SQUARE), *holes(SQUARE, "old"), *LUG_FEATURES]
    told = " ".join(typed(write(tmp_path, [FRAME, OLD, PANEL, lug], made), "adapt", "panel")[1].split())
    assert f"lug is a {duty} part: it is not moved" in told and "What to do to it" not in told


def test_the_host_is_worked_at_only_where_the_build_allows_it(tmp_path: Path) -> None:
    fixings, made = studs(SQUARE), holes(OUT)
    fixings[2] = replace(fixings[2], kind="peg hole", thread=None, across_mm=8.0)
    made[2] = replace(made[2], kind="peg")
    allowed = write(tmp_path, [FRAME, PANEL], [*fixings, *made], settings="labour_rate = 45\nadapt_host = true\n")
    assert "of frame (on the vehicle)" in typed(allowed, "adapt", "panel")[1]
    shut = write(tmp_path, [FRAME, PANEL], [*fixings, *made])
    assert "on the vehicle)" not in typed(shut, "adapt", "panel")[1]
    structural = [replace(FRAME, duty="structural"), PANEL]
    shut = write(tmp_path, structural, [*fixings, *made], settings="labour_rate = 45\nadapt_host = true\n")
    assert "on the vehicle)" not in typed(shut, "adapt", "panel")[1]


def test_what_a_zone_rules_out_is_said_with_what_it_would_have_saved(tmp_path: Path) -> None:
    zone = Zone("panel", "S1", "structural", ((260.0, 220.0), (320.0, 220.0), (320.0, 228.0)))
    folder = write(tmp_path, [FRAME, PANEL], [*studs(SQUARE), *holes(OUT)], zones=[zone])
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "a slot at c would be cheaper (7.90 EUR), but c lies 16 mm from the structural S1" in told


@pytest.mark.parametrize("command", ["adapt", "worklist"])
def test_an_unknown_donor_is_faulty_input(command: str, tmp_path: Path) -> None:
    code, told, faults = typed(slot(tmp_path), command, "pannel")
    assert (code, told) == (2, "") and "there is no part 'pannel'" in faults and "panel" in faults


@pytest.mark.parametrize("command", ["adapt", "worklist"])
def test_faulty_sheets_give_every_fault_and_no_work(command: str, tmp_path: Path) -> None:
    folder = slot(tmp_path)
    sheet = folder / "features.csv"
    bad = sheet.read_text(encoding="utf-8").replace("F2,stud", "F2,stub").replace(",M6x1,,0.0,200.0", ",M6x1,,0.0,far")
    sheet.write_text(bad, encoding="utf-8")
    code, told, faults = typed(folder, command, "panel")
    assert (code, told) == (2, "") and len(faults.splitlines()) == 2
    assert "features.csv:3:kind" in faults and "features.csv:5:y_mm" in faults
    assert sheet.read_text(encoding="utf-8") == bad


def test_a_faulty_work_sheet_is_refused_whole(tmp_path: Path) -> None:
    folder = slot(tmp_path)
    (folder / "work.csv").write_text(
        "do,group,minutes,cost,workmanship_mm\nweld,any,1,0,0\nslot,any,-1,x,0\n", encoding="utf-8"
    )
    code, told, faults = typed(folder, "adapt", "panel")
    assert (code, told) == (2, "")
    assert [fault.split(": ")[0] for fault in faults.splitlines()] == [
        "work.csv:2:do", "work.csv:3:cost", "work.csv:3:minutes",
    ]  # fmt: skip


def test_a_restraint_part_gets_no_work_of_any_kind(tmp_path: Path) -> None:
    folder = write(tmp_path, [FRAME, replace(PANEL, duty="restraint")], [*studs(SQUARE), *holes(OUT)])
    code, told, _ = typed(folder, "adapt", "panel")
    assert code == 0 and "not judged" in told and "What to do" not in told and "HOLD" in told
    code, told, _ = typed(folder, "worklist", "panel")
    assert code == 0 and told.startswith("panel: not judged, so there is nothing to work at.") and "[ ]" not in told


def test_a_part_that_goes_on_as_it_is_gets_a_sheet_without_cuts(tmp_path: Path) -> None:
    folder = write(tmp_path, [FRAME, PANEL], [*studs(SQUARE), *holes(SQUARE)])
    code, told, _ = typed(folder, "adapt", "panel")
    assert code == 0 and told.startswith("panel on frame: bolts on\n") and "What to do" not in told
    code, sheet, _ = typed(folder, "worklist", "panel")
    assert code == 0 and "At the tightest place 0.5 mm of play is left over." in " ".join(sheet.split())
    assert "File" not in sheet and "Drill" not in sheet and "No time is counted." in sheet
    assert "[ ] 1. Look panel over" in sheet and "Lay it on: a on F1, b on F2, c on F3, d on F4." in sheet


def test_a_thicker_part_that_goes_on_wants_longer_bolts_all_the_same(tmp_path: Path) -> None:
    thick = replace(PANEL, thickness_mm=5.0)
    made = [*studs(SQUARE, **NUT), *holes(SQUARE), *holes(SQUARE, "old")]
    code, told, _ = typed(write(tmp_path, [FRAME, OLD, thick], made), "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "bolts on" in told
    assert "At F1, F2, F3 and F4: use an M6 bolt 14 mm long or longer" in told and "(4 min, 6.20 EUR)" in told


def test_no_work_possible_is_said_with_what_conflicts(tmp_path: Path) -> None:
    cast = replace(PANEL, material="cast aluminium")
    folder = write(tmp_path, [FRAME, cast], [*studs(SQUARE), *holes((*SQUARE[:2], (340.0, 200.0), SQUARE[3]))])
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "does not fit" in told and "even with all that may be done" in told
    assert "a new hole for F3 would bring it on" in told and "a casting has its metal where its holes were" in told
    code, told, _ = typed(folder, "worklist", "panel")
    assert code == 0 and "so there is nothing to work at" in told and "[ ]" not in told


@pytest.mark.parametrize(
    ("donor", "says"),
    [
        (replace(PANEL, duty=None), "the duty of panel is not known: it goes on as it is or not at all until it is"),
        (replace(PANEL, duty="structural"), "panel is a structural part: it goes on as it is or not at all"),
        (replace(PANEL, seen_from=None), "which face was looked at (seen_from) has to be known on both parts"),
    ],
)
def test_what_must_be_known_first(donor: Part, says: str, tmp_path: Path) -> None:
    code, told, _ = typed(write(tmp_path, [FRAME, donor], [*studs(SQUARE), *holes(OUT)]), "adapt", "panel")
    assert code == 0 and says in " ".join(told.split()) and "What to do to it" not in told


def test_work_waits_for_the_side_that_distances_leave_open(tmp_path: Path) -> None:
    made = [replace(f, x_mm=None, y_mm=None) for f in holes(OUT)]
    rows = ["part,reading,quantity,from,to,value,unit,plus_minus,instrument"]
    for number, (one, other) in enumerate(combinations(range(4), 2)):
        length_mm = math.dist(OUT[one], OUT[other])
        rows.append(f"panel,r{number},centres,{'abcd'[one]},{'abcd'[other]},{length_mm:.2f},mm,0.3,tape")
    folder = write(tmp_path, [FRAME, PANEL], [*studs(SQUARE), *made], readings="\n".join(rows) + "\n")
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "What to do to it" not in told
    assert "distances leave open which side is which: find out before any work" in told and "going from a to c" in told


def test_what_is_not_measured_holds_the_work_back(tmp_path: Path) -> None:
    made = holes(OUT)
    made[0] = replace(made[0], across_mm=None)
    code, told, _ = typed(write(tmp_path, [FRAME, PANEL], [*studs(SQUARE), *made]), "adapt", "panel")
    assert code == 0 and "What to do to it" not in told and "Next: " in told
    assert "not everything that has to hold is measured" in " ".join(told.split())
    made[0] = replace(made[0], x_mm=None, y_mm=None)
    few = write(tmp_path, [FRAME, PANEL], [*studs(SQUARE), made[0], *holes(SQUARE)[1:]])
    for command in ("adapt", "worklist"):
        code, told, _ = typed(few, command, "panel")
        assert code == 0 and "not enough measured" in told and "Next: " in told and "[ ]" not in told


def test_no_work_is_listed_while_it_may_go_on_as_it_is(tmp_path: Path) -> None:
    """c is 1.7 mm out; the others allow 1.5 and c 0.3: a margin of 0.05 at best, read to 0.3 on either side."""
    made = holes((*SQUARE[:2], (301.7, 200.0), SQUARE[3]), across_mm=9.0, plus_minus_mm=0.3)
    made[2] = replace(made[2], across_mm=6.6)
    folder = write(tmp_path, [FRAME, PANEL], [*studs(SQUARE, plus_minus_mm=0.3), *made])
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "not enough measured" in told
    assert "What to do to it" not in told and "hole c" not in told and "Next: read " in told
    assert "so there is nothing to work at" in typed(folder, "worklist", "panel")[1]


def test_an_unknown_material_and_outline_are_noted_with_the_work(tmp_path: Path) -> None:
    made = [*studs(SQUARE), *holes(OUT)]
    folder = write(tmp_path, [FRAME, replace(PANEL, material=None)], made, outlines=())
    code, told, _ = typed(folder, "adapt", "panel")
    told = " ".join(told.split())
    assert code == 0 and "The material of panel is not known: find out before the first cut." in told
    assert "The outline of panel is not known" in told


def test_edges_connectors_and_their_jobs_stand_in_check_adapt_worklist_and_file(tmp_path: Path) -> None:
    """The wing's edge stands 2 mm right of the panel's rim at x = 330, and 3 to 5 mm are wanted: 1 mm comes off."""
    wing = Part("wing", origin="host", seen_from="outside", duty="body", material="steel")
    edge = Outline("wing", "edge", "edge", ((332.0, -60.0), (400.0, -60.0), (400.0, 260.0), (332.0, 260.0)))
    rim = Outline("panel", "edge", "rim", ((-30.0, -30.0), (330.0, -30.0), (330.0, 230.0), (-30.0, 230.0)))
    made = [*studs(SQUARE), *holes(SQUARE), *holes(SQUARE, "old")]
    folder = write(
        tmp_path, [FRAME, OLD, PANEL, wing], made, outlines=[rim, edge],
        neighbours="part,edge,neighbour,gap_mm,gap_min_mm,gap_max_mm\nold,right,wing,4,3,5\n",
        connectors="part,connector,ways,keyed_as,need\nold,lamp,4,A,must\nold,horn,2,B,must\npanel,lamp,6,A,must\n",
    )  # fmt: skip
    for command in ("check", "adapt", "worklist"):
        code, told, _ = typed(folder, command, "panel")
        told = " ".join(told.split())
        assert code == 0 and "right to wing: narrowest 2.0 mm" in told and "(wanted 3 to 5 mm)" in told
        assert "Take up to 1.0 mm off the edge to wing: 260 mm from 30 mm to the right of b and 30 mm below it" in told
        assert "lamp: 4 ways on the original, 6 on the donor" in told and "horn: the donor has none" in told
    tree = json.loads(typed(folder, "check", "panel", "--json")[1])
    assert [(job["do"], job["to_mm"], job["minutes"]) for job in tree["besides"]] == [
        ("trim edge", 1.0, 20.0), ("move over", None, 10.0), ("connector adapter", None, 15.0),
    ]  # fmt: skip
    [gap] = tree["edges"]
    assert (gap["narrowest_mm"], gap["trim_mm"], gap["overlap_mm2"]) == (2.0, 1.0, 0.0)
    assert [line["state"] for line in tree["connectors"]] == ["move over", "needs an adapter"]


def test_the_installed_command_ends_as_the_contract_says(tmp_path: Path) -> None:
    """Once through a shell: 0 with an answer, 2 with every fault on standard error and nothing on standard output."""
    partkin = str(Path(sys.executable).with_name("partkin"))
    folder = str(slot(tmp_path))

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([partkin, *words, "--in", folder], capture_output=True, text=True, timeout=60)

    good, bad = run("worklist", "panel"), run("adapt", "nobody")
    assert (good.returncode, good.stderr) == (0, "") and good.stdout.startswith("Bench sheet: panel on frame\n")
    assert (bad.returncode, bad.stdout) == (2, "") and "there is no part 'nobody'" in bad.stderr
