"""A donor moved by hand on its host: the figures that the script works with, and the page around it."""

from __future__ import annotations

from typing import Any

from partkin.commands import seeing
from partkin.commands.seeing import SeenCheck
from partkin.drawing.symbols import size_mm
from partkin.model.build import Build
from partkin.model.drawing import DrawnFeature, DrawnOutline, DrawnZone
from partkin.page.desk import Desk
from partkin.page.frame import whole

MOVES = (
    ("left", "Left"), ("right", "Right"), ("up", "Up"), ("down", "Down"), ("turn-left", "Turn left"),
    ("turn-right", "Turn right"), ("home", "Best placement"),
)  # fmt: skip


def lay_figures(desk: Desk, build: Build, donor: str) -> dict[str, Any] | str:
    """Return what lies where, in full precision; or why a donor cannot be laid on by hand.

    Host things in the host's frame, donor things in the donor's; mm, degrees anticlockwise, y up. A placement
    mirrors (x negated) first, then turns, then shifts.
    """
    answer = desk.look(donor)
    if not isinstance(answer, SeenCheck):
        return "; ".join(f"{problem.what}. {problem.mend}" for problem in answer.problems)
    verdict, trial = answer.verdict, answer.findings.trial
    placement = verdict.shown.placement
    if placement is None or trial is None:
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
            for pair in verdict.shown.pairs
        ],
        "best": {
            "turn_deg": placement.turn_deg, "x_mm": placement.x_mm, "y_mm": placement.y_mm,
            "mirrored": placement.mirrored,
        },
        "lines": [*map(_line, view.outlines), *map(_line, view.zones)],
    }  # fmt: skip


def _spot(drawn: DrawnFeature, placed: dict[str, Any]) -> dict[str, Any]:
    spot = placed[drawn.id]
    return {
        "id": drawn.id, "x_mm": spot.at_mm[0], "y_mm": spot.at_mm[1], "half_mm": spot.half_travel_mm,
        "angle_deg": spot.angle_deg, "across_mm": size_mm(drawn),
    }  # fmt: skip


def _line(one: DrawnOutline | DrawnZone) -> dict[str, Any]:
    kind = "zone" if isinstance(one, DrawnZone) else "edge"
    return {"of": "donor" if one.of == "donor" else "host", "kind": kind, "corners_mm": one.corners_mm}


def lay_page(desk: Desk, build: Build, donor: str) -> str:
    """Return the page on which a donor is moved by hand."""
    found = lay_figures(desk, build, donor)
    if isinstance(found, str):
        return whole(desk, "lay.html", donor, build=build, donor=donor, why=found)
    answer = desk.look(donor)
    assert isinstance(answer, SeenCheck)
    view = seeing.overlay(build, answer)
    laid_on = "" if view is None else f"{view.donor_name or view.donor} on {view.host_name or view.host}"
    return whole(
        desk, "lay.html", f"{donor}: by hand", build=build, donor=donor, why=None, laid_on=laid_on, moves=MOVES
    )
