"""Rows for what a solution overlooks: fasteners that it does not reach, and work at the bench too early."""

from __future__ import annotations

from partkin.strip.access import run
from partkin.strip.bodies import Assembly
from partkin.strip.blocking import Blocking
from partkin.strip.master import INFINITE, Chosen, Columns, Row

SLACK = 1e-4
NESTED = 4


def reaching(
    asm: Assembly, blocking: Blocking, columns: Columns, values: list[float], can: frozenset[int], most: int
) -> list[Row]:
    """Return rows w_f <= sum of w over H that a (fractional) solution breaks.

    Beside each stands its shadow on the places: whoever undoes one of H goes to its place or to the bench.

    Parameters
    ----------
    asm, blocking, columns
    values
        Of every variable.
    can
        Fasteners that some order reaches.
    most
        About how many rows at most.
    """
    used = [values[column] for column in columns.w]
    sure = 0
    for index in can:
        if used[index] > 1.0 - SLACK:
            sure |= 1 << index
    reached = blocking.run(sure)
    targets = [i for i in can if used[i] > SLACK and not reached >> i & 1]
    rows: list[Row] = []
    for index in sorted(targets, key=lambda i: (-round(used[i], 6), i)):
        if len(rows) >= most:
            break
        weight = list(used)
        for _ in range(NESTED):
            order = sorted(can, key=lambda i: (-round(weight[i], 6), asm.fasteners[i].minutes, i))
            others = blocking.others(index, order, weight, used[index] - SLACK)
            if others is None:
                break
            rows.append(_row(columns.w[index], [columns.w[other] for other in sorted(others)]))
            shadow = _shadow(asm, columns, others)
            if shadow and sum(values[column] for column in shadow) < used[index] - SLACK:
                rows.append(_row(columns.w[index], shadow))
            for other in others:
                weight[other] = 1.0
    return rows


def _row(column: int, helpers: list[int]) -> Row:
    return (-INFINITE, 0.0, [column, *helpers], [1.0] + [-1.0] * len(helpers))


def _shadow(asm: Assembly, columns: Columns, others: list[int]) -> list[int]:
    if not columns.place or any(asm.fasteners[other].link for other in others):
        return []
    places = sorted({columns.place[asm.fasteners[other].place] for other in others})
    return [*places, columns.bench] if columns.bench >= 0 else places


def before_bench(asm: Assembly, blocking: Blocking, columns: Columns, chosen: Chosen, can: frozenset[int]) -> list[Row]:
    """Return rows that a solution breaks: what joins the carried bodies to the rest comes undone before any work
    at the bench, so it is reached by what is undone on the vehicle alone.
    """
    if not chosen.at_bench:
        return []
    on_vehicle = chosen.undone - chosen.at_bench
    done = run(asm, on_vehicle)
    order = sorted(can, key=lambda i: (i not in on_vehicle, asm.fasteners[i].minutes, i))
    rows: list[Row] = []
    for index in sorted(on_vehicle - done):
        joins = [join for join in asm.fasteners[index].joins if (join[0] in chosen.carried) != (join[1] in chosen.carried)]
        others = blocking.others(index, order, [0.0] * len(asm.fasteners), INFINITE) if joins else None
        if others is None:
            continue
        terms = [columns.w[other] for other in others] + [columns.y[other] for other in others]
        weights = [-1.0] * len(others) + [1.0] * len(others)
        for a, b in joins:
            for one, other in ((a, b), (b, a)):
                rows.append((-INFINITE, 0.0, [columns.z[one], columns.z[other], *terms], [1.0, -1.0, *weights]))
    return rows
