"""Random partial builds: what they are, and every command on them."""

from __future__ import annotations

from random import Random

import pytest

from campaigns import run_partial_builds
from campaigns.partial_builds import build_folder, erased, known, partial, settings, whole, write
from partkin.sheets.loading import load


def test_builds_are_free_of_faults_however_little_is_left_of_them(tmp_path):
    for seed in range(60):
        assert load(write(whole(seed), tmp_path / f"whole-{seed}")).problems == ()
        assert load(build_folder(seed, tmp_path)).problems == ()
        draw, left = Random(seed), partial(seed)
        some = [one for one in known(left) if draw.random() < 0.5]
        assert load(write(erased(left, some), tmp_path / f"less-{seed}")).problems == ()


def test_a_number_gives_the_same_bytes_and_another_number_others(tmp_path):
    texts = [
        [path.read_bytes() for path in sorted(build_folder(seed, tmp_path / again).iterdir())]
        for seed, again in ((3, "a"), (3, "b"), (4, "a"))
    ]
    assert texts[0] == texts[1] != texts[2]


def test_without_slips_the_whole_build_fills_in_the_partial_one():
    for seed in range(40):
        full = whole(seed)
        for sheet, rows in partial(seed, slips=False).items():
            for row in rows:
                same = [
                    other for other in full[sheet]
                    if all(not cell or other[column] == cell for column, cell in row.items())
                ]  # fmt: skip
                assert same, (seed, sheet, row)


def test_every_kind_of_want_comes_up():
    """Hosts without features, places without coordinates, slots without direction, parts in space, and the like."""
    seen = set()
    for seed in range(300):
        build = partial(seed)
        parts = {row["part"]: row for row in build["parts.csv"]}
        features = build["features.csv"]
        for name, part in parts.items():
            own = [row for row in features if row["part"] == name]
            if not own:
                seen.add(f"{part['origin']} without features")
            elif not any(row["x_mm"] for row in own):
                seen.add(f"{part['origin']} without places")
            seen.update(f"{column} empty" for column in ("seen_from", "duty", "airbag", "hand") if not part[column])
            if part["origin"] == "donor" and not part["takes_place_of"]:
                seen.add("a donor without a place to take")
        for row in features:
            seen.update(f"{row['kind']} without {column}" for column in ("across_mm", "angle_deg") if not row[column])
            seen.update(column for column in ("z_mm", "axis_x", "goes_on", "float_mm", "fastener_mm") if row[column])
        seen.update(name for name, rows in build.items() if rows)
        seen.update("a correction" for row in build.get("readings.csv", ()) if row["corrects"])
        if sum(part["origin"] == "original" for part in parts.values()) > 1:
            seen.add("several originals")
        seen.add("settings" if settings(seed) else "no settings")
    wanted = {
        *(f"{origin} without {what}" for origin in ("host", "original", "donor") for what in ("features", "places")),
        *(f"{column} empty" for column in ("seen_from", "duty", "airbag", "hand")), "a donor without a place to take",
        "slot without angle_deg", "slot without across_mm", "stud without across_mm", "hole without across_mm",
        "z_mm", "axis_x", "goes_on", "float_mm", "fastener_mm", "a correction", "several originals", "settings",
        "no settings", "offers.csv", "costs.csv", "neighbours.csv", "zones.csv", "outlines.csv", "connectors.csv",
        "held_by.csv", "looks.csv", "outcomes.csv", "models.csv",
    }  # fmt: skip
    assert wanted <= seen, wanted - seen


KINDS = (
    "check", "why", "measure-next", "adapt", "worklist", "positions", "rank", "report", "template", "strip", "ask",
    "export",
)  # fmt: skip
DEFAULT_BUILDS, ALL_BUILDS, AT_A_TIME = 320, 10_000, 40


@pytest.mark.parametrize("start", range(0, DEFAULT_BUILDS, AT_A_TIME))
def test_no_command_ends_in_a_traceback(start):
    """Two commands a build, by turns, so that each comes to its share; large parts in space are for the slow run."""
    for seed in range(start, start + AT_A_TIME):
        if _is_large(partial(seed)):
            continue
        two = {KINDS[seed % len(KINDS)], KINDS[(seed + seed // len(KINDS) + 1) % len(KINDS)]}
        assert _failed(seed, two) == []


@pytest.mark.slow
@pytest.mark.parametrize("start", range(0, ALL_BUILDS, AT_A_TIME))
def test_neither_commands_nor_readings_end_in_a_traceback_on_any_build(start):
    for seed in range(start, start + AT_A_TIME):
        assert _failed(seed, set(KINDS) | {"refit", "costs", "score"}) == []
        assert _failed_readings(seed) == []


def test_readings_are_kept_whatever_the_build():
    """True, wrong, corrected, taken back: of every twentieth build."""
    for seed in range(5, 200, 20):
        if not _is_large(partial(seed)):
            assert _failed_readings(seed) == []


def _is_large(sheets):
    """Whether some part has more features in space than are paired in a moment."""
    in_space = [row["part"] for row in sheets["features.csv"] if row.get("z_mm")]
    return any(in_space.count(part) > 4 for part in in_space)


def _failed(seed, kinds):
    """What went wrong on a build; in the default run only the first command of each kind is tried."""
    some = [words for words in run_partial_builds.commands(seed, partial(seed)) if words[0] in kinds]
    if len(kinds) == 2:
        some = [next(words for words in some if words[0] == kind) for kind in sorted({words[0] for words in some})]
    kept = run_partial_builds.Kept()
    with run_partial_builds.in_build(seed):
        return [ran for ran in (run_partial_builds.run_command(seed, words, kept) for words in some) if ran.fault]


def _failed_readings(seed):
    lines = run_partial_builds.recordings(seed, whole(seed), partial(seed))
    with run_partial_builds.in_build(seed):
        return [ran for ran in (run_partial_builds.run_recording(seed, words) for words in lines) if ran.fault]
