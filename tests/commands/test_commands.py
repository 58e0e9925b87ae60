"""Every command says what it is for and ends in an example; the page of all commands is theirs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.cli.described import commands, examples, page
from partkin.graph.incoming import BYTES_AT_MOST, LETTERS_AT_MOST, SHAPES_AT_MOST, TRIPLES_AT_MOST

ROOT = Path(__file__).parents[2]
COMMANDS = {path: command for path, command, _ in commands()}


@pytest.mark.parametrize("path", COMMANDS)
def test_its_help_says_what_it_does_and_ends_in_an_example(path):
    help_text = COMMANDS[path].help
    assert help_text and len(help_text.split("\n\n")) >= 2
    lines = examples(COMMANDS[path])
    assert lines, "the last paragraph is an example"
    assert any(line.split(" --")[0].startswith(path) for line in lines), lines
    assert all(line.startswith("partkin ") for line in lines), lines


@pytest.mark.parametrize("path", COMMANDS)
def test_every_word_and_option_is_explained(path):
    context = COMMANDS[path].context_class(COMMANDS[path], info_name=path)
    records = [param.get_help_record(context) for param in COMMANDS[path].params]
    assert [record for record in records if record is not None and not record[1].strip()] == []


def test_the_page_of_all_commands_is_up_to_date():
    wanted = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert wanted == page(), "run: python -m partkin.cli.described > docs/commands.md"


def test_the_limits_that_help_tells_are_those_of_the_code():
    told = " ".join((COMMANDS["partkin import"].help or "").split())
    for limit in (f"{BYTES_AT_MOST >> 20} MB", f"{TRIPLES_AT_MOST} statements,", f"{LETTERS_AT_MOST} letters"):
        assert limit in told
    assert f"Up to {SHAPES_AT_MOST} statements" in told


def test_completion_names_the_commands():
    """What a shell asks for when somebody types `partkin te` and Tab."""
    asked = {"_PARTKIN_COMPLETE": "complete_bash", "COMP_WORDS": "partkin te", "COMP_CWORD": "1"}
    command = Path(sys.executable).with_name("partkin")
    done = subprocess.run([str(command)], env={**os.environ, **asked}, capture_output=True, text=True, timeout=30)
    assert done.stdout.split() == ["template"]


def made_beforehand(folder: Path) -> None:
    """The files that the examples name: a drawing, two pictures with picked points, listings, a file of a part."""
    from page import picture

    image, seen = picture.drawn(picture.GLOVE)
    for name in ("glove.jpg", "listing.jpg"):
        (folder / name).write_bytes(picture.jpeg(image))
    corners = {f"p{n}": seen.px(at) for n, at in enumerate(picture.SHEET_AT, 1)}
    points = {**corners, **{name: seen.px(at) for name, at in picture.GLOVE.items()}}
    rows = "".join(f"{name},{x:.1f},{y:.1f}\n" for name, (x, y) in points.items())
    (folder / "picks.csv").write_text("feature,px,py\n" + rows)
    (folder / "holes.csv").write_text("hole,x,y,diameter\na,0,0,8\nb,400,0,8\n")
    (folder / "listings.csv").write_text("option,part,price,seller,on\ndonor,top-dask,95,breaker three,2026-02-09\n")


# A page is served until somebody ends it; a photograph needs names of its own part in its picks.
NOT_RUN = {"partkin page", "partkin same-shape"}


@pytest.mark.slow
def test_the_examples_run(tmp_path):
    """One after another in one folder, as a reader would."""
    made_beforehand(tmp_path)
    beside = Path(sys.executable).parent
    env = {**os.environ, "PATH": f"{beside}{os.pathsep}{os.environ['PATH']}", "NO_COLOR": "1"}

    def run(line: str) -> None:
        done = subprocess.run(line, shell=True, cwd=tmp_path, env=env, capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"

    for line in ("partkin demo", "partkin template top-dask --in demo-build -o top.dxf"):
        run(line)
    for path, command in COMMANDS.items():
        if path in NOT_RUN:
            continue
        for line in examples(command):
            # A photograph belongs to the build that the other examples use.
            run(line + (" --in demo-build" if path == "partkin photo" else ""))


def test_what_the_demo_would_try_next_is_of_donors_that_show_it(tmp_path):
    said = CliRunner().invoke(app, ["demo", str(tmp_path / "demo")]).stdout
    tries = [line.split() for line in said.partition("Try next\n")[2].splitlines()]
    assert [words[1:3] for words in tries[:3]] == [
        ["check", "top-kurm"],
        ["check", "top-dask"],
        ["measure-next", "glove-dask"],
    ]
