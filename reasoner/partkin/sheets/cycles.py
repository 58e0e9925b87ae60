"""Chains that lead back to their own beginning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def find_cycles(leads_to: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """Return cycles of a graph, at least one where there are any, no two with a node in common.

    Examples
    --------
    >>> find_cycles({"a": ["b"], "b": ["c"], "c": ["b"], "d": ["a"]})
    [['b', 'c']]
    """
    found: list[list[str]] = []
    taken: set[str] = set()
    done: set[str] = set()
    for start in leads_to:
        if start in done:
            continue
        path, on_path = [start], {start: 0}
        waiting = [iter(leads_to[start])]
        while path:
            after = next(waiting[-1], None)
            if after is None:
                done.add(path[-1])
                del on_path[path.pop()]
                waiting.pop()
            elif after in on_path:
                cycle = path[on_path[after] :]
                if taken.isdisjoint(cycle):
                    found.append(cycle)
                    taken.update(cycle)
            elif after in leads_to and after not in done:
                on_path[after] = len(path)
                path.append(after)
                waiting.append(iter(leads_to[after]))
    return found


def shown(cycle: Sequence[str]) -> str:
    """Write a cycle out, back to its beginning.

    Examples
    --------
    >>> shown(["a", "b"])
    'a, b, a'
    """
    return ", ".join((*cycle, cycle[0]))
