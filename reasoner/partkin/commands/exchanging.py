"""Exchange between workshops: some parts of a build out as Turtle, and a file of theirs in, nothing overwritten."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from partkin.model.build import Build, Part, Settings
from partkin.model.columns import SHEETS
from partkin.model.problem import FaultyInput, Problem, refuse_any
from partkin.sheets.values import HELD_IN, Cells, cell_text, cells_of, settings_toml

# What names a row of each sheet; sheets without are compared as whole rows.
KEYS: Final = {
    "neighbours.csv": ("part", "edge", "neighbour"),
    **{sheet.name: tuple(name for name in sheet.key if name != "point") for sheet in SHEETS if sheet.key},
}
# Cells of a part's own frame: where they differ, the two files measured from different origins.
PLACES: Final = ("x_mm", "y_mm", "z_mm", "corners_mm", "seen_from")
PLACED: Final = ("features.csv", "zones.csv", "outlines.csv")
# What comes with a part, and what else it names that has to come too.
COME_ALONG: Final[dict[str, tuple[str, ...]]] = {
    "readings": (), "zones": (), "outlines": (), "connectors": (), "neighbours": ("neighbour",),
    "holdings": ("held_to",), "looks": ("beside",),
}  # fmt: skip
PRICED: Final = ("offers.csv", "costs.csv")
MEND: Final = "Nothing is overwritten: mend one of the two, or take in the rest with --skip-conflicts"
MOST_LISTED: Final = 100


class Taking(NamedTuple):
    """What a file would add to a folder.

    `rows`: what is new, by sheet. `there`: how many rows the folder has already, by sheet. `conflicts`: where the
    two disagree. `fuller`: cells that the file knows and the folder leaves empty; `notes`: what else is to be
    thought of. `new_folder`: the folder holds no build yet.
    """

    rows: dict[str, list[Any]]
    there: dict[str, int]
    conflicts: tuple[Problem, ...] = ()
    skipped: dict[str, int] | None = None
    fuller: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    new_folder: bool = False


def of_parts(build: Build, names: Iterable[str]) -> tuple[Build, tuple[str, ...]]:
    """Return a build of some parts alone, with what was left out because it names other parts.

    Their models, features, readings, zones, outlines and connectors come with them; gaps and fasteners only where
    both sides do; no money, no outcomes.

    Raises
    ------
    FaultyInput
        Where there is no such part.
    """
    wanted = list(dict.fromkeys(names))
    refuse_any(build.lacking(wanted))
    left_out: list[str] = []
    parts = tuple(_alone(part, wanted, left_out) for part in build.parts if part.part in wanted)
    hosts = {part.part: part.takes_place_of in wanted for part in parts}
    features = [feature for feature in build.features if feature.part in wanted]
    for part in (part for part, kept in hosts.items() if not kept):
        named = sum(feature.goes_on is not None for feature in features if feature.part == part)
        left_out += [f"goes_on of {named} features of {part}"] * bool(named)
    models = {part.model for part in parts}

    def whole(row: Any, names: tuple[str, ...]) -> bool:
        return all(getattr(row, name) in wanted for name in ("part", *names))

    along = {held: tuple(r for r in getattr(build, held) if whole(r, names)) for held, names in COME_ALONG.items()}
    return Build(
        settings=Settings(name=build.settings.name),
        models=tuple(model for model in build.models if model.model in models),
        parts=parts,
        features=tuple(f if hosts[f.part] else replace(f, goes_on=None) for f in features),
        **along,
    ), tuple(left_out)


def _alone(part: Part, wanted: list[str], left_out: list[str]) -> Part:
    place, above = part.takes_place_of, part.part_of
    for name, other in (("takes_place_of", place), ("part_of", above)):
        if other is not None and other not in wanted:
            left_out.append(f"{name} {other} of {part.part}")
    return replace(part, takes_place_of=place if place in wanted else None, part_of=above if above in wanted else None)


def without_people(build: Build) -> Build:
    """Return a build that names no person: neither who read nor who sells. Notes stay as they are."""
    return replace(
        build,
        readings=tuple(replace(reading, by=None) for reading in build.readings),
        offers=tuple(replace(offer, seller=None) for offer in build.offers),
    )


def compare(build: Build | None, incoming: Build) -> Taking:
    """Lay a file's rows beside those of a folder (None: it holds no build yet); nothing is changed."""
    if build is None:
        whole = {sheet: list(getattr(incoming, held)) for sheet, held in HELD_IN.items()}
        unsaid = tuple(_place_notes(incoming.parts))
        return Taking({sheet: found for sheet, found in whole.items() if found}, {}, notes=unsaid, new_folder=True)
    rows: dict[str, list[Any]] = {}
    there: dict[str, int] = {}
    conflicts: Conflicts = []
    fuller: list[str] = []
    for sheet, held in HELD_IN.items():
        own, theirs = getattr(build, held), getattr(incoming, held)
        if sheet in KEYS:
            new, same = _by_key(sheet, own, theirs, conflicts, fuller)
        else:
            new, same = _by_row(own, theirs)
        if sheet in PRICED and new:
            new = _in_one_currency(sheet, build, incoming, new, conflicts)
        rows[sheet], there[sheet] = new, same
    notes = [*_settings_notes(build, incoming), *_frame_notes(build, incoming, rows), *_place_notes(rows["parts.csv"])]
    rows, skipped = _without_conflicts(build, incoming, rows, conflicts)
    return Taking(
        {s: r for s, r in rows.items() if r}, {s: n for s, n in there.items() if n}, tuple(p for p, _ in conflicts),
        {s: n for s, n in skipped.items() if n}, tuple(fuller), tuple(notes),
    )  # fmt: skip


Conflicts = list[tuple[Problem, Any]]


def _by_key(
    sheet: str, own: Iterable[Any], theirs: Iterable[Any], conflicts: Conflicts, fuller: list[str]
) -> tuple[list[Any], int]:
    """Return the rows whose name the folder does not have, and how many it has already."""

    def key(row: Any) -> tuple[Any, ...]:
        return tuple(getattr(row, name) for name in KEYS[sheet])

    known = {key(row): row for row in own}
    new, same = [], 0
    for row in theirs:
        mine = known.get(key(row))
        if mine is None:
            new.append(row)
            continue
        differing = _differing(mine, row)
        named = " ".join(str(part) for part in key(row))
        for name, here, there in differing:
            if here is None or here == ():
                fuller.append(f"{sheet}, {named}: {name} {_shown(there)}")
            elif there is not None and there != ():
                what = f"{named}: {name} is {_shown(here)} here and {_shown(there)} in the file"
                conflicts.append((Problem(sheet, mine.row, name, what, MEND), row))
        same += not any(at is row for _, at in conflicts)
    return new, same


def _differing(mine: Any, row: Any) -> list[tuple[str, Any, Any]]:
    pairs = ((f.name, getattr(mine, f.name), getattr(row, f.name)) for f in fields(row) if f.name != "row")
    return [(name, here, there) for name, here, there in pairs if here != there and not _same_way(name, here, there)]


def _same_way(name: str, here: Any, there: Any) -> bool:
    """Whether two values are one: the sheets keep 15 digits, and bring a direction to length 1, which rounds."""
    if isinstance(here, float) and isinstance(there, float):
        return math.isclose(here, there, rel_tol=1e-12, abs_tol=1e-12)
    if name != "axis" or None in (here, there):
        return False
    ours, theirs = ([value / (math.hypot(*axis) or 1.0) for value in axis] for axis in (here, there))
    return math.dist(ours, theirs) < 1e-9


def _shown(value: Any) -> str:
    text = f"{len(value)} other corners" if isinstance(value, tuple) and len(value) > 6 else cell_text(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _by_row(own: Iterable[Any], theirs: Iterable[Any]) -> tuple[list[Any], int]:
    """Return the rows that the folder does not have at all, or has fewer times."""
    left = Counter(replace(row, row=0) for row in own)
    new, same = [], 0
    for row in theirs:
        bare = replace(row, row=0)
        if left[bare] > 0:
            left[bare] -= 1
            same += 1
        else:
            new.append(row)
    return new, same


def _in_one_currency(sheet: str, build: Build, incoming: Build, new: list[Any], conflicts: Conflicts) -> list[Any]:
    here, there = build.settings.currency, incoming.settings.currency
    if here == there or here is None or there is None:
        return new
    what = f"{len(new)} rows of the file are in {there}, the build is in {here}"
    conflicts.append((Problem(sheet, 0, "currency", what, "Nothing is converted here; " + MEND), None))
    return []


def _settings_notes(build: Build, incoming: Build) -> list[str]:
    return [
        f"build.toml: {name} stays {_shown(here)}; the file has {_shown(there)}"
        for name, here, there in _differing(build.settings, incoming.settings)
        if name != "name" and there is not None and there != getattr(Settings(), name)
    ]


def _frame_notes(build: Build, incoming: Build, rows: dict[str, list[Any]]) -> list[str]:
    """Say where features come to a part that has its own and no feature is in both: the origins may differ."""
    own: dict[str, set[str]] = {}
    for feature in build.features:
        own.setdefault(feature.part, set()).add(feature.feature)
    shared = {f.part for f in incoming.features if f.feature in own.get(f.part, ())}
    parts = dict.fromkeys(f.part for f in rows["features.csv"] if f.part in own and f.part not in shared)
    return [
        f"{part} has features of its own and none is in both: see that both were measured from one origin"
        for part in parts
    ]


def _place_notes(parts: Iterable[Part]) -> list[str]:
    return [
        f"{part.part} does not say whose place it takes: fill in takes_place_of in parts.csv"
        for part in parts if part.origin == "donor" and part.takes_place_of is None
    ]  # fmt: skip


def _without_conflicts(
    build: Build, incoming: Build, rows: dict[str, list[Any]], conflicts: Conflicts
) -> tuple[dict[str, list[Any]], dict[str, int]]:
    """Leave out what hangs on a conflict: a part that differs may be another part, a frame another frame."""
    parts = {row.part for problem, row in conflicts if problem.sheet == "parts.csv"}
    frames = {row.part for problem, row in conflicts if problem.column in PLACES and row is not None}
    readings = {(row.part, row.reading) for problem, row in conflicts if problem.sheet == "readings.csv"}
    kept: dict[str, list[Any]] = {}
    for sheet, new in rows.items():
        gone = frames if sheet in PLACED else set()
        of = [(row, getattr(row, "part", None)) for row in new]
        kept[sheet] = [r for r, part in of if (part or getattr(r, "donor", None)) not in parts and part not in gone]
    known = {(f.part, f.feature) for source in (build.features, kept["features.csv"]) for f in source}
    out: set[tuple[str, str]] = set(readings)
    firm = []
    for row in kept["readings.csv"]:
        ends = [end for end in (row.from_feature, row.to_feature, row.line_from, row.line_to) if end]
        loose = row.quantity != "gap" and any((row.part, end) not in known for end in ends)
        # A reading that corrects another of the file must not correct a different one of the folder.
        if (conflicts and loose) or (row.part, row.corrects) in out:
            out.add((row.part, row.reading))
        else:
            firm.append(row)
    kept["readings.csv"] = firm
    return kept, {sheet: len(rows[sheet]) - len(kept[sheet]) for sheet in rows}


def take_in(file: Path, folder: Path, skip_conflicts: bool = False) -> tuple[Taking, tuple[Problem, ...]]:
    """Add what a Turtle file knows to a folder: new rows only, all of them or none.

    `file`: Turtle, as `partkin export` writes it. `folder`: a build folder, or an empty one, or none yet.
    `skip_conflicts`: add the rest where the two disagree; what hangs on a conflict is left out too. Returns Taking,
    tuple of Problem: what was added, and warnings.

    Raises
    ------
    FaultyInput
        With every fault of the file, every conflict, or every fault that its rows would bring to the sheets;
        nothing was changed then.
    """
    from partkin import graph
    from partkin.graph.incoming import BYTES_AT_MOST
    from partkin.sheets import content_of

    content = content_of(file, "Name a Turtle file that partkin export wrote", BYTES_AT_MOST)
    build, warnings = _folder(folder)
    incoming, problems = graph.read_turtle(content)
    named = tuple(replace(one, sheet=file.name) if one.sheet == "import" else one for one in problems)
    if incoming is None:
        raise FaultyInput(named)
    taking = compare(build, incoming)
    if taking.conflicts and not skip_conflicts:
        first, more = taking.conflicts[:MOST_LISTED], len(taking.conflicts) - MOST_LISTED
        raise FaultyInput((*first, *[Problem("import", 0, "", f"{more} more conflicts", "See above")] * (more > 0)))
    _write(folder, taking, incoming)
    return taking, (*warnings, *named)


def _folder(folder: Path) -> tuple[Build | None, tuple[Problem, ...]]:
    """Return the build of a folder; None where it holds no sheet at all."""
    from partkin import pipeline

    if not folder.exists() or (folder.is_dir() and not any((folder / n).exists() for n in ("build.toml", *HELD_IN))):
        return None, ()
    return pipeline.read(folder)


def _write(folder: Path, taking: Taking, incoming: Build) -> None:
    from partkin.sheets import append_all, files

    rows: dict[str, list[Cells]] = _cells(taking)
    if not taking.new_folder:
        if rows:
            append_all(folder, rows)
        return
    made = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "build.toml"
    try:
        files.put(settings, settings_toml(incoming).encode())
        append_all(folder, {"parts.csv": [], "features.csv": [], **rows})
    except BaseException:
        settings.unlink(missing_ok=True)
        if made:
            folder.rmdir()
        raise


def _cells(taking: Taking) -> dict[str, list[Cells]]:
    """Return the rows as cells; a value that would be read as several in its cell is a fault."""
    faults = []
    for part in taking.rows.get("parts.csv", ()):
        if any(";" in number for number in part.replaces):
            what = f"a part number that {part.part} replaces has a semicolon in it"
            faults.append(Problem("parts.csv", 0, "replaces", what, "Mend it in the file"))
    refuse_any(faults)
    return {sheet: cells_of(sheet, rows) for sheet, rows in taking.rows.items()}
