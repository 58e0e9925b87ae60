"""Each fault has its own message, at its own cell, and nothing else is said."""

# ruff: noqa: E501 (one fault a line)

from __future__ import annotations

import pytest

from partkin.sheets.loading import read
from sheets.base import BASE, contents, places, read_spoiled, warned

F, P, R = "features.csv", "parts.csv", "readings.csv"

# sheet, {(row, column): cell}, where the fault is, words of its message
CELLS = [
    # words
    (F, {(6, "kind"): "hol"}, "features.csv:6:kind", "Did you mean hole?"),
    (F, {(3, "kind"): "captiv nut"}, "features.csv:3:kind", "Did you mean captive nut?"),
    (P, {(4, "origin"): "doner"}, "parts.csv:4:origin", "Did you mean donor?"),
    (P, {(3, "duty"): "trimm"}, "parts.csv:3:duty", "Did you mean trim?"),
    (P, {(4, "seen_from"): "behind"}, "parts.csv:4:seen_from", "Write one of: outside, inside"),
    (F, {(6, "across_mm"): "1/4"}, "features.csv:6:across_mm", "Write 1/4 in, or 0.25 mm"),
    (P, {(4, "hand"): "l"}, "parts.csv:4:hand", "Write one of: left, right"),
    (P, {(4, "flex_in_plane"): "true"}, "parts.csv:4:flex_in_plane", "Write one of: yes, no"),
    (R, {(2, "quantity"): "center"}, "readings.csv:2:quantity", "Did you mean centres?"),
    (R, {(2, "instrument"): "calliper"}, "readings.csv:2:instrument", "Did you mean caliper?"),
    ("offers.csv", {(2, "option"): "used"}, "offers.csv:2:option", "Write one of: donor, repair, new, custom"),
    ("offers.csv", {(2, "available"): "maybe"}, "offers.csv:2:available", "Write one of: yes, no"),
    ("outcomes.csv", {(2, "verdict_then"): "fits"}, "outcomes.csv:2:verdict_then", "does not fit"),
    ("held_by.csv", {(3, "caution"): "heavy;glas"}, "held_by.csv:3:caution", "Did you mean glass?"),
    ("held_by.csv", {(3, "certain"): "no"}, "held_by.csv:3:certain", "Write one of: yes, guess"),
    # needed cells
    (P, {(4, "part"): ""}, "parts.csv:4:part", "part is empty"),
    (F, {(6, "feature"): ""}, "features.csv:6:feature", "feature is empty"),
    (F, {(6, "kind"): ""}, "features.csv:6:kind", "Write one of: hole, slot"),
    (R, {(3, "value"): ""}, "readings.csv:3:value", "value is empty"),
    (R, {(3, "unit"): ""}, "readings.csv:3:unit", "unit is empty"),
    ("costs.csv", {(2, "amount"): ""}, "costs.csv:2:amount", "amount is empty"),
    ("zones.csv", {(4, "x_mm"): ""}, "zones.csv:4:x_mm", "x_mm is empty"),
    ("outcomes.csv", {(2, "happened"): ""}, "outcomes.csv:2:happened", "happened is empty"),
    ("held_by.csv", {(2, "held_to"): ""}, "held_by.csv:2:held_to", "held_to is empty"),
    # ids
    (P, {(5, "part"): "dash board"}, "parts.csv:5:part", "Write dash-board, here and wherever it is named"),
    (P, {(5, "part"): "-dash"}, "parts.csv:5:part", "cannot be an id"),
    (P, {(5, "part"): ".."}, "parts.csv:5:part", "cannot be an id"),
    (P, {(5, "part"): "x" * 65}, "parts.csv:5:part", "longer than 64"),
    (F, {(6, "feature"): "a/b"}, "features.csv:6:feature", "cannot be an id"),
    (R, {(2, "reading"): "r 1"}, "readings.csv:2:reading", "cannot be an id"),
    (P, {(4, "name"): "x" * 201}, "parts.csv:4:name", "longer than 200"),
    (P, {(4, "name"): "two\nlines"}, "parts.csv:4:name", "Write it on one line"),
    # duplicates
    (F, {(5, "feature"): "o1"}, "features.csv:5:feature", "feature o1 of part old is already in row 4"),
    (R, {(3, "reading"): "r1"}, "readings.csv:3:reading", "reading r1 of part new is already in row 2"),
    ("models.csv", {(4, "model"): "one"}, "models.csv:4:model", "model one is already in row 2"),
    ("connectors.csv", {(3, "part"): "new"}, "connectors.csv:3:connector", "connector speaker of part new is already"),
    ("zones.csv", {(3, "point"): "1"}, "zones.csv:3:point", "Give one of the two another number"),
    ("outlines.csv", {(3, "point"): "1"}, "outlines.csv:3:point", "another number"),
    # dangling references
    (P, {(4, "model"): "twoo"}, "parts.csv:4:model", "twoo is not in models.csv. Did you mean two?"),
    (P, {(4, "part_of"): "Dash"}, "parts.csv:4:part_of", "Did you mean dash?"),
    (R, {(2, "part"): "nwe"}, "readings.csv:2:part", "nwe is not in parts.csv. Did you mean new?"),
    (R, {(3, "from"): "aa"}, "readings.csv:3:from", "new has no feature aa. Did you mean a?"),
    (R, {(2, "to"): "F1"}, "readings.csv:2:to", "new has no feature F1"),
    (R, {(6, "corrects"): "r9"}, "readings.csv:6:corrects", "new has no reading r9"),
    (F, {(6, "goes_on"): "F9"}, "features.csv:6:goes_on", "frame and old have no fixing F9"),
    ("offers.csv", {(2, "part"): "gone"}, "offers.csv:2:part", "gone is not in parts.csv"),
    ("costs.csv", {(2, "part"): "gone"}, "costs.csv:2:part", "gone is not in parts.csv"),
    ("neighbours.csv", {(2, "part"): "gone"}, "neighbours.csv:2:part", "gone is not in parts.csv"),
    ("connectors.csv", {(3, "part"): "gone"}, "connectors.csv:3:part", "gone is not in parts.csv"),
    ("outcomes.csv", {(2, "donor"): "gone"}, "outcomes.csv:2:donor", "gone is not in parts.csv"),
    ("held_by.csv", {(2, "part"): "gone"}, "held_by.csv:2:part", "gone is not in parts.csv"),
    ("held_by.csv", {(2, "behind"): "clip-2"}, "held_by.csv:2:behind", "Did you mean clip-1?"),
    # chains
    (P, {(5, "part_of"): "new"}, "parts.csv:4:part_of", "part_of leads back to its beginning: new, dash, new"),
    (P, {(5, "part_of"): "dash"}, "parts.csv:5:part_of", "dash, dash"),
    (R, {(2, "corrects"): "r5"}, "readings.csv:2:corrects", "in a ring: r1, r5, r1"),
    (R, {(3, "corrects"): "r2"}, "readings.csv:3:corrects", "in a ring: r2, r2"),
    (P, {(3, "replaces"): "pn 2"}, "parts.csv:3:replaces", "in a ring: PN-1, pn 2, PN-1"),
    (P, {(3, "replaces"): "PN-1"}, "parts.csv:3:replaces", "in a ring: PN-1, PN-1"),
    ("held_by.csv", {(2, "behind"): "old"}, "held_by.csv:2:behind", "never come off"),
    # what takes the place of what, and goes on what
    (P, {(2, "takes_place_of"): "old"}, "parts.csv:2:takes_place_of", "a host stays on the vehicle"),
    (P, {(4, "takes_place_of"): "dash"}, "parts.csv:4:takes_place_of", "dash is a donor"),
    (P, {(5, "takes_place_of"): "dash"}, "parts.csv:5:takes_place_of", "dash, dash"),
    (F, {(2, "goes_on"): "o1"}, "features.csv:2:goes_on", "frame is a host"),
    (F, {(7, "goes_on"): "F1"}, "features.csv:7:goes_on", "a of new goes on F1 already (row 6)"),
    # sizes
    (F, {(6, "across_mm"): "-7"}, "features.csv:6:across_mm", '"-7" is not more than 0 mm'),
    (F, {(6, "across_mm"): "0"}, "features.csv:6:across_mm", "leave the cell empty when it is not known"),
    (F, {(6, "plus_minus_mm"): "-0.5"}, "features.csv:6:plus_minus_mm", "less than nothing"),
    (F, {(3, "float_mm"): "-1"}, "features.csv:3:float_mm", "less than nothing"),
    (P, {(3, "thickness_mm"): "0"}, "parts.csv:3:thickness_mm", "not more than 0 mm"),
    (P, {(3, "mass_kg"): "-4"}, "parts.csv:3:mass_kg", "not more than 0 kg"),
    (P, {(3, "mass_kg"): "4000000"}, "parts.csv:3:mass_kg", "above 100000 kg"),
    (F, {(6, "x_mm"): "1000000"}, "features.csv:6:x_mm", "above 100000 mm"),
    (F, {(7, "length_mm"): "6"}, "features.csv:7:length_mm", "6 mm long and 7 mm wide"),
    (F, {(6, "float_mm"): "1"}, "features.csv:6:float_mm", "for a captive nut, and this is a hole"),
    ("neighbours.csv", {(2, "gap_mm"): "-5"}, "neighbours.csv:2:gap_mm", "less than nothing"),
    ("neighbours.csv", {(2, "gap_max_mm"): "2"}, "neighbours.csv:2:gap_max_mm", "widest gap, 2 mm, is less"),
    ("connectors.csv", {(2, "ways"): "2.5"}, "connectors.csv:2:ways", "not a whole number"),
    ("connectors.csv", {(2, "ways"): "0"}, "connectors.csv:2:ways", "below 1"),
    ("outcomes.csv", {(2, "chance_then"): "97"}, "outcomes.csv:2:chance_then", "above 1"),
    ("offers.csv", {(2, "price"): "-240"}, "offers.csv:2:price", "less than nothing"),
    ("held_by.csv", {(2, "count"): "0"}, "held_by.csv:2:count", "below 1"),
    ("held_by.csv", {(2, "torque_nm"): "0"}, "held_by.csv:2:torque_nm", "not more than 0"),
    # positions and directions
    (F, {(6, "y_mm"): ""}, "features.csv:6:y_mm", "x_mm is given and y_mm is empty"),
    (F, {(6, "x_mm"): ""}, "features.csv:6:x_mm", "y_mm is given and x_mm is empty"),
    (F, {(6, "z_mm"): "4"}, "features.csv:7:z_mm", "given on other features of new"),
    (F, {(6, "x_mm"): "", (6, "y_mm"): "", (6, "z_mm"): "4"}, "features.csv:6:z_mm", "without x_mm and y_mm"),
    (F, {(3, "axis_z"): "0"}, "features.csv:3:axis_x", "the axis has no length"),
    (F, {(3, "axis_y"): ""}, "features.csv:3:axis_y", "axis_x and axis_z given and axis_y empty"),
    # threads
    (F, {(2, "thread"): "M6x30"}, "features.csv:2:thread", "Write the thread alone: M6"),
    (F, {(2, "thread"): "M9"}, "features.csv:2:thread", "no diameter and pitch"),
    (F, {(2, "thread"): "Apr-40"}, "features.csv:2:thread", "is a date, which a spreadsheet may have made"),
    (F, {(2, "thread"): "2020-04-01"}, "features.csv:2:thread", "Write UNC or UNF behind it"),
    (F, {(2, "across_mm"): "8"}, "features.csv:2:across_mm", "the stud is 8 mm across and its thread is M6x1 (6 mm)"),
    (F, {(3, "across_mm"): "10"}, "features.csv:3:across_mm", "the captive nut is 10 mm across"),
    (F, {(4, "thread"): "M8"}, "features.csv:4:fastener_mm", "fastener is 6 mm and its thread is M8x1.25"),
    ("held_by.csv", {(2, "thread"): "six"}, "held_by.csv:2:thread", "no diameter and pitch"),
    # units and readings
    (R, {(5, "unit"): "mm"}, "readings.csv:5:unit", "mass is a mass, and mm is not a unit of mass"),
    (R, {(2, "unit"): "kg"}, "readings.csv:2:unit", "centres is a length, and kg is not a unit of length"),
    (R, {(2, "unit"): "inchs"}, "readings.csv:2:unit", "Did you mean inches?"),
    (R, {(2, "unit"): "ft"}, "readings.csv:2:unit", "Write one of: mm, cm, m, in, kg, g, lb"),
    (R, {(2, "value"): "12 in"}, "readings.csv:2:value", "the value is in in and the unit says mm"),
    (R, {(2, "value"): "-300"}, "readings.csv:2:value", "centres of -300 mm cannot be"),
    (R, {(3, "value"): "0"}, "readings.csv:3:value", "across of 0 mm cannot be"),
    (R, {(2, "unit"): "m"}, "readings.csv:2:value", "too much for a part"),
    (R, {(2, "plus_minus"): "-1"}, "readings.csv:2:plus_minus", "less than nothing"),
    (R, {(2, "to"): ""}, "readings.csv:2:to", "read between two features, and to is empty"),
    (R, {(2, "from"): ""}, "readings.csv:2:from", "read between two features, and from is empty"),
    (R, {(3, "from"): ""}, "readings.csv:3:from", "across is of one feature"),
    (R, {(3, "to"): "b"}, "readings.csv:3:to", "across is not read between two features"),
    (R, {(5, "to"): "b"}, "readings.csv:5:to", "mass is not read between two features"),
    (R, {(5, "from"): "a"}, "readings.csv:5:from", "mass is of the whole part"),
    (R, {(2, "to"): "a"}, "readings.csv:2:to", "from and to are both a"),
    (R, {(4, "from"): "a"}, "readings.csv:4:quantity", "the length of a was read, and it is a hole"),
    # days and years
    (R, {(2, "on"): "5/6/2024"}, "readings.csv:2:on", "may be 2024-06-05 or 2024-05-06. Write the one that is meant"),
    (R, {(2, "on"): "5.6.2024"}, "readings.csv:2:on", "may be 2024-06-05 or 2024-05-06"),
    (R, {(2, "on"): "28.5.24"}, "readings.csv:2:on", "has a year of two digits"),
    (R, {(2, "on"): "Juni 2024"}, "readings.csv:2:on", "is not a day that can be read. Write year-month-day"),
    (R, {(2, "on"): "2023-02-29"}, "readings.csv:2:on", "there is no day"),
    (R, {(2, "on"): "31.6.2024"}, "readings.csv:2:on", "there is no day"),
    ("models.csv", {(2, "first_year"): "2016"}, "models.csv:2:last_year", "2015, is before the first, 2016"),
    ("models.csv", {(2, "first_year"): "10"}, "models.csv:2:first_year", "not a year"),
    # numbers
    (F, {(6, "x_mm"): "nan"}, "features.csv:6:x_mm", '"nan" is not a number'),
    (F, {(6, "x_mm"): "-inf"}, "features.csv:6:x_mm", "is not a number"),
    (F, {(6, "x_mm"): "1e999"}, "features.csv:6:x_mm", "too large"),
    (F, {(6, "x_mm"): "1_000"}, "features.csv:6:x_mm", "is not a number"),
    (F, {(6, "x_mm"): "0x10"}, "features.csv:6:x_mm", "is not a number"),
    (F, {(6, "x_mm"): "=1+2"}, "features.csv:6:x_mm", '"=1+2" is not a number'),
    (F, {(6, "x_mm"): "1,234"}, "features.csv:6:x_mm", "may be 1234 or 1.2340"),
    (F, {(6, "x_mm"): "1,234.5"}, "features.csv:6:x_mm", "both a comma and a dot"),
    (F, {(7, "angle_deg"): "5 mm"}, "features.csv:7:angle_deg", "is in mm, and angle_deg is in deg"),
    (P, {(3, "mass_kg"): "4 mm"}, "parts.csv:3:mass_kg", "is in mm, and mass_kg is in kg"),
    ("offers.csv", {(2, "price"): "240 kg"}, "offers.csv:2:price", '"kg" is no currency that is known here'),
    ("offers.csv", {(2, "price"): "1.250 EUR"}, "offers.csv:2:price", "may be 1250 or 1.250"),
    # zones and outlines
    ("zones.csv", {(5, "kind"): "structural"}, "zones.csv:5:kind", "box is keep clear in row 4"),
    ("zones.csv", {(6, "zone"): "seam", (6, "kind"): "tear seam"}, "zones.csv:4:point", "has 2 corners; keep clear needs 3"),
    ("zones.csv", {(3, "zone"): "box", (3, "kind"): "keep clear", (3, "point"): "9"}, "zones.csv:2:point", "has 1 corner"),
    ("zones.csv", {(4, "point"): "first"}, "zones.csv:4:point", "is not a number"),
    # held_by
    (
        "held_by.csv", {(4, "part"): "old", (4, "fastener"): "bolt-1", (4, "behind"): ""},
        "held_by.csv:4:fastener", "fastener bolt-1 of held_to frame of part old is already in row 2",
    ),
    (
        "held_by.csv", {(4, "fastener"): "bolt-1", (4, "kind"): "screw", (4, "behind"): ""},
        "held_by.csv:4:kind", "bolt-1 is a bolt in row 2 and a screw here",
    ),
    ("held_by.csv", {(4, "fastener"): "new"}, "held_by.csv:4:fastener", "new is a part too"),
]  # fmt: skip


def test_the_base_has_no_fault_and_no_warning() -> None:
    loaded = read(contents())
    assert loaded.problems == loaded.warnings == ()
    assert loaded.build is not None


@pytest.mark.parametrize(
    ("sheet", "cells", "place", "words"), CELLS, ids=[f"{place}-{n}" for n, (_, _, place, _) in enumerate(CELLS)]
)
def test_cell(sheet: str, cells: dict[tuple[int, str], str], place: str, words: str) -> None:
    loaded = read_spoiled(sheet, cells)
    assert places(loaded) == [place]
    assert words in str(loaded.problems[0])
    assert loaded.build is None


WARNED = [
    (F, {(6, "length_mm"): "9"}, "features.csv:6:length_mm", "length_mm is for slots"),
    (F, {(6, "angle_deg"): "9"}, "features.csv:6:angle_deg", "it is not used"),
    (F, {(7, "angle_deg"): ""}, "features.csv:7:angle_deg", "the slot's direction is not given"),
    (F, {(7, "length_mm"): ""}, "features.csv:7:length_mm", "the slot's length is not given"),
    (F, {(7, "zone"): "seem"}, "features.csv:7:zone", "Did you mean seam?"),
    (R, {(2, "plus_minus"): "400"}, "readings.csv:2:plus_minus", "as much as itself"),
    (R, {(3, "corrects"): "r1"}, "readings.csv:6:corrects", "r1 is corrected in row 3 already"),
    (P, {(4, "takes_place_of"): ""}, "features.csv:6:goes_on", "F1 is not looked up"),
    ("neighbours.csv", {(2, "neighbour"): "frme"}, "neighbours.csv:2:neighbour", "Did you mean frame?"),
    ("zones.csv", {(5, "point"): "3", (6, "point"): "2"}, None, ""),
    ("outlines.csv", {(4, "point"): "4", (5, "point"): "3"}, "outlines.csv:2:point", "crosses itself (at points 2, 3, 4, 1)"),
]  # fmt: skip


@pytest.mark.parametrize(("sheet", "cells", "place", "words"), WARNED)
def test_warning(sheet: str, cells: dict[tuple[int, str], str], place: str | None, words: str) -> None:
    loaded = read_spoiled(sheet, cells)
    assert loaded.problems == ()
    assert loaded.build is not None
    assert warned(loaded)[:1] == ([place] if place else [])
    assert [words in str(one) for one in loaded.warnings[:1]] == ([True] if place else [])


SHEETS = [
    ({"parts.csv": None}, ["parts.csv:0:"], "the sheet is missing"),
    ({"features.csv": None}, ["features.csv:0:"], "the sheet is missing"),
    ({"readings.csv": ""}, ["readings.csv:0:"], "the sheet is empty"),
    ({"readings.csv": " \n\n"}, ["readings.csv:0:"], "the sheet is empty"),
    ({"readings.csv": ",,\n1,2,3\n"}, ["readings.csv:1:"], "no column names"),
    ({"readings.csv": "sep=;\npart;reading\n"}, ["readings.csv:1:"], "Delete that line"),
    ({"readings.csv": b"PK\x03\x04 and so on"}, ["readings.csv:0:"], "a spreadsheet file, not CSV"),
    ({"readings.csv": "part".encode("utf-16")}, ["readings.csv:0:"], "text in UTF-16"),
    ({"readings.csv": b"part,\x00"}, ["readings.csv:0:"], "zero bytes"),
    ({"readings.csv": b"part,\x81,\x8d"}, ["readings.csv:0:"], "not text in UTF-8 or Latin-1"),
    ({"readings.csv": b"\xef\xbb\xbfpart,\xe9"}, ["readings.csv:0:"], "not text in UTF-8 or Latin-1"),
    ({"costs.csv": "on,what,part,amount,note\n,clips\x07,,1,\n"}, ["costs.csv:2:"], "not text (code 7)"),
    ({"costs.csv": 'on,what,part,amount,note\n,"clips,,1,\n'}, ["costs.csv:2:"], "a quotation mark opens a cell"),
    ({"costs.csv": 'on,what,part,amount,note\n,"M6" clips,,1,\n'}, ["costs.csv:2:"], 'write "" for a quotation mark'),
    ({"costs.csv": "on,what,part,amount,note\n,clips,,1,a,b\n"}, ["costs.csv:2:"], "the row has 6 cells and the header 5"),
    ({"costs.csv": "on,what,part,amount,note\n,clips,,1,50,x\n"}, ["costs.csv:2:"], "decimal comma in quotation marks"),
    ({"costs.csv": "on,what,part,amount,note,what\n,clips,,1,,\n"}, ["costs.csv:1:what"], "is there twice"),
    ({"costs.csv": "on,what,part,sum,note\n,clips,,1,\n"}, ["costs.csv:1:amount"], "the column amount is missing"),
    ({"costs.csv": "on,what,part,amounts,note\n,clips,,1,\n"}, ["costs.csv:1:amount"], "Is it amounts? Name it amount"),
    ({"costs.csv": f"on,what,part,amount,note\n,clips,,1,{'x' * 10_001}\n"}, ["costs.csv:2:"], "longer than 10000"),
    ({"costs.csv": f"on,what,part,amount,note\n,clips,,1,{'x' * 140_000}\n"}, ["costs.csv:2:"], "longer than 10000"),
    ({"costs.csv": ",".join(f"c{n}" for n in range(300)) + "\n"}, ["costs.csv:1:"], "has 300 cells"),
    ({"build.toml": "[build]\nname = \n"}, ["build.toml:2:"], "this is not TOML"),
    ({"build.toml": b"[build]\nname = '\xe9'\n"}, ["build.toml:0:"], "not text in UTF-8"),
    ({"build.toml": "[build]\nconfidence = 0.5\n"}, ["build.toml:2:confidence"], "not between 0.5 and 1"),
    ({"build.toml": "[build]\nconfidence = 1.0\n"}, ["build.toml:2:confidence"], "not between 0.5 and 1"),
    ({"build.toml": "[build]\nconfidence = nan\n"}, ["build.toml:2:confidence"], "not a number"),
    ({"build.toml": f"[build]\nlabour_rate = 1{'0' * 400}\n"}, ["build.toml:2:labour_rate"], "not a number"),
    ({"build.toml": "[build]\nlabour_rate = -1\n"}, ["build.toml:2:labour_rate"], "labour rate of -1 cannot be"),
    ({"build.toml": "[build]\nscatter_mm = 6\n"}, ["build.toml:2:scatter_mm"], "a scatter_mm of 6 is not from 0 to 5"),
    ({"build.toml": "[build]\nlabour_rate = true\n"}, ["build.toml:2:labour_rate"], "not a number"),
    ({"build.toml": '[build]\ncurrency = "euro"\n'}, ["build.toml:2:currency"], "ISO 4217"),
    ({"build.toml": '[build]\nadapt_host = "no"\n'}, ["build.toml:2:adapt_host"], "Write true or false"),
    ({"build.toml": "[build]\nname = 3\n"}, ["build.toml:2:name"], "not a line of text"),
    ({"build.toml": "build = 3\n"}, ["build.toml:1:build"], "Begin with a line [build]"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "expected", "words"), SHEETS)
def test_sheet(changes: dict[str, str | bytes | None], expected: list[str], words: str) -> None:
    loaded = read(contents(changes))
    assert places(loaded) == expected
    assert words in str(loaded.problems[0])


def test_a_faulty_sheet_does_not_make_the_references_to_it_dangle() -> None:
    """A part whose row cannot be read may be the one that other sheets name."""
    spoiled = BASE["parts.csv"].replace("new,top,", "new top,top,")
    assert places(read(contents({"parts.csv": spoiled}))) == ["parts.csv:4:part"]


def test_all_faults_come_at_once_in_the_order_of_the_sheets() -> None:
    loaded = read(
        contents(
            {
                "outcomes.csv": BASE["outcomes.csv"].replace("bolts on,", "fits,"),
                "build.toml": "[build]\nconfidence = 2\n",
                "features.csv": BASE["features.csv"].replace("new,a,hole,7", "new,a,holl,-7"),
                "parts.csv": BASE["parts.csv"].replace("old,top as it was,one", "old,top as it was,three"),
            }
        )
    )
    assert places(loaded) == [
        "build.toml:2:confidence", "parts.csv:3:model", "features.csv:6:kind", "features.csv:6:across_mm",
        "outcomes.csv:2:verdict_then",
    ]  # fmt: skip


def test_a_problem_reads_as_one_line() -> None:
    loaded = read_spoiled(F, {(6, "kind"): "ho\nle"})
    assert str(loaded.problems[0]) == (
        'features.csv:6:kind: "ho le" is not a word for kind. Did you mean hole? Write one of: hole, slot, '
        "tapped hole, captive nut, stud, peg, peg hole, clip, clip hole"
    )


def test_optional_sheets_may_be_missing() -> None:
    loaded = read({name: text.encode() for name, text in BASE.items() if name in ("parts.csv", "features.csv")})
    assert loaded.problems == ()
    assert loaded.build is not None
    assert loaded.build.settings.confidence == 0.95
    assert len(loaded.build.parts) == 4
    assert loaded.build.models == ()


@pytest.mark.parametrize("letter", ["\x1b", "\x9b", "\u202e", "\u2066"])
def test_what_would_steer_a_terminal_or_turn_what_follows_is_refused_and_not_said(letter: str) -> None:
    """U+009B begins a terminal's command as ESC [ does, and U+202E writes what follows from right to left."""
    (fault,) = read_spoiled(P, {(4, "name"): f"top{letter}31m dash"}).problems
    assert f"not text (code {ord(letter)})" in fault.what and str(fault).isprintable()


def test_faults_of_the_builds_own_work_stand_with_all_others():
    loaded = read(
        {**contents({}), "work.csv": b"do,minutes,cost,workmanship_mm\nslot,-1,x,0\n", "parts.csv": b"part,colour\n"}
    )
    assert {"work.csv:2:minutes", "work.csv:2:cost", "parts.csv:1:colour"} <= set(places(loaded)) | set(warned(loaded))
