"""What a verdict asks for that is no distance: a face, a duty, a direction, what goes through. One short form each."""

from __future__ import annotations

from partkin import sheets
from partkin.measuring.typed_cells import Typed, understood_cells
from partkin.measuring.typed_readings import Words
from partkin.model.problem import FaultyInput, Problem
from partkin.model.reasons import Unknown
from partkin.model.words import SIDES
from partkin.page import fields
from partkin.page.desk import Desk
from partkin.page.fields import cells_of, line
from partkin.page.frame import address
from partkin.page.markup import Html, tag
from partkin.page.starting import AIRBAG_WORDS, DUTY_WORDS, FEATURES, PARTS

# By what is asked for: the cell of parts.csv, and the words that it may hold, as buttons say them.
OF_A_PART = {
    "seen_from": {"outside": "outside: the side that shows", "inside": "inside: the side that is hidden"},
    "duty": {word: says for word, says in DUTY_WORDS.items() if word},
    "airbag": {word: says for word, says in AIRBAG_WORDS.items() if word},
}
# Of an empty cell of features.csv what its box is called.
OF_A_FEATURE = {
    "fastener": "Thread or bolt that goes through: M6, or 6", "angle": "It points at: to ID, or degrees",
    "float": "It moves each way by, mm",
}  # fmt: skip
LABELS = {
    "thread": "Thread", "fastener_mm": "What goes through", "angle_deg": "It points at", "float_mm": "It moves by",
}  # fmt: skip
FIELDS = ("part", "feature", "asked", "answer")


def takes(asked: Unknown) -> bool:
    """Whether a question is answered by one of these forms."""
    of_one = asked.quantity in (*OF_A_FEATURE, *SIDES) and asked.from_feature is not None
    return asked.part is not None and (of_one or asked.quantity in OF_A_PART)


def answer_form(asked: Unknown, page: str) -> Html:
    """Return the form that answers a question, on the page of a part."""
    if asked.quantity in SIDES:
        return _side_form(asked, page)
    hidden = {"part": asked.part, "feature": asked.from_feature or "", "asked": asked.quantity}
    kept = [tag("input", type_="hidden", name=name, value=value) for name, value in hidden.items()]
    words = OF_A_PART.get(asked.quantity or "")
    if words is not None:
        boxes = [tag("button", says, name="answer", value=word) for word, says in words.items()]
    else:
        boxes = [line("answer", OF_A_FEATURE[asked.quantity or ""], {}, required=True), tag("button", "Write it down")]
    inside = tag("div", *boxes, class_="keys")
    return tag("form", *kept, inside, method="post", action=address("part", page, "answers"), autocomplete="off")


def _side_form(asked: Unknown, page: str) -> Html:
    """Left or right is a reading without a value: one button each."""
    hidden = {"part": asked.part, "from": asked.from_feature, "to": asked.to_feature}
    kept = [tag("input", type_="hidden", name=name, value=value) for name, value in hidden.items()]
    keys = [tag("button", f"on the {side.split()[0]}", name="quantity", value=side) for side in SIDES]
    inside = tag("div", *keys, class_="keys")
    return tag("form", *kept, inside, method="post", action=address("part", page, "readings"))


def take_answer(desk: Desk, typed: fields.Typed) -> None:
    """Fill the empty cell that was asked for.

    Raises
    ------
    FaultyInput
        It cannot be meant so, or something is stated there already; nothing was changed.
    """
    cells = cells_of(typed, FIELDS)
    part, feature, asked, answer = (cells[name] for name in FIELDS)
    if asked in OF_A_PART:
        sheets.fill(desk.folder, PARTS, {(part,): {asked: answer}})
    elif asked in OF_A_FEATURE and answer:
        name = {"fastener": "through", "float": "float_mm"}.get(asked, asked)
        filled = understood_cells(desk.build(), Words(part, (feature,)), Typed(**{name: answer}))
        sheets.fill(desk.folder, FEATURES, {(part, feature): filled.cells})
    else:
        raise FaultyInput((Problem("page", 0, "answer", "nothing was typed", "Write it, or leave it open"),))
