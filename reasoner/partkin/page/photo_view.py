"""The pages of the photographs: which there are, and one on which points are marked."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.build import Build
from partkin.model.problem import Problem
from partkin.page.desk import Desk
from partkin.page.frame import address, refusal, whole
from partkin.page.markup import Html, tag, text
from partkin.page.photo_marks import corner_names
from partkin.page.photo_store import Photo, photos
from partkin.positions.pictures import MOST_PIXELS
from partkin.report.html_donor import called

# Things of a known size that lie about: their sizes are those of the standards named.
KNOWN = (
    ("297 x 210", "a sheet of A4 lying down (ISO 216)"), ("210 x 297", "a sheet of A4 standing (ISO 216)"),
    ("85.6 x 53.98", "a bank card (ISO/IEC 7810, ID-1)"),
)  # fmt: skip


def photos_page(desk: Desk, part: str | None, problems: Iterable[Problem] = ()) -> str:
    """Return the list of pictures, with a way to add one."""
    query = f"?part={address(part)[1:]}" if part else ""
    items = [
        tag("li", tag("a", one.name, href=address("photos", one.name) + query)) for one in photos(desk.folder)
    ]
    there = tag("ul", *items) if items else tag("p", "There are none yet, in the folder or in its photos.")
    box = tag("input", type_="file", id_="file", name="photo", accept="image/jpeg,image/png,image/webp", required=True)
    upload = tag(
        "form", tag("div", tag("label", "A picture from this machine", for_="file"), box, class_="field"),
        tag("input", type_="hidden", name="part", value=part) if part else None,
        tag("p", tag("button", "Keep it beside the sheets")), method="post", action="/photos",
        enctype="multipart/form-data",
    )  # fmt: skip
    limits = tag(
        "p", f"Only its pixels are kept, at most {MOST_PIXELS // 1_000_000} million of them: not where and when it was "
        "taken.", class_="soft",
    )  # fmt: skip
    refused = refusal(problems, "The picture was not kept") if problems else None
    main = [tag("h1", "Photographs"), refused, there, tag("section", tag("h2", "Another one"), upload, limits)]
    return whole(desk, "Photographs", text(main))


def photo_page(desk: Desk, build: Build, photo: Photo, part: str | None) -> str:
    """Return the page on which points of a picture are marked."""
    if part is None or build.part(part) is None:
        return _which_part(desk, build, photo)
    corners = corner_names(build, part)
    names = [*corners, *(feature.feature for feature in build.features_of(part))]
    targets = [
        tag(
            "li", tag("input", type_="radio", name="target", value=name, id_=f"t{number}"),
            tag("label", f"corner {number + 1}" if number < 4 else name, for_=f"t{number}"),
            tag("span", class_="at"),
        )
        for number, name in enumerate(names)
    ]  # fmt: skip
    head = [
        tag("h1", photo.name, ": ", Html(called(build, part))),
        tag("noscript", tag("p", "Marking needs this page's own script.")),
    ]
    side = tag(
        "div", tag("h2", "What is marked next"), tag("ol", *targets, id_="targets"), _rectangle(), _buttons(),
        tag("div", id_="told-photo", aria_live="polite"), tag("h2", "Distances"), tag("ul", id_="distances"),
        tag("div", id_="seen-photo", aria_live="polite"),
        class_="beside",
    )  # fmt: skip
    main = tag(
        "div", *head, _how(), tag("div", _stage(photo), side, class_="marking"), id_="marking",
        data_photo=address("photos", photo.name), data_part=part, data_corners=" ".join(corners),
    )  # fmt: skip
    return whole(desk, photo.name, main, ("photo.js",), wide=True)


def _which_part(desk: Desk, build: Build, photo: Photo) -> str:
    here = address("photos", photo.name)
    links = [
        tag("li", tag("a", Html(called(build, part.part)), href=f"{here}?part={address(part.part)[1:]}"))
        for part in build.parts if build.features_of(part.part)
    ]  # fmt: skip
    main = [tag("h1", photo.name), tag("p", "Which part does it show?"), tag("ul", *links)]
    return whole(desk, photo.name, text(main))


def _how() -> Html:
    return tag(
        "p", "Mark the four corners of something flat of known size that lies on the part's face, in order round it, "
        "then the middles of its holes. Click or tap; the next click marks the next one. Arrow keys nudge the mark by "
        "a pixel, with Shift by 10, with Ctrl by 100. By keys alone: arrow keys move the cross, Enter marks, and Enter "
        "again goes on. Ctrl-Z takes back.",
        class_="soft",
    )  # fmt: skip


def _stage(photo: Photo) -> Html:
    picture = tag("img", id_="photo", src=f"{address('photos', photo.name)}/image", alt=f"Photograph {photo.name}")
    sheet = tag("div", picture, id_="sheet")
    label = "The photograph. Arrow keys move the cross, Enter marks, Delete takes the chosen mark away."
    stage = tag("div", sheet, id_="stage", tabindex="0", role="application", aria_label=label)
    loupe = tag("canvas", id_="loupe", width="150", height="150", aria_hidden="true")
    zooms = [tag("button", words, type_="button", data_zoom=name) for name, words in _ZOOMS]
    where = tag("span", id_="where")
    return tag("div", tag("div", *zooms, where, class_="keys"), tag("div", stage, loupe, class_="view"), class_="bench")


_ZOOMS = (("fit", "Whole"), ("in", "Nearer"), ("out", "Farther"))


def _rectangle() -> Html:
    known = tag("datalist", *(tag("option", label, value=value) for value, label in KNOWN), id_="known")
    box = tag("input", id_="rectangle", list_="known", placeholder="297 x 210", inputmode="text", maxlength="40")
    label = tag("label", "The rectangle, mm: corner 1 to 2 x corner 2 to 3", for_="rectangle")
    return tag("div", label, box, known, class_="field")


def _buttons() -> Html:
    words = (
        ("undo", "Take back"), ("clear", "Take this mark away"), ("keep", "Keep the marks"),
        ("readings", "Keep them and take down readings"),
    )  # fmt: skip
    return tag("div", *(tag("button", label, type_="button", data_do=name) for name, label in words), class_="keys")
