"""Push-fit clips: the check and what confirms it go by one table, on whichever side the clip is."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build
from partkin.model.build import Build, Feature
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import verify

PLATE = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]


def clipped(clip_mm: float, hole_mm: float, clip_on_host: bool, hole_in: str | None, off_mm: float = 0.0) -> Build:
    """Four clips under four holes, one of them out of place; `hole_in`: material of the part with the holes."""
    kinds = (("clip", clip_mm), ("clip hole", hole_mm)) if clip_on_host else (("clip hole", hole_mm), ("clip", clip_mm))
    rows = [
        [
            Feature(part, f"{part[0]}{n}", kind, across_mm=size_mm, x_mm=x + out * (n == 0), y_mm=y, plus_minus_mm=0.0)
            for n, (x, y) in enumerate(PLATE)
        ]
        for part, (kind, size_mm), out in (("host", kinds[0], 0.0), ("donor", kinds[1], off_mm))
    ]
    made = build(*rows)
    return replace(made, parts=tuple(
        replace(p, material=hole_in if (p.part == "donor") == clip_on_host else "sheet steel") for p in made.parts
    ))  # fmt: skip


@pytest.mark.parametrize("clip_on_host", [True, False])
@pytest.mark.parametrize(
    ("clip_mm", "hole_mm", "hole_in", "off_mm", "word"),
    [
        (8.5, 8.0, "ABS", 0.8, "bolts on"),
        (8.5, 8.0, "ABS", 3.0, "does not fit"),
        (8.5, 8.0, "sheet steel", 0.0, "bolts on"),
        (8.5, 8.0, "sheet steel", 0.8, "does not fit"),
        (8.5, 8.0, None, 0.8, "does not fit"),
        (7.6, 8.0, "sheet steel", 0.3, "bolts on"),
        (12.0, 8.0, "ABS", 0.0, "does not fit"),
        (8.0, 12.0, "ABS", 0.0, "does not fit"),
    ],
)
def test_what_is_said_of_clips_is_confirmed(
    clip_on_host: bool, clip_mm: float, hole_mm: float, hole_in: str | None, off_mm: float, word: str
) -> None:
    made = clipped(clip_mm, hole_mm, clip_on_host, hole_in, off_mm)
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == word
    assert verify(json.loads(verdict_json(verdict)), made) == ()


def test_it_says_which_clip_is_not_held() -> None:
    too_large, too_small = (
        partkin.check(clipped(*sizes, True, "ABS"), "donor") for sizes in ((12.0, 8.0), (8.0, 12.0))
    )
    assert "a clip of 12 mm does not go into a hole of 8 mm" in (too_large.conflict_says or "")
    assert "a clip of 8 mm does not hold in a hole of 12 mm" in (too_small.conflict_says or "")
