"""One part: a donor with its verdict, drawing, reasons and readings, or a host with what was measured on it."""

from __future__ import annotations

from partkin import seeing
from partkin.measuring.recording import Change as VerdictChange
from partkin.measuring.recording import change_says, donors_concerned
from partkin.model.build import Build, Part
from partkin.page.desk import Answer, Desk
from partkin.page.frame import address, faults, refusal, whole
from partkin.page.markup import Html, tag, text
from partkin.page.reading_form import Typed, reading_form
from partkin.report.html_donor import Told, called, readings_of
from partkin.report.html_pieces import Sources, mark
from partkin.seeing import Seen

# How long a page waits for a check before it is shown without; the script then fetches it.
PATIENCE_S = 0.4


def part_page(desk: Desk, part: str, said: Html | None = None, typed: Typed | None = None) -> str | None:
    """Return the page of a part; None: there is no such part.

    `said`: what came of a reading just taken down; `typed`: what was typed where it was refused.
    """
    build = desk.sheets().build
    if build is None:
        return whole(desk, "Faults", faults(desk.sheets().problems))
    found = build.part(part)
    if found is None:
        return None
    if found.origin != "donor":
        return whole(desk, part, _of_the_vehicle(desk, build, found, said, typed))
    answer = desk.soon(part, PATIENCE_S)
    desk.begin()
    form = _form(build, found, answer, typed)
    spoken = tag("div", said, id_="said", aria_live="polite")
    return whole(desk, part, _donor(desk, build, part, answer, text([spoken, form])))


def _form(build: Build, part: Part, answer: Answer | None, typed: Typed | None) -> Html:
    heading = tag("h2", "Take down a reading", id_="take-down")
    return tag("section", heading, reading_form(build, part, _wanted(answer), typed), aria_labelledby="take-down")


def _wanted(answer: Answer | None) -> tuple[str, str, str] | None:
    """Quantity and ends of the reading that the verdict asks for first."""
    if not isinstance(answer, Seen):
        return None
    for one in answer.verdict.unknown:
        if one.quantity and one.from_feature and one.part == answer.verdict.donor:
            return one.quantity, one.from_feature, one.to_feature or ""
    return None


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
    draw = tag("div", drawing, form, readings, class_="draw")
    body = [tag("h1", Html(told_of.heading), id_="told-title"), head, draw, rest]
    return text([tag("div", *body, class_="donor"), cited])


def _links(answer: Seen, part: str) -> list[Html]:
    links = [
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


def _of_the_vehicle(desk: Desk, build: Build, part: Part, said: Html | None, typed: Typed | None) -> Html:
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
        tag("div", said, id_="said", aria_live="polite"),
        tag(
            "div", _form(build, part, None, typed), tag("section", tag("h2", "What was measured"), readings),
            class_="pair",
        ),
    ]  # fmt: skip
    return text(main)
