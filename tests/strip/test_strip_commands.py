"""strip and refit as a person types them, on the demo."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PARTKIN = str(Path(sys.executable).with_name("partkin"))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("undoing") / "demo"
    run("demo", str(folder))
    return folder


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([PARTKIN, *words], capture_output=True, text=True, encoding="utf-8", timeout=60)


def test_the_whole_assembly_comes_out_and_its_own_bolts_stay(demo: Path) -> None:
    told = run("strip", "top-velt", "--in", str(demo))
    assert told.returncode == 0
    assert "No other plan takes less" in told.stdout
    assert "they hold the assembly to itself (B9)" in told.stdout
    assert told.stdout.index("disconnect the battery") < told.stdout.index("(K5)")
    assert "lift out in one piece" in told.stdout and "two to four people or a hoist" in told.stdout


def test_done_leaves_the_rest_and_stuck_names_suspects(demo: Path) -> None:
    rest = run("strip", "top-velt", "--in", str(demo), "--done", "2,3").stdout
    assert "[ ]   2 " not in rest and "[ ]   4 " in rest
    stuck = run("strip", "top-velt", "--in", str(demo), "--stuck", "B5").stdout
    assert "B1: its row says that it must be off before B5" in stuck


def test_another_way_where_one_will_not_come(demo: Path) -> None:
    told = run("strip", "top-velt", "--in", str(demo), "--without", "S5")
    assert "(S5)" not in told.stdout


def test_one_that_will_not_come_has_its_other_way_said(demo: Path) -> None:
    stuck = run("strip", "top-velt", "--in", str(demo), "--stuck", "S5").stdout
    assert "partkin strip top-velt --without S5" in stuck and "min more than with it" in stuck
    none = run("strip", "top-velt", "--in", str(demo), "--stuck", "B5").stdout
    assert "Without undoing B5 nothing frees top-velt" in none
    alone = run("strip", "top-velt", "--in", str(demo), "--stuck", "B9").stdout
    assert "leaves B9 alone as it is" in alone


def test_nothing_known_is_no_plan(demo: Path) -> None:
    told = run("strip", "glove-velt", "--in", str(demo))
    assert told.returncode == 0 and told.stdout.startswith("Nothing is known to hold glovebox surround (glove-velt)")
    assert "comes free" not in told.stdout and "look for" in told.stdout


def test_the_donor_comes_off_its_own_assembly_and_what_it_lacks_is_said(demo: Path) -> None:
    told = run("strip", "top-kurm", "--in", str(demo)).stdout
    assert "(D1)" in told and "(D3)" in told and "D4 (6 clips, donor dashboard) is a guess" in told
    assert "To move across from top-velt" in told
    other = run("strip", "top-dask", "--in", str(demo)).stdout
    assert "light sensor" in other and "speaker (of top-velt; 4 ways, keyed A): the donor's has 2 ways" in other
    assert "partkin refit top-velt" in run("refit", "top-kurm", "--in", str(demo)).stdout


def test_the_report_carries_the_plans(demo: Path, tmp_path: Path) -> None:
    run("report", "top-kurm", "--in", str(demo), "-o", str(tmp_path / "report.html"))
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert page.count('<section class="plan"') == 2 and "What holds dashboard top (top-velt)" in page


def test_the_way_back_invents_no_torque(demo: Path) -> None:
    told = run("refit", "top-velt", "--in", str(demo)).stdout
    assert "22 N m (the maker's value, as the sheet has it)" in told
    assert told.count("N m") == 1 and "look up the maker's value" in told


def test_labels_and_drawing(demo: Path, tmp_path: Path) -> None:
    labels = run("strip", "top-velt", "--in", str(demo), "--labels").stdout
    assert labels.startswith("bag 2 | engine bay | 3 nuts M8x1.25 | B4")
    run("strip", "top-velt", "--in", str(demo), "--drawing", str(tmp_path / "held.svg"))
    assert (tmp_path / "held.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("strip", "nope"), "there is no part 'nope'"),
        (("strip", "top-velt", "--without", "Z9"), "there is no fastener 'Z9'"),
        (("strip", "top-velt", "--done", "two"), "'two' is no step number"),
        (("strip", "top-velt", "--done", "2,99"), "99 is none of the plan's 18 steps"),
        (("refit", "nope"), "there is no part 'nope'"),
    ],
)
def test_wrong_words(demo: Path, words: tuple[str, ...], says: str) -> None:
    told = run(*words, "--in", str(demo))
    assert told.returncode == 2 and says in told.stderr


def test_a_circle_with_a_guess_in_it_stops_only_the_plan_that_needs_it(demo: Path, tmp_path: Path) -> None:
    folder = tmp_path / "build"
    shutil.copytree(demo, folder)
    rows = (folder / "held_by.csv").read_text(encoding="utf-8")
    circle = "glove-velt,shell,G1,screw,1,,,,G2,cabin,,yes,,,\nglove-velt,shell,G2,screw,1,,,,G1,cabin,,guess,,,\n"
    (folder / "held_by.csv").write_text(rows + circle, encoding="utf-8")
    assert run("doctor", str(folder)).returncode == 0
    told = run("strip", "top-velt", "--in", str(folder))
    assert told.returncode == 0 and "comes free" in told.stdout and "G1 waits for G2" in told.stderr
    none = run("strip", "glove-velt", "--in", str(folder))
    assert none.returncode == 1 and "G1 waits for G2; G2 waits for G1" in none.stdout
    held = rows + circle.replace("guess", "yes")
    (folder / "held_by.csv").write_text(held, encoding="utf-8")
    assert run("strip", "top-velt", "--in", str(folder)).returncode == 2
