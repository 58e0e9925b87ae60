"""The build and its verdicts, side by side; and what was measured on the vehicle."""

from __future__ import annotations

from partkin import seeing
from partkin.model.build import Build
from partkin.page import starting
from partkin.page.desk import Desk
from partkin.page.frame import address, faults, whole
from partkin.page.markup import Html, tag, text
from partkin.report.html_donor import called
from partkin.report.html_options import donor_row, options_by_part, options_table, other_row, priced
from partkin.report.html_pieces import NONE, money
from partkin.report.views import option_rows
from partkin.seeing import Seen


def build_page(desk: Desk) -> str:
    """Return the first page."""
    build = desk.sheets().build
    if build is None:
        return whole(desk, "Faults", faults(desk.sheets().problems))
    if starting.step_of(build) is not None:
        return starting.start_page(desk)
    desk.begin()
    spent = sum(cost.amount for cost in build.costs) if build.costs else None
    total = tag("p", "Spent so far: ", Html(money(spent, build.settings.currency)), ".") if spent is not None else None
    another = tag("p", tag("a", "Another part that might go on", href="/parts"))
    main = [
        tag("h1", f"{build.settings.name.strip() or 'Build'}: will it bolt on?"),
        tag(
            "section", tag("h2", "The options side by side"), Html(_options(desk, build)), total, another,
            id_="told-options",
        ),
        _vehicle(build),
    ]  # fmt: skip
    return whole(desk, "Build", text(main))


def _options(desk: Desk, build: Build) -> str:
    donors = seeing.donors_of(build)
    answers = {donor: desk.answer(donor) for donor in donors}
    verdicts = [answer.verdict for answer in answers.values() if isinstance(answer, Seen)]
    options = option_rows(build, verdicts)
    by_part = options_by_part(options)
    rows = []
    for donor, answer in answers.items():
        href, offer = address("part", donor), by_part.get(donor)
        if isinstance(answer, Seen):
            view = seeing.overlay(build, answer)
            rows.append(donor_row(build, answer.verdict, view, offer, href))
            continue
        said = "being checked" if answer is None else "cannot be checked"
        link = tag("a", Html(called(build, donor)), href=href)
        rows.append([link, NONE, said, NONE, NONE, NONE, *priced(offer)])
    rows += [other_row(row) for row in options if row.option != "donor" or row.part not in answers]
    return options_table(build, rows)


def _vehicle(build: Build) -> Html:
    """Return the parts that the donors are laid on, each with a place to take down readings."""
    items: list[Html] = []
    bare: list[Html] = []
    for part in build.parts:
        if part.origin == "donor":
            continue
        features = len(build.features_of(part.part))
        readings = sum(reading.part == part.part for reading in build.readings)
        link = tag("a", Html(called(build, part.part)), href=address("part", part.part))
        if not features and not readings:
            bare.append(text([", " if bare else "", link]))
            continue
        told = [part.origin or "origin not said", _count(features, "feature"), _count(readings, "reading")]
        items.append(tag("li", link, f": {', '.join(told)}"))
    rest = tag("p", "Nothing is listed yet of ", bare, ".") if bare else None
    return tag("section", tag("h2", "The vehicle"), tag("ul", *items), rest)


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"
