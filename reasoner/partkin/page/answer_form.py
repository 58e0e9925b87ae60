"""What a verdict asks for that is no distance: a face, a duty, a direction, what goes through. One short form each."""

from __future__ import annotations

from collections.abc import Mapping

from partkin.model.problem import refused
from partkin.model.verdict import Unknown
from partkin.model.words import SIDES
from partkin.page.desk import Desk
from partkin.page.frame import Typed, cells_of
from partkin.page.starting import AIRBAG_WORDS, DUTY_WORDS, FEATURES, PARTS
from partkin.readings import typed_cells
from partkin.readings.typed_readings import TypedWords
from partkin.sheets.changing import fill

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
ON_SIDES = {side: f"on the {side.split()[0]}" for side in SIDES}
LABELS = {
    "thread": "Thread", "fastener_mm": "What goes through", "angle_deg": "It points at", "float_mm": "It moves by",
}  # fmt: skip
FIELDS = ("part", "feature", "asked", "answer", "alike")


def own_form(asked: Unknown) -> Mapping[str, str] | str | None:
    """Return what a question's own form shows: words for its buttons by what they write, or what its box is called.

    None: it is answered by the form for readings, or by none.
    """
    quantity = asked.quantity or ""
    if asked.part is None:
        return None
    if quantity in OF_A_PART:
        return OF_A_PART[quantity]
    if asked.from_feature is None:
        return None
    return ON_SIDES if quantity in SIDES else OF_A_FEATURE.get(quantity)


def take_answer(desk: Desk, typed: Typed) -> None:
    """Fill the empty cell that was asked for, and those of the features that are `alike`.

    FaultyInput: it cannot be meant so, or something is stated there already; nothing was changed.
    """
    cells = cells_of(typed, FIELDS)
    part, feature, asked, answer, others = (cells[name] for name in FIELDS)
    if asked in OF_A_PART:
        fill(desk.folder, PARTS, {(part,): {asked: answer}})
    elif asked in OF_A_FEATURE and answer:
        name = {"fastener": "through", "float": "float_mm"}.get(asked, asked)
        filled = typed_cells.understood_cells(
            desk.build(), TypedWords(part, (feature, *others.split())), typed_cells.Typed(**{name: answer})
        )
        fill(desk.folder, FEATURES, {(part, one): filled.cells for one in filled.features})
    else:
        raise refused("page", 0, "answer", "nothing was typed", "Write it, or leave it open")
