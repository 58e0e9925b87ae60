"""The message to a donor's seller, to be copied, and how the answers are taken down."""

from __future__ import annotations

from partkin.commands.seller_message import MOST_QUESTIONS, message_to_seller
from partkin.model.build import Build
from partkin.model.problem import FaultyInput
from partkin.page.desk import Desk
from partkin.page.frame import refusal, whole

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
    message, refused, verdict = None, None, ""
    try:
        message, found = message_to_seller(build, donor, most=most)
        verdict = found.verdict
    except FaultyInput as fault:
        refused = refusal(fault.problems, "This donor cannot be checked")
    counts = {str(count): str(count) for count in range(1, MOST_OFFERED + 1)}
    return whole(
        desk, "seller.html", donor, build=build, donor=donor, message=message, refused=refused, verdict=verdict,
        counts=counts, most=str(most),
    )  # fmt: skip
