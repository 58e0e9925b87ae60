"""The verdict file: what `partkin check DONOR --json` writes. Absent things are null or [], never left out."""

from __future__ import annotations

import json
import re
from typing import Any

from partkin.model.adapting import Action, Adaptation, EdgeGap
from partkin.model.fitting import Chance, Conflict, LikelyPlaces, Nogood, Piece, Placement, WithinErrors
from partkin.model.verdict import Laid, Pair, SeamElsewhere, Verdict

FORMAT = 1
RULED_OUT = ("do", "feature", "says", "source")
CONNECTOR = ("connector", "original", "donor", "state", "says")
LEFT_OVER = ("fixing", "feature", "need", "why")
DECIMALS = 6
# A list that holds neither lists, objects nor text with brackets: written on one line.
LEAF_LIST = re.compile(r'\[\n\s+(?:(?:"[^"\[\]{}\\\s]*"|-?[\d.eE+-]+|true|false|null),?\s+)+\]')


def number(value: float | None) -> float | int | None:
    """A number for the file: six decimals, and zero without a sign."""
    if value is None:
        return None
    rounded = round(value, DECIMALS)
    return 0.0 if rounded == 0 else rounded


def as_tree(verdict: Verdict) -> dict[str, Any]:
    """The verdict as plain dictionaries and lists, keys in the order of the contract."""
    placement = verdict.placement
    return {
        "partkin": FORMAT,
        **_cells(verdict, "host", "donor", "measured_from", "verdict", "says"),
        "chance": _chance(verdict.chance),
        "margin_mm": number(verdict.margin_mm),
        "placement": _placement(placement) if placement is not None else None,
        "pairs": [_pair(pair) for pair in verdict.pairs],
        "also": verdict.also,
        "unpaired": [_cells(one, *LEFT_OVER) for one in verdict.unpaired],
        "conflict": _conflict(verdict.conflict, verdict.conflict_says, verdict.elsewhere),
        "adaptations": [_action(action) for action in _actions(verdict.adaptation)],
        "other_adaptations": [[_action(a) for a in _actions(other)] for other in verdict.other_adaptations],
        "adaptation_totals": [_totals(one) for one in (verdict.adaptation, *verdict.other_adaptations) if one],
        "adapted_chance": _chance(verdict.adapted_chance),
        "likely_work": _likely(verdict),
        "ruled_out": [_cells(one, *RULED_OUT) for one in verdict.ruled_out],
        "edges": [_edge(gap) for gap in verdict.edges],
        "connectors": [_cells(one, *CONNECTOR) for one in verdict.connectors],
        "besides": [_action(action) for action in verdict.besides],
        "besides_ruled_out": [_cells(one, *RULED_OUT) for one in verdict.besides_ruled_out],
        "unknown": [
            {
                "what": one.what, "reading": None if one.quantity is None else {
                    "part": one.part, "quantity": one.quantity, "from": one.from_feature, "to": one.to_feature,
                }, "says": one.says,
            }
            for one in verdict.unknown
        ],
        "safety": [_cells(one, "rule", "says", "hold", "source") for one in verdict.safety],
        "reasons": [_cells(one, "id", "says", "because", "source") for one in verdict.reasons],
        "next": verdict.next_step,
        "gaps": [{"fixing": fixing, "gap_mm": number(gap_mm)} for fixing, gap_mm in verdict.gaps],
        "flex_used_mm": number(verdict.flex_used_mm),
        "levels": [_cells(one, "part", "host", "within", "verdict", "says") for one in verdict.levels],
        "likely": _likely_places(verdict.likely),
        "odd": _laid(verdict.odd),
        "after": _laid(verdict.after),
        "positions": {"host": _places(verdict.host_positions), "donor": _places(verdict.donor_positions)},
    }  # fmt: skip


def verdict_json(verdict: Verdict) -> str:
    """The verdict file as text, ending in a newline; the same verdict gives the same bytes."""
    text = json.dumps(as_tree(verdict), ensure_ascii=False, indent=2, allow_nan=False)
    return LEAF_LIST.sub(lambda found: " ".join(found[0].split()).replace("[ ", "[").replace(" ]", "]"), text) + "\n"


def _cells(one: object, *names: str) -> dict[str, Any]:
    """These fields as they are; none of them is a float."""
    return {name: getattr(one, name) for name in names}


def _numbers(one: object, *names: str) -> dict[str, Any]:
    """These fields as numbers for the file."""
    return {name: number(getattr(one, name)) for name in names}


def _places(rows: tuple[tuple[str, tuple[float, ...]], ...]) -> dict[str, list[float]]:
    return {name: [value + 0.0 for value in at_mm] for name, at_mm in rows}


def _chance(chance: Chance | None) -> dict[str, Any] | None:
    if chance is None:
        return None
    first = _numbers(chance, "fits", "low", "high")
    more = ("one_drawing", "assumed", "at_half", "at_twice", "just_goes_on", "hidden_mm")
    return {**first, "draws": chance.draws, **_numbers(chance, *more)}


def _likely_places(likely: LikelyPlaces | None) -> dict[str, Any] | None:
    if likely is None:
        return None
    return {
        "host": _places(likely.host), "donor": _places(likely.donor), "placement": _placement(likely.placement),
        "left_out": _left_out(likely.left_out),
    }  # fmt: skip


def _placement(placement: Placement) -> dict[str, Any]:
    height = () if placement.z_mm is None else ("z_mm",)
    matrix = [[cell + 0.0 for cell in row] for row in placement.matrix]
    told = _numbers(placement, "turn_deg", "x_mm", "y_mm", *height)
    return {**told, "mirrored": placement.mirrored, "matrix": matrix}


def _laid(laid: Laid | None) -> dict[str, Any] | None:
    if laid is None or laid.placement is None:
        return None
    return {
        "holds": laid.holding, "of": laid.count, "says": laid.says or None, "placement": _placement(laid.placement),
        "pairs": [_pair(pair) for pair in laid.pairs], "unpaired": [_cells(one, *LEFT_OVER) for one in laid.unpaired],
        "odd": [
            {**_cells(one, "fixing", "feature"), "out_mm": [number(v) for v in one.out_mm], **_numbers(one, "short_mm")}
            for one in laid.odd
        ],
    }  # fmt: skip


def _edge(gap: EdgeGap) -> dict[str, Any]:
    return {
        "edge": gap.edge, "neighbour": gap.neighbour, "narrowest_mm": number(gap.narrowest_mm),
        "narrowest_at_mm": list(gap.narrowest_at_mm), "widest_mm": number(gap.widest_mm),
        "widest_at_mm": list(gap.widest_at_mm), "wanted_mm": [number(one) for one in gap.wanted_mm],
        "overlap_mm2": number(gap.overlap_mm2), "trim_mm": number(gap.trim_mm), "says": gap.says,
    }  # fmt: skip


def _pair(pair: Pair) -> dict[str, Any]:
    tree = _cells(pair, "fixing", "feature") | _numbers(pair, "offset_mm", "allowed_mm", "margin_mm")
    tree["state"] = pair.state
    if pair.along_mm is not None:
        tree |= {"direction": pair.direction, **_numbers(pair, "along_mm", "lean_deg")}
    return {**tree, "why": pair.why} if pair.why else tree


def _conflict(conflict: Conflict | None, says: str | None, seam: SeamElsewhere | None) -> dict[str, Any] | None:
    elsewhere = None if seam is None else {
        "kind": seam.kind, **_numbers(seam, "departure_mm", "within_mm"),
        "original_at": seam.original_at and [list(row) for row in seam.original_at],
    }  # fmt: skip
    if conflict is None:
        return None if says is None else {
            "fixings": [], "features": [], "seams": [], "elsewhere": elsewhere, "shortfall_mm": None, "says": says,
            "certificate": None, "local": False, "errors": None,
        }  # fmt: skip
    return {
        "fixings": list(conflict.fixings), "features": list(conflict.features),
        "seams": [
            {
                **_cells(one, "kind", "original", "donor"), "host_mm": [v + 0.0 for v in one.at_host_mm],
                "donor_mm": [v + 0.0 for v in one.at_donor_mm], "within_mm": one.within_mm,
            }
            for one in conflict.seams
        ],
        "elsewhere": elsewhere, "shortfall_mm": number(conflict.shortfall_mm), "says": says,
        "certificate": {"pairings": [_nogood(nogood) for nogood in conflict.nogoods]}, "local": False,
        "errors": None if conflict.errors is None else _within_errors(conflict.errors),
    }  # fmt: skip


def _within_errors(errors: WithinErrors) -> dict[str, Any]:
    proof = None if not errors.nogoods else {
        "fixings": list(errors.fixings), "features": list(errors.features),
        "left_out": _left_out(errors.left_out), "pairings": [_nogood(nogood) for nogood in errors.nogoods],
    }  # fmt: skip
    return {"share": errors.share, "certificate": proof}


def _left_out(rows: tuple[tuple[str, str], ...]) -> list[dict[str, str]]:
    return [{"part": part, "reading": reading} for part, reading in rows]


def _nogood(nogood: Nogood) -> dict[str, Any]:
    tree: dict[str, Any] = {
        "pairs": [list(pair) for pair in nogood.pairs], "pieces": [_piece(piece) for piece in nogood.pieces]
    }  # fmt: skip
    if nogood.near_mm is not None:
        tree["near_mm"] = dict(zip(("host", "donor"), nogood.near_mm, strict=True))
    if nogood.mirrored:
        tree["mirrored"] = True
    return tree


def _piece(piece: Piece) -> dict[str, Any]:
    tree: dict[str, Any] = {"turn_deg": list(piece.turn_deg)}
    if piece.box is not None:
        tree = {"box": {"largest": piece.box.largest, "lo": list(piece.box.lo), "hi": list(piece.box.hi)}}
    if piece.apart is not None:
        return {**tree, "apart": list(piece.apart)}
    tree["weights"] = [[fixing, *force] for fixing, force in piece.weights]
    if any(piece.carried):
        tree["carried"] = {
            side: [list(row) for row in rows]
            for side, rows in zip(("host", "donor"), piece.carried, strict=True)
        }  # fmt: skip
    if piece.couples:
        tree["couples"] = [[fixing, *couple] for fixing, couple in piece.couples]
    if piece.axes:
        tree["axes"] = [[fixing, weight] for fixing, weight in piece.axes]
    return tree


def _actions(adaptation: Adaptation | None) -> tuple[Action, ...]:
    return adaptation.actions if adaptation is not None else ()


def _totals(adaptation: Adaptation) -> dict[str, Any]:
    told = _numbers(adaptation, "minutes", "cost", "margin_mm")
    return {**told, "proved_cheapest": adaptation.proved_cheapest, **_numbers(adaptation, "bound_cost")}


def _likely(verdict: Verdict) -> dict[str, Any] | None:
    """Work that is likely, and not to be cut yet."""
    if verdict.likely_work is None:
        return None
    jobs = [_action(action) for action in verdict.likely_work.actions]
    return {"jobs": jobs, **_totals(verdict.likely_work), "chance": _chance(verdict.likely_chance)}


def _action(action: Action) -> dict[str, Any]:
    return {
        **_cells(action, "do", "feature", "part", "fixing"), **_numbers(action, "to_mm", "length_mm", "angle_deg"),
        "at_mm": None if action.at_mm is None else [number(v) for v in action.at_mm],
        "axis": None if action.axis is None else [number(v) for v in action.axis],
        **_numbers(action, "minutes", "cost"), "tools": list(action.tools), **_cells(action, "says", "order", "side"),
        **_numbers(action, "allowed_mm", "material_cost"), "source": action.source,
    }  # fmt: skip
