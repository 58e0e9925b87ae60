"""The message to a donor's seller, to be copied, and how the answers are taken down."""

from __future__ import annotations

from partkin.measuring.asking_next import next_for
from partkin.measuring.seller_message import MOST_QUESTIONS, message_for
from partkin.model.build import Build
from partkin.model.problem import FaultyInput
from partkin.page.desk import Desk
from partkin.page.fields import choice
from partkin.page.frame import address, refusal, whole
from partkin.page.markup import Html, tag, text
from partkin.report.html_donor import called

MOST_OFFERED = 6


def most_asked(said: str) -> int:
    """How many questions the person allows.

    Examples
    --------
    >>> most_asked("2"), most_asked(""), most_asked("900"), most_asked("-1")
    (2, 3, 6, 3)
    """
    return min(int(said[:4]), MOST_OFFERED) or MOST_QUESTIONS if said.isascii() and said.isdigit() else MOST_QUESTIONS


def seller_page(desk: Desk, build: Build, donor: str, most: int) -> str:
    """Return the page with the message of at most so many questions."""
    back = tag("p", tag("a", "Back to ", Html(called(build, donor)), href=address("part", donor)))
    main = [tag("h1", "Message to the seller of ", Html(called(build, donor))), _message(build, donor, most), back]
    return whole(desk, donor, text(main))


def _message(build: Build, donor: str, most: int) -> Html:
    try:
        found = next_for(build, donor)
    except FaultyInput as fault:
        return refusal(fault.problems, "This donor cannot be checked")
    message = message_for(found, ".", most)
    if message is None:
        return tag("p", f"{found.verdict.verdict}: there is nothing to ask a seller.")
    counts = {str(count): str(count) for count in range(1, MOST_OFFERED + 1)}
    again = tag(
        "form", choice("questions", "Questions at most", counts, {"questions": str(most)}),
        tag("p", tag("button", "Write it anew")), method="get", action=address("part", donor, "seller"),
    )  # fmt: skip
    told = "Its answers go into the form on the page of the part, with seller as what they were read with."
    return text([
        # It is wider than a telephone, and then it scrolls: keys must come to it.
        tag("pre", message.text, class_="message", tabindex=0, role="region", aria_label="The message"),
        tag("p", f"For you: {_letters(message.notes)}."), tag("p", told), again,
    ])  # fmt: skip


def _letters(notes: tuple[str, ...]) -> str:
    return notes[0].partition(": ")[2]
