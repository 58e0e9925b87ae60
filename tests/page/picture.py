"""Invented photographs: a flat part with holes and a sheet of known size on it, seen aslant; no camera took them."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

# Where the corners of a board of 520 x 360 mm are seen in a picture of 1600 x 1200 pixels.
BOARD_MM = ((-60.0, -60.0), (460.0, -60.0), (460.0, 300.0), (-60.0, 300.0))
SEEN_PX = ((150.0, 1080.0), (1500.0, 1020.0), (1380.0, 140.0), (240.0, 210.0))
# A sheet of A5 lying down, 210 x 148 mm (ISO 216), its lower left corner at 60, 35.
SHEET_MM = (210.0, 148.0)
SHEET_AT = ((60.0, 35.0), (270.0, 35.0), (270.0, 183.0), (60.0, 183.0))
# Holes of the demo's glove-dask (k4 where a true one would be).
GLOVE = {"k1": (0.0, 0.0), "k2": (386.0, 4.0), "k3": (379.0, 211.0), "k4": (6.0, 208.0)}


@dataclass(frozen=True)
class View:
    """From a face in mm to a picture in px."""

    matrix: np.ndarray

    def px(self, at_mm: tuple[float, float]) -> tuple[float, float]:
        x, y, w = self.matrix @ [*at_mm, 1.0]
        return float(x / w), float(y / w)


def view(scale: float = 1.0) -> View:
    rows = []
    for (x, y), (u, v) in zip(BOARD_MM, SEEN_PX, strict=True):
        u, v = u * scale, v * scale
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v]]
    return View(np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3))


def drawn(holes: dict[str, tuple[float, float]], size: tuple[int, int] = (1600, 1200)) -> tuple[Image.Image, View]:
    seen = view(size[0] / 1600)
    image = Image.new("RGB", size, (120, 120, 116))
    pen = ImageDraw.Draw(image)
    pen.polygon([seen.px(corner) for corner in BOARD_MM], fill=(60, 60, 62))
    pen.polygon([seen.px(corner) for corner in SHEET_AT], fill=(245, 245, 240))
    turn = np.linspace(0.0, 2.0 * np.pi, 40)
    for x, y in holes.values():
        pen.polygon([seen.px((x + 3.5 * np.cos(a), y + 3.5 * np.sin(a))) for a in turn], fill=(230, 230, 225))
    return image, seen


def jpeg(image: Image.Image, **more: object) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90, **more)
    return out.getvalue()
