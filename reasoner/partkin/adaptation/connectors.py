"""Connectors of the original and of the donor: what matches, what needs an adapter, what to move over."""

from __future__ import annotations

import re
from collections.abc import Iterable

from partkin.adaptation.choices import Bench
from partkin.adaptation.dressing import priced_action
from partkin.adaptation.limits import LICENSED
from partkin.model.adapting import Action, AdaptationQuestion, ConnectorLine
from partkin.model.build import Connector

RESTRAINT = re.compile(r"(?<![a-z])(air[ -]?bag|srs|squib|pretensioner|restraint|seat[ -]?belt)", re.IGNORECASE)


def compare_connectors(original: Iterable[Connector], donor: Iterable[Connector]) -> tuple[ConnectorLine, ...]:
    """Say for each connector how the donor meets it.

    Connectors go together by name, else by the same ways and keying. A connector of a restraint is never
    adapted, whatever its ways.

    Returns
    -------
    tuple of ConnectorLine
        The original's in order, then the donor's that nothing takes.

    Examples
    --------
    >>> lamp = Connector("O", "lamp", ways=4, keyed_as="A")
    >>> [line.state for line in compare_connectors([lamp], [Connector("D", "lamp", ways=6, keyed_as="B")])]
    ['needs an adapter']
    """
    left = list(donor)
    lines = []
    for wanted in original:
        found = _counterpart(wanted, left)
        if found is not None:
            left.remove(found)
        lines.append(_line(wanted, found))
    lines += [_spare(connector) for connector in left]
    return tuple(lines)


def connector_jobs(question: AdaptationQuestion, lines: Iterable[ConnectorLine]) -> tuple[Action, ...]:
    """Make a job of each connector that needs an adapter or is moved over; of a restraint's never.

    A part whose duty lets nothing be altered gets its plugs moved over or adapted all the same: that is the loom's.
    """
    bench, jobs = Bench(question), {"needs an adapter": "connector adapter", "move over": "move over"}
    return tuple(
        priced_action(bench, jobs[line.state], line.connector, "donor", line.says, None)
        for line in lines
        if line.state in jobs
    )


def _counterpart(wanted: Connector, among: list[Connector]) -> Connector | None:
    for connector in among:
        if connector.connector == wanted.connector:
            return connector
    if wanted.ways is None or wanted.keyed_as is None:
        return None
    for connector in among:
        if (connector.ways, connector.keyed_as) == (wanted.ways, wanted.keyed_as):
            return connector
    return None


def _line(wanted: Connector, found: Connector | None) -> ConnectorLine:
    name = wanted.connector
    if found is None:
        state, says = _missing(wanted)
        return ConnectorLine(name, name, None, state, says)
    unknown = [
        what
        for what, ours, theirs in (
            ("ways", wanted.ways, found.ways),
            ("keying", wanted.keyed_as, found.keyed_as),
        )
        if ours is None or theirs is None
    ]
    differ = _differences(wanted, found)
    if differ and RESTRAINT.search(name):
        says = f"{name}: {differ}. A connector of a restraint is never adapted; {LICENSED}."
        return ConnectorLine(name, name, found.connector, "licensed practice only", says)
    if differ:
        says = f"{name}: {differ}: make or buy an adapter, or move the original's loom over."
        return ConnectorLine(name, name, found.connector, "needs an adapter", says)
    if unknown:
        says = f"{name}: {' and '.join(unknown)} not known on both: look at both plugs."
        return ConnectorLine(name, name, found.connector, "to be found out", says)
    says = f"{name}: {wanted.ways} ways, keyed {wanted.keyed_as}, plugs in. Compare the wiring pin by pin."
    return ConnectorLine(name, name, found.connector, "matches", says)


def _differences(wanted: Connector, found: Connector) -> str:
    parts = []
    if wanted.ways is not None and found.ways is not None and wanted.ways != found.ways:
        parts.append(f"{wanted.ways} ways on the original, {found.ways} on the donor")
    if wanted.keyed_as and found.keyed_as and wanted.keyed_as != found.keyed_as:
        parts.append(f"keyed {wanted.keyed_as} on the original, {found.keyed_as} on the donor")
    return ", ".join(parts)


def _missing(wanted: Connector) -> tuple[str, str]:
    name = wanted.connector
    if wanted.need == "spare":
        return "not used", f"{name}: spare on the original; the donor has none. Nothing to do."
    if RESTRAINT.search(name):
        says = f"{name}: the donor has none. A restraint's wiring is never moved or made up; {LICENSED}."
        return "licensed practice only", says
    return "move over", f"{name}: the donor has none. Move it over from the original, with what it belongs to."


def _spare(connector: Connector) -> ConnectorLine:
    name = connector.connector
    if RESTRAINT.search(name):
        says = f"{name}: only on the donor, and of a restraint: leave it unplugged; {LICENSED}."
        return ConnectorLine(name, None, name, "licensed practice only", says)
    says = f"{name}: only on the donor. Cap it and tie it back, or move the original's part over in its place."
    return ConnectorLine(name, None, name, "not used", says)
