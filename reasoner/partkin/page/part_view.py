"""One part: a donor with its verdict, drawing, reasons and readings, or a host with what was measured on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partkin import seeing
from partkin.measuring.recording import Change as VerdictChange
from partkin.measuring.recording import change_says, donors_concerned
from partkin.model.build import Build, Part, Reading
from partkin.model.reasons import Unknown
from partkin.model.words import NOT_ENOUGH
from partkin.page import answer_form, reading_form
from partkin.page.desk import Answer, Desk
from partkin.page.feature_view import features_address
from partkin.page.fields import Typed
from partkin.page.frame import address, faults, refusal, whole
from partkin.page.markup import Html, tag, text
from partkin.page.reading_form import filled, key_of
from partkin.page.starting import next_for
from partkin.report.html_donor import Told, called, readings_of
from partkin.report.html_pieces import Sources, mark
from partkin.seeing import Seen

# How long a page waits for a check before it is shown without; the script then fetches it.
PATIENCE_S = 0.4


@dataclass(frozen=True)
class Answered:
    """What came of the form: what is said, the reading that was taken down, or what was typed where it was refused."""

    said: Html | None = None
    taken: Reading | None = None
    typed: Typed | None = None


def part_page(desk: Desk, part: str, answered: Answered) -> str | None:
    """Return the page of a part; None: there is no such part."""
    build = desk.sheets().build
    if build is None:
        return whole(desk, "Faults", faults(desk.sheets().problems))
    found = build.part(part)
    if found is None:
        return None
    if found.origin != "donor":
        return whole(desk, part, _of_the_vehicle(desk, build, found, answered))
    answer = desk.soon(part, PATIENCE_S)
    desk.begin()
    return whole(desk, part, _donor(desk, build, part, answer, _form(build, found, answer, answered)))


def _form(build: Build, part: Part, answer: Answer | None, answered: Answered) -> Html:
    """Return what is said of the last reading, what is asked for, and the form."""
    parts = _measured_with(build, part)
    listing = _listing(build, part, parts)
    if not any(build.features_of(one.part) for one in parts):
        return tag("section", tag("h2", "To begin with"), listing, tag("div", id_="said"))
    open_ones = _open(answer, parts)
    asked = next((one for one in open_ones if reading_form.takes(one) or answer_form.takes(one)), None)
    parts = [part, *(one for one in parts[1:] if build.features_of(one.part))]
    reading = next((one for one in open_ones if reading_form.takes(one)), None)
    typed = answered.typed if answered.typed is not None else filled(reading, answered.taken)
    of = key_of(answered.taken) if answered.taken is not None else None
    return tag(
        "section", tag("h2", "Take down a reading", id_="take-down"),
        tag("div", answered.said, id_="said", aria_live="polite", data_of=of),
        tag("div", _asked(build, asked, part) if asked is not None else _otherwise(answer), id_="told-asked"),
        reading_form.reading_form(build, part, parts, typed),
        tag("div", reading_form.undo_form(build, part, parts), id_="told-undo"), listing,
        aria_labelledby="take-down",
    )  # fmt: skip


def _listing(build: Build, part: Part, parts: list[Part]) -> Html:
    """Return the way to where holes are listed: to what has to be listed first, else to each part."""
    if part.origin == "donor":
        first = next_for(build, part.part)
        if first != address("part", part.part):
            link = tag("a", "list what holds it on, with sizes as far as known", href=first)
            return tag("p", tag("b", "Next: "), link)
    donor = part.part if part.origin == "donor" else None
    links = [
        tag("a", "Holes and fixings of ", Html(called(build, one.part)), href=features_address(one.part, donor))
        for one in parts
    ]
    return tag("p", *links, class_="ways")


def _measured_with(build: Build, part: Part) -> list[Part]:
    """A part, and of a donor what its verdict rests on too: the host and what came off it."""
    if part.origin != "donor" or part.takes_place_of is None:
        return [part]
    host = build.part(part.takes_place_of)
    came_off = [
        one for one in build.parts if one.origin == "original" and one.takes_place_of == part.takes_place_of
    ]  # fmt: skip
    return [part, *([host] if host is not None and host is not part else []), *came_off]


def _open(answer: Answer | None, parts: Sequence[Part]) -> list[Unknown]:
    """The open questions of a verdict about these parts."""
    names = [part.part for part in parts]
    return [one for one in answer.verdict.unknown if one.part in names] if isinstance(answer, Seen) else []


def _otherwise(answer: Answer | None) -> Html | None:
    """Return what a verdict waits for that no form here takes."""
    if not isinstance(answer, Seen) or answer.verdict.verdict != NOT_ENOUGH or not answer.verdict.unknown:
        return None
    return tag("p", tag("b", "Asked for now: "), answer.verdict.unknown[0].says)


def _asked(build: Build, asked: Unknown, page: Part) -> Html:
    """Return what is asked for, and what its values mean; what is no distance with its own form."""
    whose = Html(called(build, asked.part or ""))
    if answer_form.takes(asked):
        said = tag("p", tag("b", "Asked for now, of "), whose, tag("b", ": "), asked.says)
        return tag("div", said, answer_form.answer_form(asked, page.part))
    ends = " to ".join(end for end in (asked.from_feature, asked.to_feature) if end)
    what = f"{asked.quantity}, {ends}" if asked.quantity != "centres" else f"{ends}, centre to centre"
    return tag("p", tag("b", "Asked for now: "), f"{what}, of ", whose, f". {asked.says}")


def _donor(desk: Desk, build: Build, part: str, answer: Answer | None, form: Html) -> Html:
    """Return a donor's page. What the script renews has ids that begin with told."""
    readings = tag("div", Html(readings_of(build, part)), id_="readings")
    if not isinstance(answer, Seen):
        heading = tag("h1", Html(called(build, part)), id_="told-title")
        waiting = tag("p", "This donor is being checked. The page shows the verdict as soon as it is there.")
        told = waiting if answer is None else refusal(answer.problems, "This donor cannot be checked")
        head = tag("div", told, id_="told-head", class_="whole", data_waiting="yes" if answer is None else None)
        draw = tag("div", tag("div", id_="told-drawing"), form, readings, class_="draw")
        return tag("div", heading, head, draw, tag("div", id_="told-rest", class_="beside"), class_="donor")
    sources = Sources()
    view = seeing.overlay(build, answer)
    told_of = Told(build, answer.verdict, view, sources, "d")
    head = tag("div", Html(told_of.said()), _change(desk, answer), id_="told-head", class_="whole")
    ways = tag("p", *_links(answer, part), class_="ways")
    drawing = tag("div", Html(told_of.drawing()), ways, Html(told_of.pairs()), id_="told-drawing")
    rest = tag("div", Html(told_of.beside()), id_="told-rest", class_="beside")
    cited = tag("div", Html(sources.section()), id_="told-sources")
    # While readings are wanted the form stands before the drawing.
    asking = answer.verdict.verdict == NOT_ENOUGH
    draw = tag("div", *((form, drawing) if asking else (drawing, form)), readings, class_="draw")
    body = [tag("h1", Html(told_of.heading), id_="told-title"), head, draw, rest]
    return text([tag("div", *body, class_="donor"), cited])


def _links(answer: Seen, part: str) -> list[Html]:
    links = [
        ("Message to its seller", address("part", part, "seller")),
        ("Photographs of it", f"/photos?part={address(part)[1:]}"), ("Getting it out", address("part", part, "out")),
    ]  # fmt: skip
    if answer.verdict.placement:
        links.insert(0, ("Lay it on by hand", address("part", part, "lay")))
    return [tag("a", words, href=href) for words, href in links]


def _change(desk: Desk, answer: Seen) -> Html | None:
    """Return how the verdict changed when the sheets last did."""
    before = desk.verdict_before(answer.verdict.donor)
    if before is None:
        return None
    says = change_says(VerdictChange(answer.verdict.donor, before, answer.verdict))
    return tag("p", tag("b", "When the sheets last changed: "), f"{says}.", class_="soft")


def _donor_line(desk: Desk, build: Build, donor: str) -> Html:
    """Return a donor with its verdict, as far as that is known."""
    link, answer = tag("a", Html(called(build, donor)), href=address("part", donor)), desk.answer(donor)
    if answer is None:
        return tag("li", link, ": being checked", data_waiting="yes")
    if not isinstance(answer, Seen):
        return tag("li", link, ": cannot be checked")
    return tag("li", link, ": ", Html(mark(answer.verdict.verdict)), f" {answer.verdict.verdict}")


def _of_the_vehicle(desk: Desk, build: Build, part: Part, answered: Answered) -> Html:
    """Return the page of a host or an original: which donors rest on it, and what was measured on it."""
    desk.begin()
    concerned = donors_concerned(build, part.part)
    told = "These donors rest on what is measured here:" if concerned else "No donor rests on this part."
    donors = tag("ul", *(_donor_line(desk, build, donor) for donor in concerned), id_="told-donors")
    readings = tag("div", Html(readings_of(build, part.part)), id_="readings")
    photographs = tag(
        "p", tag("a", "Photographs of it", href=f"/photos?part={address(part.part)[1:]}"),
        tag("a", "Getting it out", href=address("part", part.part, "out")), class_="ways",
    )  # fmt: skip
    main = [
        tag("h1", Html(called(build, part.part))), tag("p", told), donors if concerned else None, photographs,
        tag(
            "div", _form(build, part, None, answered), tag("section", tag("h2", "What was measured"), readings),
            class_="pair",
        ),
    ]  # fmt: skip
    return text(main)
