"""Every command that the program suggests, typed as printed, does what it was suggested for."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from partkin import pipeline
from partkin.cli.app import app
from partkin.tables.reader import shipped

# A command stands alone on its line, or behind a word and a colon, in single or back quotes, or in brackets.
PRINTED = re.compile(r"(?:^|[\s`(\"'])partkin ((?:[a-z][a-z-]*)(?: .*)?)$")
HOST = "host,frame,host,,outside,body\n"
PARTS = "part,name,origin,takes_place_of,seen_from,duty\n"
FEATURES = "part,feature,kind,across_mm,length_mm,angle_deg,float_mm,thread,x_mm,y_mm,plus_minus_mm,need,goes_on\n"
STUDS = (
    "host,F1,stud,,,,,M6,0,0,0.3,must,\nhost,F2,stud,,,,,M6,400,0,0.3,must,\nhost,F3,stud,,,,,M6,430,180,0.3,must,\n"
)
READINGS = "part,reading,quantity,from,to,value,unit,plus_minus,instrument,by,on,corrects,note\n"
OFF = {"k1": "4,0,0.3", "k2": "400,0,0.3", "k3": "430,180,0.3"}
AT = {"k1": "0,0,0.3", "k2": "400,0,0.3", "k3": "430,180,0.3"}
DISTANCES = "".join(
    f"d,r{n},centres,{ends},{mm},mm,,tape,,,,\n"
    for n, (ends, mm) in enumerate([("k1,k2", 400), ("k2,k3", 182.5), ("k1,k3", 466.2)], start=1)
)


def holes(first: str = "hole,8.5,,,,", at: dict[str, str] | None = None) -> str:
    """Three holes of the donor; what the first is, and where each stands."""
    kinds = {"k1": first, "k2": "hole,8.5,,,,", "k3": "hole,8.5,,,,"}
    places = at or dict.fromkeys(kinds, ",,")
    return "".join(f"d,{name},{kind},{places[name]},,F{name[1]}\n" for name, kind in kinds.items())


def build(folder: Path, *rows: str, readings: str = "", donor: str = "d,trim,donor,host,outside,trim\n") -> Path:
    folder.mkdir()
    (folder / "parts.csv").write_text(PARTS + HOST + donor)
    (folder / "features.csv").write_text(FEATURES + "".join(rows))
    (folder / "readings.csv").write_text(READINGS + readings)
    return folder


SLIPPED = DISTANCES.replace("466.2", "46.62") + "d,r4,centres,k1,k3,466,mm,,tape,,,,\n"
NUT = STUDS.replace("host,F1,stud,,,,,M6", "host,F1,captive nut,,,,,M6")
BUILDS: dict[str, Callable[[Path], Path]] = {
    "nothing measured on the donor": lambda at: build(at, STUDS, holes()),
    "distances alone": lambda at: build(at, STUDS, holes(), readings=DISTANCES),
    "a folder with a blank": lambda at: build(at.with_name("my build"), STUDS, holes(), readings=DISTANCES),
    "looks that contradict": lambda at: build(
        at,
        STUDS,
        holes(),
        readings=DISTANCES + "d,s1,left of,k3,k1 k2,,,,,,,\nd,s2,right of,k3,k1 k2,,,,,,,\n",
    ),
    "a slip": lambda at: build(at, STUDS, holes(), readings=SLIPPED),
    "a slot that points nowhere": lambda at: build(at, STUDS, holes("slot,6.2,20,,,", OFF)),
    "a hole of no size": lambda at: build(at, STUDS, holes("hole,,,,,", AT)),
    "a slot of no length": lambda at: build(at, STUDS, holes("slot,6.2,,0,,", OFF)),
    "nothing that goes through": lambda at: build(
        at, STUDS.replace("F1,stud,,,,,M6", "F1,slot,8,14,0,,"), holes(at=AT)
    ),
    "a nut of no float": lambda at: build(at, NUT, holes("hole,6.1,,,,", OFF)),
    "a host of no size": lambda at: build(at, STUDS.replace("F1,stud,,,,,M6", "F1,stud,,,,,"), holes(at=AT)),
    "coarse": lambda at: build(at, STUDS, holes(at={name: at_mm.replace("0.3", "6") for name, at_mm in AT.items()})),
    "does not fit": lambda at: build(at, STUDS, holes(at=AT | {"k2": "407,0,0.3"})),
    "bolts on": lambda at: build(at, STUDS, holes(at=AT)),
    "the demo": lambda at: Path(shutil.copytree(shipped("data") / "demo", at)),
}


def run(command: str, folder: Path) -> Result:
    """Type a command at the prompt of a folder."""
    words = shlex.split(command)
    if words[0] in ("new", "demo"):
        words = [word.replace("my-build", str(folder.parent / "fresh")) for word in words]
    return CliRunner().invoke(app, words)


def printed(text: str) -> list[str]:
    """The commands that a text suggests, as they stand in it."""
    lines = re.split(r"\n| or (?=right: )", text)
    found = [match[1].rstrip("`).") for line in lines if (match := PRINTED.search(line.rstrip()))]
    return [re.split(r"\s{2,}", command)[0] for command in found]


@dataclass(frozen=True)
class Suggested:
    """A command with the build that it was printed for."""

    folder: Path
    command: str


def all_outputs(folder: Path) -> list[str]:
    """What the commands that suggest others print for every donor of a build."""
    donors = [part.part for part in pipeline.load_build(folder).parts if part.origin == "donor"]
    at = shlex.quote(str(folder))
    asked = [f"{what} {donor} --in {at}" for donor in donors for what in ("check", "measure-next", "positions", "why")]
    asked += [
        f"measure-next {donor} --in {at} {how}"
        for donor in donors for how in ("--far", "--at-hand", "--for-seller", "--for-seller --far")
    ]  # fmt: skip
    asked += [f"strip {donor} --in {at} --stuck {row.fastener}" for donor in donors
              for row in pipeline.load_build(folder).holdings if row.part == donor][:2]  # fmt: skip
    asked += [f"refit {donor} --in {at}" for donor in donors] + [f"rank --in {at}", f"doctor {at}", f"costs --in {at}"]
    done = [run(command, folder) for command in asked]
    return [result.stdout + "\n" + result.stderr for result in done]


# What a placeholder stands for where any value will do.
FILLED = {"THREAD": "M6", "DIRECTION": "'to k2'", "MM": "1", "VALUE": "8.4", "DONOR": "d", "FOLDER": "fresh"}


def value_for(command: str) -> str:
    """A value that may be true of what is asked: a distance as it is on the host, else a width or length."""
    ends = {word for word in command.split() if word in AT}
    if "--quantity length" in command:
        return "20"
    if len(ends) == 2:
        places = [tuple(map(float, AT[end].split(",")[:2])) for end in sorted(ends)]
        (ax, ay), (bx, by) = places
        return f"{((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5:.1f}"
    return "466.2" if "--corrects" in command else "8.4"


def typed(command: str) -> str:
    filled = re.sub(r"\bVALUE\b", value_for(command), command)
    for name, value in FILLED.items():
        filled = re.sub(rf"\b{name}\b", value, filled)
    return filled


def settled_by(folder: Path, command: str) -> None:
    """A record command answers a question: its row or cell is there, and nothing but it changed."""
    before = {path.name: path.read_text() for path in folder.glob("*.csv")}
    done = run(typed(command), folder)
    assert done.exit_code == 0, (command, done.output, done.stderr, done.exception)
    after = {path.name: path.read_text() for path in folder.glob("*.csv")}
    changed = [name for name in after if after[name] != before.get(name)]
    if re.search(r"--(through|angle|float)\b", command):
        assert changed == ["features.csv"]
        count = after["features.csv"].count("\n"), before["features.csv"].count("\n")
        assert count[0] == count[1], "cells are filled, no row is added"
    else:
        assert changed == ["readings.csv"] and after["readings.csv"].startswith(before["readings.csv"])


@pytest.mark.parametrize("name", BUILDS)
def test_what_is_suggested_can_be_typed_as_printed(name: str, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder = BUILDS[name](tmp_path / "build")
    kept = tmp_path / "kept"
    shutil.copytree(folder, kept)
    commands = list(dict.fromkeys(command for text in all_outputs(folder) for command in printed(text)))
    for command in commands:
        shutil.rmtree(folder)
        shutil.copytree(kept, folder)
        if command.startswith("record "):
            settled_by(folder, command)
        else:
            done = run(typed(command), folder)
            assert done.exit_code == 0, (command, done.output, done.exception)
    if name not in ("bolts on", "does not fit"):
        assert commands, "something is open, and nothing was suggested"


@pytest.mark.parametrize(
    "name", [name for name in BUILDS if name not in ("bolts on", "does not fit", "coarse", "the demo", "a slip")]
)
def test_doing_what_is_asked_for_first_ends_in_a_verdict(name: str, tmp_path: Path, monkeypatch) -> None:
    """The first suggestion, followed again and again, never asks the same thing twice and settles the donor."""
    monkeypatch.chdir(tmp_path)
    folder = BUILDS[name](tmp_path / "build")
    asked: list[str] = []
    for _ in range(12):
        text = run(f"measure-next d --at-hand --in {shlex.quote(str(folder))}", folder).stdout
        first = next((one for one in printed(text) if one.startswith("record ")), None)
        if first is None or "not enough measured" not in text.splitlines()[0]:
            break
        assert first not in asked, f"asked twice: {first}"
        asked.append(first)
        settled_by(folder, first)
    assert "not enough measured" not in text.splitlines()[0], text
    assert asked


def test_a_person_at_the_bench_is_never_told_to_have_the_seller_read_the_car(tmp_path: Path) -> None:
    folder = BUILDS["a host of no size"](tmp_path / "build")
    text = run(f"measure-next d --far --in {folder}", folder).stdout
    told = [one for one in printed(text) if one.startswith("record host")]
    assert told and not any("seller" in one for one in told)


def test_what_a_wrong_reading_suggests_can_be_typed(tmp_path: Path) -> None:
    folder = BUILDS["distances alone"](tmp_path / "build")
    run(f"record d k3 --left-of k1 k2 --in {folder}", folder)
    done = run(f"record d k3 --left-of k2 k1 --in {folder}", folder)
    (again,) = printed(done.output)
    assert again == f"record d k3 --right-of k2 k1 --corrects r5 --in {folder}"
    settled_by(folder, again)
    done = run(f"record d k1 k2 40 --in {folder}", folder)
    for command in printed(done.output):
        settled_by(folder, command)
