"""A build begun on the page: what broke, what is it fixed to, which part might go on.

Each answer is a row of parts.csv.
"""

from __future__ import annotations

from typing import NamedTuple

from markupsafe import Markup

from partkin.model.build import Build
from partkin.model.problem import refused
from partkin.page.desk import Desk
from partkin.page.frame import Typed, address, cells_of, faults, whole
from partkin.sheets.cells import proposed_id
from partkin.sheets.changing import append_all, fill

PARTS, FEATURES, MODELS = "parts.csv", "features.csv", "models.csv"
FIELDS = ("name", "model", "part_number", "duty", "broken_by", "airbag", "takes_place_of")
LABELS = {
    "name": "What people call it", "model": "From which vehicle", "part_number": "Part number",
    "duty": "What it does for people's safety", "broken_by": "How it broke",
    "airbag": "Does an airbag open through it?", "takes_place_of": "In place of what came off", "part": "Id",
}  # fmt: skip
DUTY_WORDS = {
    "": "not known yet", "trim": "trim: it covers", "body": "body: a panel or its frame",
    "structural": "structural: it takes a load", "restraint": "restraint: belt or airbag",
}  # fmt: skip
AIRBAG_WORDS = {"": "not known yet", "yes": "yes, one opens through it", "no": "no"}
BROKEN_WORDS = {
    "": "not known, or it is whole", "airbag": "an airbag did its work and opened it", "crash": "it was hit or bent",
    "other": "in another way",
}  # fmt: skip
CHOICES = {"duty": DUTY_WORDS, "broken_by": BROKEN_WORDS, "airbag": AIRBAG_WORDS}


class Step(NamedTuple):
    """One of the three short forms. `origin`: of the part that it adds; `fields`: of the form."""

    origin: str
    heading: str
    hint: str
    fields: tuple[str, ...]


STEPS = (
    Step("original", "What broke?", "The part that came off, or has to. Only its name is needed.",
         ("name", "model", "part_number", "duty", "broken_by", "airbag")),
    Step("host", "What is it fixed to?", "What stays on the vehicle: the frame, carrier or panel that holds it.",
         ("name",)),
    Step("donor", "Which part might go on?", "A part from a sister model, as it is offered.",
         ("name", "model", "part_number", "takes_place_of")),
)  # fmt: skip


def step_of(build: Build) -> Step | None:
    """The form that a build waits for; None: it has a part that might go on."""
    there = {part.origin for part in build.parts}
    if "donor" in there:
        return None
    if "host" in there:
        return STEPS[2]
    return STEPS[1] if "original" in there else STEPS[0]


def start_page(desk: Desk, origin: str | None = None, typed: Typed | None = None, refused: Markup | None = None) -> str:
    """Return the page with the form that the build waits for, or with the one for a part of that origin.

    `typed`, `refused`: what was typed, and why it was not taken.
    """
    build = desk.sheets().build
    if build is None:
        return faults(desk)
    asked = next((step for step in STEPS if step.origin == origin), None) or step_of(build) or STEPS[2]
    more = any(part.origin == "donor" for part in build.parts)
    hosts = {part.part: part.name or part.part for part in build.parts if part.origin == "host"}
    return whole(
        desk, "start.html", "Another part" if more else "Start", build=build, steps=STEPS, asked=asked, more=more,
        typed=typed or {}, refused=refused, labels=LABELS, choices={**CHOICES, "takes_place_of": hosts},
    )  # fmt: skip


def add_part(desk: Desk, origin: str, typed: Typed) -> str:
    """Add a part, and return the address to go on at.

    FaultyInput: it cannot be meant so, or the sheets hold faults; nothing was changed.
    """
    build = desk.build()
    step = next((step for step in STEPS if step.origin == origin), None)
    if step is None:
        raise refused(PARTS, 0, "origin", f"{origin!r} is no such form", "Reload the page")
    cells = {name: cell for name, cell in cells_of(typed, FIELDS).items() if cell and name in step.fields}
    if "name" not in cells:
        raise refused(PARTS, 0, "name", "nothing was typed", "Write what people call it")
    part = proposed_id(cells["name"], {part.part for part in build.parts})
    row = {"part": part, "origin": origin, **cells}
    if origin == "donor" and "takes_place_of" not in row:
        row["takes_place_of"] = next(part.part for part in build.parts if part.origin == "host")
    rows: dict[str, list[dict[str, str]]] = {PARTS: [row], FEATURES: []}
    listed = {model.model for model in build.models}
    if "model" in cells and cells["model"] not in listed and (desk.folder / MODELS).exists():
        rows[MODELS] = [{"model": cells["model"]}]
    append_all(desk.folder, rows)
    # What came off before its host was named came off there.
    waiting = [one.part for one in build.parts if one.origin == "original" and one.takes_place_of is None]
    if origin == "host" and waiting:
        fill(desk.folder, PARTS, {(name,): {"takes_place_of": part} for name in waiting})
    return next_for(desk.build(), part) if origin == "donor" else "/"


def next_for(build: Build, donor: str) -> str:
    """Return where a donor is gone on with: the holes that are not listed yet, else its own page."""
    host = next((part.takes_place_of for part in build.parts if part.part == donor), None)
    there = donor
    if host is not None and not any(map(build.features_of, (host, *(part.part for part in build.came_off(host))))):
        there = host
    elif build.features_of(donor):
        return address("part", donor)
    return f"{address('part', there, 'features')}?donor={address(donor)[1:]}"
