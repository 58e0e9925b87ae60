"""Pictures are measured by their header alone, and what is none is refused."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from partkin.photo.pictures import ImageSize, read_image_size


def png_header(width: int, height: int) -> bytes:
    """A PNG that promises any size and holds nothing."""
    body = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = b"IHDR" + body
    return (
        b"\x89PNG\r\n\x1a\n"
        + struct.pack(">I", 13)
        + chunk
        + struct.pack(">I", zlib.crc32(chunk))
        + struct.pack(">I", 0)
        + b"IDAT"
        + struct.pack(">I", zlib.crc32(b"IDAT"))
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "BMP"])
def test_size(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "picture"
    Image.new("RGB", (320, 200)).save(path, kind)
    assert read_image_size(path) == ImageSize(320, 200, kind)


def test_place_and_time_are_not_looked_at(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (50.0, 30.0, 10.0)}
    exif[0x0132] = "2020:01:02 03:04:05"
    path = tmp_path / "picture.jpg"
    Image.new("RGB", (32, 20)).save(path, exif=exif)
    told = read_image_size(path)
    assert vars(told) == {"width_px": 32, "height_px": 20, "format": "JPEG"}


@pytest.mark.parametrize("side", [7000, 12_000, 60_000, 2_000_000_000])
def test_a_bomb_is_refused_unopened(tmp_path: Path, side: int) -> None:
    path = tmp_path / "small.png"
    path.write_bytes(png_header(side, side))
    told = read_image_size(path)
    assert not told
    assert "million pixels" in told.reason


def test_the_limit_can_be_stated(tmp_path: Path) -> None:
    path = tmp_path / "picture.png"
    Image.new("RGB", (100, 100)).save(path)
    assert not read_image_size(path, most_pixels=9_999)
    assert read_image_size(path, most_pixels=10_000)


@pytest.mark.parametrize(
    "content", [b"", b"part,feature\n", b"GIF89a" + bytes(20), b"%PDF-1.4\n", b"\x89PNG\r\n\x1a\n"]
)
def test_not_a_picture(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "picture.png"
    path.write_bytes(content)
    told = read_image_size(path)
    assert not told
    assert "picture" in told.reason


def test_not_a_file(tmp_path: Path) -> None:
    assert not read_image_size(tmp_path)
    assert not read_image_size(tmp_path / "nothing.png")
