"""`partkin new --from`: a list as people keep them becomes a build, and what it does not tell is asked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from partkin.commands.demonstration import write
from partkin.pipeline import load_build
from partkin.sheets.headings import Heading, read_heading, words
from partkin.sheets.loading import load
from partkin.sheets.own_list import Answers, letter, take
from partkin.sheets.workbook import Tab
from sheets.test_workbook import SMALL, tabs_of
from sheets.workbooks import WRITERS, Tabs

Typed = Callable[..., tuple[int, str, str]]
ALL = ("--part", "wing", "--origin", "donor", "--kind", "hole")
HOLES = (
    "Kotflügel, am Samstag gemessen;;;;\nLoch;X (cm);Y (cm);Ø mm;Bemerkung\nL1;0;0;7,0;\nL 2;30,05;0;7;rostig\n"
    "L3;30;20,1;9;\n"
)
DISTANCES = 'von,nach,Abstand mm\na,b,300.5\nb,c,201\na,c,"361,2"\n'


@pytest.fixture(autouse=True)
def here(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_holes_become_features_in_millimetres(encoding: str, typed: Typed) -> None:
    Path("own.csv").write_text(HOLES, encoding=encoding)
    code, _, err = typed("new", "b", "--from", "own.csv", *ALL)
    assert code == 0
    found = {f.feature: (f.kind, f.across_mm, f.x_mm, f.y_mm) for f in load_build("b").features}
    assert found == {"L1": ("hole", 7.0, 0.0, 0.0), "l-2": ("hole", 7.0, 300.5, 0.0), "L3": ("hole", 9.0, 300.0, 201.0)}
    assert "'L 2' is called l-2" in err and '"Bemerkung" (rostig) has no place' in err
    assert [(part.part, part.origin) for part in load_build("b").parts] == [("wing", "donor")]
    assert typed("doctor", "b")[0] == 0


def test_distances_become_readings_as_they_were_read(typed: Typed) -> None:
    Path("own.csv").write_text(DISTANCES)
    assert typed("new", "b", "--from", "own.csv", *ALL, "--between", "centres", "--instrument", "tape")[0] == 0
    build = load_build("b")
    found = [(r.from_feature, r.to_feature, r.value, r.unit, r.quantity, r.instrument) for r in build.readings]
    assert found == [
        ("a", "b", 300.5, "mm", "centres", "tape"), ("b", "c", 201.0, "mm", "centres", "tape"),
        ("a", "c", 361.2, "mm", "centres", "tape"),
    ]  # fmt: skip
    assert [(f.feature, f.kind, f.x_mm) for f in build.features] == [(name, "hole", None) for name in "abc"]


def test_all_questions_come_at_once_and_nothing_is_written(typed: Typed) -> None:
    Path("own.csv").write_text("Loch;X;Y (cm);wohl;d\n1;0;0;3;7\n")
    code, out, err = typed("new", "b", "--from", "own.csv")
    lines = err.splitlines()
    assert code == 2 and out == "" and not Path("b").exists()
    assert [line.split(" ")[0] for line in lines] == [*(f"own.csv:1:{at}:" for at in "DEB"), *["own.csv:"] * 3]
    for asked in ('--column "B=x_mm"', '--column "D=skip"', "--part ID", "--origin donor", "--kind hole"):
        assert asked in err


def test_what_is_answered_is_taken(typed: Typed) -> None:
    Path("own.csv").write_text("Loch;X;Y (cm);wohl;d\n1;10;0;3;7\n")
    said = ("--column", "b=x_in", "--column", "D=skip", "--column", "E=across", "--unit", "mm")
    assert typed("new", "b", "--from", "own.csv", *ALL, *said)[0] == 0
    [one] = load_build("b").features
    assert (one.x_mm, one.y_mm, one.across_mm) == (254.0, 0.0, 7.0)


WRONG = (
    (("--column", "Z=x"), "there is no such column"), (("--column", "A=nonsense"), "nothing that a column may be"),
    (("--column", "A"), "does not say what a column is"), (("--origin", "doner"), "Did you mean donor?"),
    (("--kind", "hol"), "Did you mean hole?"), (("--between", "across"), "no way for a distance to run"),
    (("--unit", "parsec"), "not a unit"), (("--column", "A=x_mm"), "seem to be the same"),
)  # fmt: skip


@pytest.mark.parametrize(("said", "told"), WRONG)
def test_a_wrong_answer_is_said_and_nothing_is_written(said: tuple[str, ...], told: str, typed: Typed) -> None:
    Path("own.csv").write_text(HOLES, encoding="utf-8")
    code, _, err = typed("new", "b", "--from", "own.csv", *ALL, *said)
    assert code == 2 and told in err and not Path("b").exists()


def test_faults_of_cells_name_row_and_column_of_the_list(typed: Typed) -> None:
    Path("own.csv").write_text("hole,x mm,y mm,kind\na,0,0,hole\na,oops,0,hole\n,5,5,hole\nb,7,1,hoole\nc,1,1,\n")
    code, _, err = typed("new", "b", "--from", "own.csv", "--part", "lid", "--origin", "donor")
    places = {line.split(" ")[0] for line in err.splitlines()}
    assert code == 2 and places == {"own.csv:3:A:", "own.csv:3:B:", "own.csv:4:A:", "own.csv:5:D:", "own.csv:6:D:"}


def test_a_list_without_headings_loses_no_row() -> None:
    tab = Tab("l", (["1", "0", "0"], ["2", "30", "0"]))
    said = {"A": "feature", "B": "x_cm", "C": "y_cm"}
    taken = take([tab], Answers(said, part="lid", origin="donor", kind="hole"))
    assert taken.problems == () and [row["x_mm"] for row in taken.rows["features.csv"]] == ["0", "300"]


def test_two_lists_of_one_workbook_belong_together(tmp_path: Path, typed: Typed) -> None:
    tabs: Tabs = {
        "Löcher": [["Loch", "Ø (mm)", "Teil"], ["a", 7.0, "lid"], ["b", 7.5, "lid"]],
        "Abstände": [
            ["Teil", "von", "nach", "Abstand (cm)", "+/- mm"],
            ["lid", "a", "b", 30.05, 1],
            ["lid", "b", "c", "20 in", ""],
        ],
        "Notizen": [],
    }
    WRITERS[".ods"](tmp_path / "own.ods", tabs)
    assert typed("new", "b", "--from", "own.ods", *ALL[2:], "--between", "centres")[0] == 0
    build = load_build("b")
    assert {f.feature: f.across_mm for f in build.features} == {"a": 7.0, "b": 7.5, "c": None}
    assert [(r.value, r.unit, r.plus_minus) for r in build.readings] == [(30.05, "cm", 0.1), (20.0, "in", None)]


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_workbook_that_is_a_build_becomes_the_same_build(ending: str, tmp_path: Path, typed: Typed) -> None:
    write(tmp_path / "demo")
    WRITERS[ending](tmp_path / f"own{ending}", tabs_of(tmp_path / "demo"))
    assert typed("new", "b", "--from", f"own{ending}")[0] == 0
    assert load(tmp_path / "b").build == load(tmp_path / "demo").build


def test_a_workbook_with_faults_is_not_taken(tmp_path: Path, typed: Typed) -> None:
    WRITERS[".xlsx"](tmp_path / "own.xlsx", {**SMALL, "readings": [["part"], ["lid"]]})
    code, _, err = typed("new", "b", "--from", "own.xlsx")
    assert code == 2 and "readings:1:" in err and not Path("b").exists()


def test_a_folder_that_is_not_empty_keeps_what_it_has(typed: Typed) -> None:
    Path("own.csv").write_text(DISTANCES)
    Path("b").mkdir()
    Path("b/parts.csv").write_text("mine")
    assert typed("new", "b", "--from", "own.csv", *ALL, "--between", "centres")[0] == 2
    assert [path.read_text() for path in Path("b").iterdir()] == ["mine"]


@pytest.mark.parametrize(
    ("title", "means", "unit"),
    [
        ("X", "x", None), ("x_mm", "x", "mm"), ("Y [cm]", "y", "cm"), ("Abstand in mm", "value", "mm"),
        ("Dia.", "across", None), ("Durchmesser/mm", "across", "mm"), ("von", "from", None), ("d", None, None),
        ("Winkel (Grad)", "angle", "deg"), ("Distance, mm", "value", "mm"), ("+/-", "plus_minus", None),
        ("size mm", None, "mm"), ("± mm", "plus_minus", "mm"), ("+/- mm", "plus_minus", "mm"),
    ],
)  # fmt: skip
def test_headings(title: str, means: str | None, unit: str | None) -> None:
    assert read_heading(title) == Heading(means, unit)


@pytest.mark.parametrize(
    ("means", "headings"),
    [
        ("x", "x|x coordinate|x wert"),
        ("y", "y|y coordinate|y wert"),
        ("z", "z|z coordinate|z wert"),
        ("value", "distance|dist|spacing|reading|measured|value|abstand|entfernung|messwert|gemessen|distanz"),
        ("across", "across|dia|diam|diameter|hole diameter|hole size|ø|⌀|durchmesser|lochdurchmesser|diamètre"
         "|diametro"),
        ("length", "slot length|langlochlänge"),
        ("angle", "angle|winkel"),
        ("plus_minus", "plus minus|+/-|±|tolerance|toleranz"),
        ("from", "from|from hole|hole 1|point 1|von|von loch|loch 1|punkt 1"),
        ("to", "to|to hole|hole 2|point 2|nach|bis|zu|nach loch|loch 2|punkt 2"),
        ("thread", "thread|gewinde"),
        ("kind", "kind|type|art|typ"),
        ("unit", "unit|einheit"),
        ("part", "part|teil|bauteil"),
        ("goes_on", "goes on"),
        ("need", "need"),
        ("instrument", "instrument"),
        ("by", "by|measured by"),
        ("on", "date|day|datum"),
        ("note", "note|notes|remark|remarks|comment|bemerkung|notiz"),
    ],
)  # fmt: skip
def test_every_heading_of_the_table_means_what_it_did(means: str, headings: str) -> None:
    """Common practice, no source. A number in the wrong column would be believed; what is left names a feature."""
    assert {heading for heading, meant in words().items() if meant == means} == set(headings.split("|"))


def test_headings_are_small_and_once() -> None:
    assert all(heading == " ".join(heading.casefold().split()) for heading in words())
    assert letter(25) == "Z" and letter(26) == "AA"
