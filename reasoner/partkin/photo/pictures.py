"""How large a picture is, a refusal of what is not one, and its shades where they are needed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from PIL import Image

MOST_PIXELS = 40_000_000
MOST_BYTES = 60_000_000
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP")


@dataclass(frozen=True)
class ImageSize:
    """Width and height in pixels as stored; nothing else of the file (no place, time or device) is read."""

    width_px: int
    height_px: int
    format: str


@dataclass(frozen=True)
class NoImage:
    """Why a file was refused. Falsy."""

    reason: str

    def __bool__(self) -> Literal[False]:
        """Stay falsy."""
        return False


def read_image_size(path: Path, most_pixels: int = MOST_PIXELS) -> ImageSize | NoImage:
    """Read a picture's size from its header.

    One of more pixels may unpack to more than a computer holds. Pixels are never unpacked, and what the file says of
    place and time is never looked at.
    """
    import warnings

    from PIL import Image, UnidentifiedImageError

    if not path.is_file():
        return NoImage(f"{path.name} is not a file")
    if path.stat().st_size > MOST_BYTES:
        return NoImage(f"{path.name} is larger than {MOST_BYTES // 1_000_000} MB")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path, formats=FORMATS) as picture:
                width, height, form = picture.width, picture.height, picture.format or ""
    except UnidentifiedImageError:
        return NoImage(f"{path.name} is not a picture of these kinds: {', '.join(FORMATS)}")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        return NoImage(f"{path.name} has more than {most_pixels // 1_000_000} million pixels")
    except (OSError, ValueError, SyntaxError) as fault:
        return NoImage(f"{path.name} cannot be read as a picture: {fault}")
    if width * height > most_pixels:
        return NoImage(f"{path.name} has more than {most_pixels // 1_000_000} million pixels")
    if width < 2 or height < 2:
        return NoImage(f"{path.name} has no area")
    return ImageSize(width, height, form)


def read_shades(path: Path) -> np.ndarray | NoImage:
    """Unpack a picture, upright as browsers show it: uint8 (height, width). One too large is refused unpacked."""
    picture = unpacked(path, "L")
    return picture if isinstance(picture, NoImage) else np.asarray(picture)


def unpacked(
    path: Path, mode: str, about_px: tuple[int, int] | None = None, formats: tuple[str, ...] = FORMATS
) -> Image.Image | NoImage:
    """Return a picture upright in a mode of Pillow, or why it cannot be.

    `about_px`: it may come smaller, though no smaller than this; None: in its own size.
    """
    from PIL import Image, ImageOps

    told = read_image_size(path)
    if isinstance(told, NoImage):
        return told
    try:
        with Image.open(path, formats=formats) as picture:
            picture.draft(mode, about_px or picture.size)
            return ImageOps.exif_transpose(picture).convert(mode)
    except (OSError, ValueError, SyntaxError) as fault:
        return NoImage(f"{path.name} cannot be unpacked: {fault}")
