"""Nothing that a file can hold makes reading raise; what is added is what is read."""

# ruff: noqa: E501 (one case after another)

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from builders import append
from partkin.model.columns import SHEETS
from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.loading import load, read
from sheets.base import BASE, contents

NAMES = ["build.toml", *(sheet.name for sheet in SHEETS)]
PIECES = st.sampled_from(
    [",", ";", "\t", '"', "\n", "\r", "\r\n", "'", "=", "-", "new", "a", "1,5", "1.5", "nan", "1e9", "M6", "hole", "\x00",
     "\ufeff", "é", "a" * 300, "part", "feature", "kind", "[build]", "confidence=", "2024-05-31", "|", "😀", "\x85", "\u2028"]
)  # fmt: skip


def check(files: dict[str, bytes]) -> None:
    loaded = read(files)
    assert (loaded.build is None) == bool(loaded.problems)
    for one in (*loaded.problems, *loaded.warnings):
        assert isinstance(one, Problem)
        assert one.what and one.mend and one.row >= 0
        assert "\n" not in str(one) and "\r" not in str(one)
    assert loaded == read(files)


@given(st.sampled_from(NAMES), st.binary(max_size=400))
@example("parts.csv", b"\xff\xfe")
@example("build.toml", b"x = " + b"[" * 5000)
@example("build.toml", b"a = 1" + b"0" * 5000)
@settings(max_examples=150)
def test_random_bytes(name: str, content: bytes) -> None:
    check(contents({name: content}))


@given(st.sampled_from(NAMES), st.lists(PIECES, max_size=60))
@settings(max_examples=150)
def test_random_pieces(name: str, pieces: list[str]) -> None:
    check(contents({name: "".join(pieces)}))


@given(st.sampled_from(NAMES), st.lists(PIECES, max_size=60))
@settings(max_examples=100)
def test_random_pieces_below_the_right_header(name: str, pieces: list[str]) -> None:
    check(contents({name: BASE[name].split("\n", 1)[0] + "\n" + "".join(pieces)}))


@given(st.integers(0, 10**9), st.sampled_from(NAMES))
@example(seed=14790, name="zones.csv")  # a seam whose part is a faulty cell
@example(seed=55242, name="parts.csv")
@settings(max_examples=200)
def test_a_few_bytes_of_a_good_sheet_changed(seed: int, name: str) -> None:
    draw = random.Random(seed)
    content = bytearray(BASE[name].encode())
    for _ in range(draw.randint(1, 6)):
        place = draw.randrange(len(content))
        content[place : place + draw.randint(0, 2)] = bytes(
            draw.choices(b',;"\n\r=-+.x0\xe9\x00', k=draw.randint(0, 3))
        )
    check(contents({name: bytes(content)}))


@given(st.integers(0, 10**9))
@settings(max_examples=100)
def test_cells_of_a_good_build_swapped(seed: int) -> None:
    """References across the sheets go astray in every way."""
    draw = random.Random(seed)
    words = sorted({cell for text in BASE.values() for line in text.splitlines()[1:] for cell in line.split(",")})
    files = dict(BASE)
    for _ in range(draw.randint(1, 5)):
        name = draw.choice(NAMES[1:])
        lines = files[name].splitlines()
        row = draw.randrange(1, len(lines))
        cells = lines[row].split(",")
        cells[draw.randrange(len(cells))] = draw.choice(words)
        lines[row] = ",".join(cells)
        files[name] = "\n".join(lines) + "\n"
    check(contents(files))


CELL = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40) | st.text("=+-@'\";,\n\r abc", max_size=12)
NUMBER = st.decimals(-99999, 99999, places=9) | st.integers(-99999, 99999) | st.decimals(-9, 9, places=3)
WROTE = st.sampled_from(
    [("\n", ",", "utf-8", ""), ("\r\n", ";", "utf-8", "\ufeff"), ("\r", "\t", "utf-8", ""), ("\n", ";", "utf-8", ""),
     ("\r\n", ",", "utf-8", "\ufeff")]
)  # fmt: skip


@given(CELL, NUMBER, WROTE, st.sampled_from(["3", "3.5", "3,5", "-3.5"]))
@settings(max_examples=150)
def test_what_is_added_is_what_is_read(
    note: str, number: object, wrote: tuple[str, str, str, str], amount: str
) -> None:
    end, separator, encoding, mark = wrote
    sheet = "on,what,part,amount,note,colour\n2024-05-31,clips,new,AMOUNT,old note,red\n"
    text = sheet.replace(",", separator).replace("\n", end).replace("AMOUNT", f'"{amount}"')
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file, content in contents({"costs.csv": (mark + text).encode(encoding)}).items():
            (folder / file).write_bytes(content)
        before = (folder / "costs.csv").read_bytes()
        kept = load(folder).build
        assert kept is not None
        try:
            append(folder, "costs.csv", {"what": "more", "amount": str(number), "note": note})
        except FaultyInput:
            # Only text that no sheet can hold is refused, and then nothing is touched.
            assert not note.strip().isprintable()
            assert (folder / "costs.csv").read_bytes() == before
            return
        assert (folder / "costs.csv").read_bytes().startswith(before)
        build = load(folder).build
        assert build is not None
        assert build.costs[:-1] == kept.costs
        assert build.costs[-1].amount == float(str(number))
        assert build.costs[-1].note == (note.strip() or None)


@pytest.mark.slow
@given(st.dictionaries(st.sampled_from(NAMES), st.lists(PIECES, max_size=200).map("".join), max_size=13))
@settings(max_examples=2000)
def test_whole_folders_of_pieces(files: dict[str, str]) -> None:
    check({name: text.encode() for name, text in files.items()})
