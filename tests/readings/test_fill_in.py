"""partkin record --through, --angle, --float: empty cells of features.csv are filled, and nothing else is touched."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.model.problem import FaultyInput
from partkin.pipeline import load_build

FEATURES = """part,feature,kind,across_mm,length_mm,angle_deg,thread,fastener_mm,float_mm
p,a,hole,7,,,,,
p,s,slot,7,14,,,,
p,n,captive nut,,,,M6,,
p,full,slot,7,14,30,M6,,
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "parts.csv").write_text("part\np\n")
    (tmp_path / "features.csv").write_text(FEATURES)
    return tmp_path


def record(folder: Path, *words: str):
    return CliRunner().invoke(app, ["record", "p", *words, "--in", str(folder)])


@pytest.mark.parametrize(
    ("words", "name", "value"),
    [
        (("a", "--through", "M6"), "thread", "M6"),
        (("s", "--through", "1/4-20"), "thread", "1/4-20"),
        (("a", "--through", "5,5"), "fastener_mm", 5.5),
        (("a", "--through", "1/4 in"), "fastener_mm", 6.35),
        (("s", "--angle", "30"), "angle_deg", 30.0),
        (("s", "--angle", "-30"), "angle_deg", -30.0),
        (("s", "--angle", "to a"), "angle_to", "a"),
        (("n", "--float", "1.5"), "float_mm", 1.5),
    ],
)
def test_one_cell_is_filled_and_every_other_stays(folder: Path, words: tuple, name: str, value: object) -> None:
    before = load_build(folder).features
    done = record(folder, *words)
    assert done.exit_code == 0 and done.output.startswith("wrote into features.csv"), done
    for was, now in zip(before, load_build(folder).features, strict=True):
        changed = {key for key in vars(now) if vars(now)[key] != vars(was)[key]}
        assert changed == ({name} if now.feature == words[0] else set())
        if now.feature == words[0]:
            assert getattr(now, name) == value


def test_one_bolt_may_go_through_several(folder: Path) -> None:
    done = record(folder, "a", "s", "a", "--through", "M6")
    assert done.exit_code == 0 and "a, s of p: what goes through: M6" in done.output, done
    assert [f.thread for f in load_build(folder).features] == ["M6"] * 4


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("full", "--through", "M8"), "thread of full is stated already (M6)"),
        (("full", "--angle", "0"), "angle_deg of full is stated already"),
        (("a", "--angle", "30"), "a is a hole, and only a slot points anywhere"),
        (("s", "--float", "1"), "s is a slot, and only a captive nut can move"),
        (("s", "--angle", "to z"), "p has no feature z"),
        (("s", "--angle", "to s"), "s points at itself"),
        (("s", "--angle", "steep"), "not a number"),
        (("a", "--through", "M6x20x1"), "thread"),
        (("a", "--through", "1/4"), "no unit and no pitch"),
        (("a", "s", "--at", "1,2"), "told of one feature"),
        (("s", "full", "--angle", "30", "--through", "M6"), "--angle is told of one feature"),
        (("--through", "M6"), "told of one feature"),
        (("a", "s", "full", "--through", "M6"), "thread of full is stated already (M6)"),
        (("a", "n", "--float", "1.5"), "a is a hole, and only a captive nut can move"),
        (("a", "z", "--through", "M6"), "p has no feature z"),
        (("z", "--through", "M6"), "p has no feature z"),
        (("a", "--through", "M6", "--quantity", "across"), "--quantity does not go with --through"),
        (("a", "--through", "M6", "--undo"), "takes back readings alone"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_changed(folder: Path, words: tuple[str, ...], says: str) -> None:
    done = record(folder, *words)
    assert isinstance(done.exception, FaultyInput) and says in str(done.exception)
    assert (folder / "features.csv").read_text() == FEATURES
