"""The same job at several fixings, told once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

from partkin.model.adapting import Action


def together(actions: Iterable[Action]) -> list[Action]:
    """Join jobs that stand one after the other and differ in nothing but their fixing.

    Only jobs whose words begin with `At` and their fixing can be joined; minutes and costs are added up.

    Examples
    --------
    >>> one = Action("spacer", "a", "D", 2.0, 2.0, 1.5, "At F1: put a spacer.", fixing="F1")
    >>> other = replace(one, feature="b", fixing="F2", says="At F2: put a spacer.", order=2)
    >>> [(each.says, each.minutes) for each in together([one, other])]
    [('At F1 and F2: put a spacer.', 4.0)]
    """
    return [_joined(list(alike)) for _, alike in groupby(actions, key=_alike)]


def _alike(action: Action) -> tuple[object, ...]:
    lead = f"At {action.fixing}: "
    if action.fixing is None or not action.says.startswith(lead):
        return (action.order, action.do, action.feature)
    return (action.do, action.part, action.to_mm, action.length_mm, action.says.removeprefix(lead))


def _joined(alike: list[Action]) -> Action:
    if len(alike) == 1:
        return alike[0]
    *rest, last = [action.fixing or "" for action in alike]
    said = alike[0].says.removeprefix(f"At {alike[0].fixing}: ")
    return replace(
        alike[0], says=f"At {', '.join(rest)} and {last}: {said}", minutes=_sum([a.minutes for a in alike]),
        cost=_sum([a.cost for a in alike]), material_cost=_sum([a.material_cost for a in alike]),
    )  # fmt: skip


def _sum(amounts: list[float | None]) -> float | None:
    known = [amount for amount in amounts if amount is not None]
    return round(sum(known), 2) if len(known) == len(amounts) else None
