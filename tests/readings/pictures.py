"""Invented photographs as files: a picture of some size, and picked points of an invented view."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from PIL import Image

from photo.scenes import seen

SIZE = (4000, 3000)
PLACE = {1: "N", 2: (52.0, 31.0, 7.0), 3: "E", 4: (13.0, 24.0, 18.0)}  # an invented place


def picture(folder: Path, name: str = "listing.jpg", size: tuple[int, int] = SIZE, place: bool = False) -> Path:
    """A plain picture; with an invented place and day in its EXIF where asked for."""
    path = folder / name
    exif = Image.Exif()
    if place:
        exif[0x8825] = PLACE
        exif[0x9003] = "2024:05:31 10:11:12"
    Image.new("L", size, 180).save(path, exif=exif)
    return path


def picks(folder: Path, at_px: Mapping[str, tuple[float, float] | np.ndarray], name: str = "picks.csv") -> Path:
    """Picked points as a file."""
    path = folder / name
    rows = [f"{one},{float(at[0]):.1f},{float(at[1]):.1f}" for one, at in at_px.items()]
    path.write_text("feature,px,py\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def view(
    seed: int, at_mm: Mapping[str, tuple[float, float]], picked_px: float = 0.0, tilt_deg: float = 30.0
) -> dict[str, np.ndarray]:
    """Where a camera before the face shows each point, in px; picked with an error."""
    rng = np.random.default_rng(seed)
    shown = seen(rng, np.array(list(at_mm.values()), dtype=float), tilt_deg)
    return dict(zip(at_mm, shown + rng.normal(0.0, picked_px, shown.shape), strict=True))
