"""Threads: data/tables/threads.csv, how the trade writes them, and which join and which must not."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from partkin.tables.reader import by_first, read

MM_PER_INCH = 25.4
# Number sizes of unified threads: 0.060 in + 0.013 in a number (ASME B1.1), in use from 0 to 12. A whole
# number before the dash is a number size only with a fine pitch: 1-8 is one inch, 1-64 is number 1.
LARGEST_NUMBER_SIZE = 12
LEAST_NUMBER_TPI = 24
# ISO 261 has no pitch above a quarter of the diameter; more than 0.3 of it is a bolt's length, not a pitch.
GREATEST_PITCH_OF_DIAMETER = 0.3


class Thread(NamedTuple):
    """A thread, with the hole that its bolt goes through where that is known.

    `series` is that of data/tables/threads.csv (`not in the table` for others). The clearance hole is the medium one
    of ISO 273, or the normal one of ASME B18.2.8.
    """

    designation: str
    major_mm: float
    pitch_mm: float
    clearance_medium_mm: float | None = None
    series: str = "not in the table"
    source: str = "diameter and pitch as the designation says"
    left_hand: bool = False

    @property
    def form(self) -> str:
        """The family whose members join: metric, unified, BSP parallel, NPT taper or BSW 55 deg."""
        if self.series.startswith("ISO") or self.designation.startswith("M"):
            return "metric"
        return self.series if self.series in ("BSP parallel", "NPT taper", "BSW 55 deg") else "unified"


def threads() -> Mapping[str, Thread]:
    """Return every thread of data/tables/threads.csv by its designation, in table order.

    Examples
    --------
    >>> threads()["M6x1"].clearance_medium_mm
    6.6
    """
    return by_first("threads.csv", Thread)


_METRIC = re.compile(r"M(\d+(?:\.\d+)?)(?:[x-](\d+(?:\.\d+)?)|coarse)?(?:-?\d[a-z]\d?[a-z]?)?", re.ASCII)
_SIZE = r"(#|no\.?)?(\d+(?:\.\d+)?(?:[ -]\d+/\d+)?|\d+/\d+|\.\d+)"
_FAMILY = r"(un[cfjs]?|unef|unrc|unrf|bsw|npt)?(?:-?[123][ab])?"
_INCH = re.compile(_SIZE + r"(?:-(\d+(?:\.\d+)?))?" + _FAMILY, re.ASCII)
_PIPE = re.compile(r"(?:g|bspp?)(\d+(?:[ -]\d+/\d+)?|\d+/\d+)|(\d+(?:[ -]\d+/\d+)?|\d+/\d+)bspp?", re.ASCII)
_LEFT_HAND = re.compile(r"[- ]*(?:lh|left[- ]?hand(?:ed)?|left)$")


def _tidy(text: str) -> str:
    text = text.strip().lower()
    for written, plain in (("×", "x"), ("*", "x"), ("–", "-"), ("″", ""), ('"', ""), ("''", ""), (",", ".")):
        text = text.replace(written, plain)
    text = re.sub(r"(?<=[\d ])in(?:ch)?(?![a-z])", "", text)
    text = re.sub(r"(?<=\d)\s*mm\b", "", text)
    text = re.sub(r"\s*([x#-])\s*", r"\1", text).strip()
    # A space means something only between a whole number and its fraction: 1 1/8-7.
    return re.sub(r"(?<!\d) +| +(?!\d+/\d)", "", re.sub(r" +", " ", text))


def _inches(text: str) -> float:
    whole, _, fraction = text.replace("-", " ").rpartition(" ")
    above, _, below = fraction.partition("/")
    if below and float(below) == 0.0:
        return math.nan
    return (float(whole) if whole else 0.0) + float(above) / (float(below) if below else 1.0)


def _like(form: str, major_mm: float, pitch_mm: float) -> Thread | None:
    return next(
        (
            thread for thread in threads().values()
            if thread.form == form
            and math.isclose(thread.major_mm, major_mm, abs_tol=0.002)
            and math.isclose(thread.pitch_mm, pitch_mm, abs_tol=0.0005)
        ),
        None,
    )  # fmt: skip


def _metric(text: str) -> Thread | None:
    match = _METRIC.fullmatch(text.replace("m", "M", 1))
    if match is None:
        return None
    major_mm = float(match[1])
    same_size = [known for known in threads().values() if known.form == "metric" and known.major_mm == major_mm]
    if match[2] is None:
        return next((known for known in same_size if known.series == "ISO coarse"), None)
    pitch_mm = float(match[2])
    if not (0.1 <= pitch_mm <= GREATEST_PITCH_OF_DIAMETER * major_mm and major_mm <= 300.0):
        return None
    known = _like("metric", major_mm, pitch_mm)
    if known is not None:
        return known
    hole_mm = same_size[0].clearance_medium_mm if same_size else None
    return Thread(f"M{major_mm:g}x{pitch_mm:g}", major_mm, pitch_mm, clearance_medium_mm=hole_mm)


def _inch(text: str) -> Thread | None:
    match = _INCH.fullmatch(text)
    if match is None:
        return None
    number, size, tpi_text, family = match.groups()
    tail = {"npt": " NPT", "bsw": " BSW"}.get(family or "", "")
    if tail or tpi_text is None:
        series = {"unc": "UNC", "unrc": "UNC", "unf": "UNF", "unrf": "UNF"}.get(family or "")
        return next(
            (
                known
                for known in threads().values()
                if (known.designation.endswith(tail) if tail else known.series == series)
                and known.designation.split("-")[0] == size
                and tpi_text in (None, known.designation.removesuffix(tail).split("-")[1])
            ),
            None,
        )
    tpi = float(tpi_text)
    whole = size.isdigit() and int(size) <= LARGEST_NUMBER_SIZE
    by_number = whole and (bool(number) or tpi >= LEAST_NUMBER_TPI)
    if number and not by_number:
        return None
    major_in = 0.060 + 0.013 * int(size) if by_number else _inches(size)
    if not (0.05 <= major_in <= 12.0 and 1.0 <= tpi <= 120.0):
        return None
    major_mm, pitch_mm = major_in * MM_PER_INCH, MM_PER_INCH / tpi
    if pitch_mm > GREATEST_PITCH_OF_DIAMETER * major_mm:
        return None
    known = _like("unified", major_mm, pitch_mm)
    return known or Thread(f"{size}-{tpi_text}", round(major_mm, 4), round(pitch_mm, 5))


@lru_cache(maxsize=4096)
def parse_thread(text: str) -> Thread | None:
    """Read a thread as the trade writes it; None where diameter and pitch cannot be told from it.

    A metric size alone is its coarse pitch; a bolt's length does not belong in a thread.

    `text`: for instance `M6x1`, `M8` (coarse), `m8 x 1,25`, `M10x1.25 LH`, `1/4-20`, `#10-32 UNF`, `G1/4`.

    Examples
    --------
    >>> parse_thread("M8").designation, parse_thread("1/4-20 UNC").major_mm
    ('M8x1.25', 6.35)
    >>> parse_thread("M8x30") is None
    True
    """
    if not 2 <= len(text) <= 40:
        return None
    tidy = text.strip().lower()
    left_hand = _LEFT_HAND.search(tidy) is not None
    tidy = _tidy(_LEFT_HAND.sub("", tidy))
    pipe = _PIPE.fullmatch(tidy)
    found = _metric(tidy) or (threads().get(f"G{pipe[1] or pipe[2]}") if pipe else None) or _inch(tidy)
    if found is None or not left_hand:
        return found
    return found._replace(designation=f"{found.designation} LH", left_hand=True)


def threads_join(a: Thread, b: Thread) -> bool:
    """Whether a bolt of one thread goes properly into a nut of the other: same form, size, pitch and hand.

    Examples
    --------
    >>> threads_join(parse_thread("M8"), parse_thread("M8x1.25"))
    True
    >>> threads_join(parse_thread("M8"), parse_thread("5/16-18"))
    False
    """
    return (
        a.form == b.form
        and a.left_hand == b.left_hand
        and math.isclose(a.major_mm, b.major_mm, abs_tol=0.002)
        and math.isclose(a.pitch_mm, b.pitch_mm, abs_tol=0.0005)
    )


class NearMiss(NamedTuple):
    """Two threads that may start by hand in each other and must not be joined.

    `turns`: how many turns until the threads are a quarter of the smaller pitch apart; None where the
    pitches are equal and something else (flank angle, taper, diameter) is wrong.
    """

    thread_a: str
    thread_b: str
    turns: float | None
    note: str
    source: str


@lru_cache(maxsize=1024)
def near_miss(a: str, b: str) -> NearMiss | None:
    """Return the near miss of two designations, in either order; None where the table has none.

    Examples
    --------
    >>> near_miss("5/16-18", "M8x1.25").note
    'almost equal diameter'
    """
    rows = read("near_misses.csv", NearMiss)
    return next((miss for miss in rows if {miss.thread_a, miss.thread_b} == {a, b}), None)
