"""Photographs beside the sheets: which there are, and new ones kept without what a camera writes into them."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from partkin.model.problem import FaultyInput, refused
from partkin.photo.pictures import MOST_BYTES, MOST_PIXELS, NoImage, unpacked
from partkin.sheets.files import PHOTOS, PICTURES

FORMATS = ("JPEG", "PNG", "WEBP")
QUALITY = 92
MOST_OF_A_NAME = 1000
SMALL_PX = 240


@dataclass(frozen=True)
class Photo:
    """A picture that is there. `path` never leads out of the build folder."""

    name: str
    path: Path
    type: str


def photos(folder: Path) -> tuple[Photo, ...]:
    """Every picture of a build: in its folder `photos`, and beside its sheets."""
    found: dict[str, Photo] = {}
    for place in (folder / PHOTOS, folder):
        for path in sorted(place.iterdir()) if place.is_dir() else ():
            kind = PICTURES.get(path.suffix.lower())
            inside = path.resolve().parent in (folder.resolve(), (folder / PHOTOS).resolve())
            if kind and inside and path.is_file() and path.name.isprintable() and not path.name.startswith("."):
                found.setdefault(path.name, Photo(path.name, path, kind))
    return tuple(found.values())


def photo(folder: Path, name: str) -> Photo | None:
    """The picture of that name: one of those that are listed, whatever the name looks like."""
    return next((one for one in photos(folder) if one.name == name), None)


def small(photo: Photo) -> bytes | NoImage:
    """Return a picture of at most SMALL_PX for a list, as JPEG; or why it cannot be unpacked."""
    return _small(photo.path, photo.path.stat().st_mtime_ns)


@lru_cache(maxsize=64)
def _small(path: Path, stamp: int) -> bytes | NoImage:
    shown = unpacked(path, "RGB", (SMALL_PX, SMALL_PX), FORMATS)
    if isinstance(shown, NoImage):
        return shown
    shown.thumbnail((SMALL_PX, SMALL_PX))
    out = io.BytesIO()
    shown.save(out, "JPEG", quality=80)
    return out.getvalue()


def keep(folder: Path, name: str, content: bytes) -> str:
    """Keep a picture in `photos`: its pixels alone, upright, and nothing of where and when it was taken.

    Returns its name, made of letters, digits, `-` and `_` of what the browser calls it; never one that is there.
    FaultyInput: it is no JPEG, PNG or WebP, or has too many pixels; nothing was kept.
    """
    upright = _upright(content)
    place = folder / PHOTOS
    place.mkdir(exist_ok=True)
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0])[:60].strip("-")
    stem = stem or "photo"
    for number in range(1, MOST_OF_A_NAME):
        kept = place / (f"{stem}.jpg" if number == 1 else f"{stem}-{number}.jpg")
        try:
            with kept.open("xb") as file:
                file.write(upright)
        except FileExistsError:
            continue
        return kept.name
    raise _refused("there are too many pictures of that name", "Name it otherwise")


def _refused(what: str, mend: str) -> FaultyInput:
    return refused("photo", 0, "file", what, mend)


def _upright(content: bytes) -> bytes:
    """Unpack a picture within the limits, turn it as the camera says, and pack its pixels again."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    mend = f"Give a JPEG, PNG or WebP of at most {MOST_PIXELS // 1_000_000} million pixels"
    vast = _refused(f"the picture has more than {MOST_PIXELS // 1_000_000} million pixels", mend)
    if len(content) > MOST_BYTES:
        raise _refused(f"the picture is larger than {MOST_BYTES // 1_000_000} MB", mend)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            opened = Image.open(io.BytesIO(content), formats=FORMATS)
        with opened as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise vast
            turned = ImageOps.exif_transpose(picture)
            flat = turned if turned.mode in ("RGB", "L") else turned.convert("RGB")
            out = io.BytesIO()
            flat.save(out, "JPEG", quality=QUALITY, exif=b"", icc_profile=None, comment=b"")
            return out.getvalue()
    except UnidentifiedImageError:
        raise _refused("this is not a picture that can be read", mend) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise vast from None
    except (OSError, ValueError, SyntaxError) as fault:
        raise _refused(f"the picture cannot be unpacked ({fault})", mend) from None
