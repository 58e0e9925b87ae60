"""Materials: how each may be worked, and what a hole in it asks of a clip."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType

from partkin.tables.reader import read


@dataclass(frozen=True)
class Material:
    """How one group of materials may be worked: `open_out`, `slot`, `new_hole` are yes, no or carrier."""

    group: str
    words: tuple[str, ...]
    rules_as: str
    engages_as: str
    open_out: str
    slot: str
    new_hole: str
    why: str
    caution: str
    source: str

    def bears(self, do: str) -> bool:
        """Whether the material may be worked in that way at all."""
        said = {"open out": self.open_out, "slot": self.slot, "new hole": self.new_hole}
        return said.get(do, "yes") != "no"


@cache
def materials() -> tuple[Material, ...]:
    """Return data/tables/materials.csv; the first row whose word is found counts."""
    return read("materials.csv", Material)


@lru_cache(maxsize=256)
def material_of(text: str | None) -> Material | None:
    """Find the material group that a part's `material` cell names; None: not known.

    Examples
    --------
    >>> material_of("leather-covered foam").group, material_of("Glass-filled nylon").group
    ('covered foam', 'plastic')
    >>> material_of("unobtainium") is None
    True
    """
    if not text:
        return None
    said = text.lower()
    for row in materials():
        for word in row.words:
            # Glass-filled nylon is no glass.
            alone = rf"(?<![a-z0-9]){re.escape(word)}(?![a-z0-9])(?![- ](?:filled|reinforced|fib))"
            if re.search(alone, said):
                return row
    return None


@dataclass(frozen=True)
class ClipRule:
    """What a hole in one group of materials asks of a push-fit clip.

    `takes_mm`: misplacement that the clip takes. `larger_mm`: how much larger than its hole it may be and still
    go in; `smaller_mm`: how much smaller and still hold.
    """

    hole_in: str
    takes_mm: float
    larger_mm: float
    smaller_mm: float
    source: str


@cache
def clip_rules() -> Mapping[str, ClipRule]:
    """Return data/tables/clips.csv by the group of the material that the hole is in."""
    return MappingProxyType({row.hole_in: row for row in read("clips.csv", ClipRule)})


def clip_rule(material: str | None) -> ClipRule:
    """Return what a hole in this material asks of a clip; not known: as in sheet steel.

    Examples
    --------
    >>> clip_rule("ABS").takes_mm, clip_rule("sheet steel").takes_mm, clip_rule(None).takes_mm
    (0.5, 0.0, 0.0)
    """
    group = material_of(material)
    return clip_rules().get(group.group if group else "any", clip_rules()["any"])
