"""A donor moved by hand on its host: the figures that the script works with, and the page around it."""

from __future__ import annotations

from typing import Any

from partkin import seeing
from partkin.model.build import Build
from partkin.model.drawing import DrawnFeature, DrawnOutline, DrawnZone, OverlayView
from partkin.page.desk import Desk
from partkin.page.frame import address, whole
from partkin.page.markup import Html, tag, text
from partkin.report.html_donor import called
from partkin.report.symbols import size_mm
from partkin.seeing import Seen

STEPS_MM = ("0.01", "0.1", "1", "10")
STEPS_DEG = ("0.01", "0.1", "1")
MOVES = (("left", "Left"), ("right", "Right"), ("up", "Up"), ("down", "Down"))
TURNS = (("turn-left", "Turn left"), ("turn-right", "Turn right"))


def lay_figures(desk: Desk, build: Build, donor: str) -> dict[str, Any] | str:
    """Return what lies where, in full precision; or why a donor cannot be laid on by hand.

    Host things in the host's frame, donor things in the donor's; mm, degrees anticlockwise, y up. A placement
    mirrors (x negated) first, then turns, then shifts.
    """
    answer = desk.look(donor)
    if not isinstance(answer, Seen):
        return "; ".join(f"{problem.what}. {problem.mend}" for problem in answer.problems)
    verdict, trial = answer.verdict, answer.findings.trial
    if verdict.placement is None or trial is None:
        return "No placement is known of this donor, so there is nothing to move."
    if trial.task.dims != 2:
        return "This pattern stands in space; by hand only flat ones are moved here."
    view = seeing.overlay(build, answer)
    if view is None:
        return "Nothing here can be drawn."
    placed = {spot.id: spot for spot in trial.task.fixings}, {spot.id: spot for spot in trial.task.features}
    return {
        "fixings": [_spot(one, placed[0]) for one in view.fixings if one.id in placed[0]],
        "features": [_spot(one, placed[1]) for one in view.features if one.id in placed[1]],
        "pairs": [
            {"fixing": pair.fixing, "feature": pair.feature, "allowed_mm": pair.allowed_mm,
             "blocked": pair.state == "blocked"}
            for pair in verdict.pairs
        ],
        "best": {
            "turn_deg": verdict.placement.turn_deg, "x_mm": verdict.placement.x_mm, "y_mm": verdict.placement.y_mm,
            "mirrored": verdict.placement.mirrored,
        },
        "lines": [*map(_line, view.outlines), *map(_line, view.zones)],
    }  # fmt: skip


def _spot(drawn: DrawnFeature, placed: dict[str, Any]) -> dict[str, Any]:
    spot = placed[drawn.id]
    size = size_mm(drawn)
    return {
        "id": drawn.id, "x_mm": spot.at_mm[0], "y_mm": spot.at_mm[1], "half_mm": spot.half_travel_mm,
        "angle_deg": spot.angle_deg, "across_mm": size,
    }  # fmt: skip


def _line(one: DrawnOutline | DrawnZone) -> dict[str, Any]:
    kind = "zone" if isinstance(one, DrawnZone) else "edge"
    return {"of": "donor" if one.of == "donor" else "host", "kind": kind, "corners_mm": one.corners_mm}


def lay_page(desk: Desk, build: Build, donor: str) -> str:
    """Return the page on which a donor is moved by hand."""
    found = lay_figures(desk, build, donor)
    back = tag("p", tag("a", "Back to the verdict", href=address("part", donor)))
    heading = tag("h1", Html(called(build, donor)), " laid on by hand")
    if isinstance(found, str):
        return whole(desk, donor, text([heading, tag("p", found), back]))
    answer = desk.look(donor)
    assert isinstance(answer, Seen)
    view = seeing.overlay(build, answer)
    main = [
        heading,
        tag("noscript", tag("p", "Moving by hand needs this page's own script; the verdict does not.")),
        tag("p", id_="least", aria_live="polite"),
        tag("div", _bench(), _controls(), class_="lay"),
        back,
    ]
    told = tag("div", *main, id_="lay", data_figures=address("part", donor, "lay.json"), data_title=_title(view))
    return whole(desk, f"{donor}: by hand", told, ("lay.js",), wide=True)


def _title(view: OverlayView | None) -> str:
    return "" if view is None else f"{view.donor_name or view.donor} on {view.host_name or view.host}"


def _bench() -> Html:
    label = "The donor on the host. Arrow keys move it, Q and W turn it, Home puts it back."
    field = tag("div", id_="field", tabindex="0", role="application", aria_label=label)
    return tag("div", field, tag("p", id_="factor", class_="soft"), tag("ul", id_="cells"), class_="bench")


def _controls() -> Html:
    moves = [tag("button", words, type_="button", data_move=name) for name, words in MOVES]
    turns = [tag("button", words, type_="button", data_move=name) for name, words in TURNS]
    steps = [
        _steps("step-mm", "One step, mm", STEPS_MM, "0.1"), _steps("step-deg", "One turn, degrees", STEPS_DEG, "0.1"),
    ]  # fmt: skip
    heads = ("Fixing", "Feature", "Offset", "Allowed", "Margin", "At best", "State")
    head = tag("tr", *(tag("th", word, scope="col", class_="n" if word in heads[2:6] else None) for word in heads))
    caption = tag("caption", "Pairs as they lie now, in mm")
    table = tag("table", caption, tag("thead", head), tag("tbody", id_="pairs"), class_="tight")
    keys = tag("p", "Arrow keys move by one step, with Shift by ten; Q and W turn; Home puts it back.", class_="soft")
    drag = tag("p", "Drag the pattern, or any cell: a cell moves it as finely as it is drawn.", class_="soft")
    home = tag("button", "Best placement", type_="button", data_move="home")
    return tag(
        "div", tag("div", *moves, *turns, home, class_="keys"), tag("div", *steps, class_="fields"), keys, drag,
        tag("p", id_="where"), table, class_="beside",
    )  # fmt: skip


def _steps(name: str, label: str, values: tuple[str, ...], chosen: str) -> Html:
    options = [tag("option", value, value=value, selected=value == chosen or None) for value in values]
    return tag("div", tag("label", label, for_=name), tag("select", *options, id_=name), class_="field")
