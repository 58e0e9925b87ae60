"""The pages of the photographs: which there are, and one on which points are marked."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.build import Build
from partkin.model.problem import Problem
from partkin.page.desk import Desk
from partkin.page.frame import refusal, whole
from partkin.page.photo_marks import corner_names
from partkin.page.photo_store import Photo, photos, small
from partkin.photo.pictures import MOST_PIXELS, NoImage, read_image_size

# Things of a known size that lie about: their sizes are those of the standards named.
KNOWN = (
    ("297 x 210", "a sheet of A4 lying down (ISO 216)"), ("210 x 297", "a sheet of A4 standing (ISO 216)"),
    ("85.6 x 53.98", "a bank card (ISO/IEC 7810, ID-1)"),
)  # fmt: skip


MARK_BUTTONS = {
    "undo": "Take back", "clear": "Take this mark away", "keep": "Keep the marks",
    "readings": "Keep them and take down readings",
}  # fmt: skip


def photos_page(desk: Desk, part: str | None, problems: Iterable[Problem] = ()) -> str:
    """Return the list of pictures, with a way to add one."""
    refused = refusal(problems, "The picture was not kept") if problems else None
    told = [(one, read_image_size(one.path)) for one in photos(desk.folder)]
    listed = [(one, size.reason if isinstance(size, NoImage) else None) for one, size in told]
    return whole(
        desk, "photos.html", "Photographs", photos=listed, part=part, refused=refused, most=MOST_PIXELS // 1_000_000
    )


def photo_page(desk: Desk, build: Build, photo: Photo, part: str | None) -> str:
    """Return the page on which points of a picture are marked, once it is known which part it shows."""
    shown = small(photo)
    if isinstance(shown, NoImage):
        return whole(desk, "no_photo.html", photo.name, photo=photo, why=shown.reason)
    if part is None or build.part(part) is None:
        return whole(desk, "which_part.html", photo.name, build=build, photo=photo)
    corners = corner_names(build, part)
    # Corners have no size of their own; what a hole measures sets how much of its surroundings the loupe shows.
    targets = [*((name, None) for name in corners), *((f.feature, f.across_mm) for f in build.features_of(part))]
    return whole(
        desk, "photo.html", photo.name, build=build, photo=photo, part=part, corners=corners, targets=targets,
        known=KNOWN, buttons=MARK_BUTTONS,
    )  # fmt: skip
