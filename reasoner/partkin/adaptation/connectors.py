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
LICENSED_ONLY = "licensed practice only"
ONLY_ON_DONOR = "only on the donor. Cap it and tie it back, or move the original's part over in its place."


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
    left, lines = list(donor), []
    for wanted in original:
        found = _counterpart(wanted, left)
        if found is not None:
            left.remove(found)
        state, says = _missing(wanted) if found is None else _met(wanted, found)
        name = wanted.connector
        lines.append(ConnectorLine(name, name, found.connector if found else None, state, f"{name}: {says}"))
    for spare in left:
        state, says = "not used", ONLY_ON_DONOR
        if RESTRAINT.search(spare.connector):
            state, says = LICENSED_ONLY, f"only on the donor, and of a restraint: leave it unplugged; {LICENSED}."
        lines.append(ConnectorLine(spare.connector, None, spare.connector, state, f"{spare.connector}: {says}"))
    return tuple(lines)


def connector_jobs(question: AdaptationQuestion, lines: Iterable[ConnectorLine]) -> tuple[Action, ...]:
    """Make a job of each connector that needs an adapter or is moved over; of a restraint's never.

    A part whose duty lets nothing be altered gets its plugs moved over or adapted all the same: that is the loom's.
    """
    bench, jobs = Bench(question), {"needs an adapter": "connector adapter", "move over": "move over"}
    asked = [line for line in lines if line.state in jobs]
    return tuple(priced_action(bench, jobs[x.state], x.connector, "donor", x.says, None) for x in asked)


def _counterpart(wanted: Connector, among: list[Connector]) -> Connector | None:
    named = [other for other in among if other.connector == wanted.connector]
    alike = [other for other in among if (other.ways, other.keyed_as) == (wanted.ways, wanted.keyed_as)]
    known = wanted.ways is not None and wanted.keyed_as is not None
    return next(iter((*named, *(alike if known else ()))), None)


def _met(wanted: Connector, found: Connector) -> tuple[str, str]:
    """How a connector that is on both goes together."""
    differ, unknown = [], []
    if wanted.ways is None or found.ways is None:
        unknown.append("ways")
    elif wanted.ways != found.ways:
        differ.append(f"{wanted.ways} ways on the original, {found.ways} on the donor")
    if wanted.keyed_as is None or found.keyed_as is None:
        unknown.append("keying")
    elif wanted.keyed_as and found.keyed_as and wanted.keyed_as != found.keyed_as:
        differ.append(f"keyed {wanted.keyed_as} on the original, {found.keyed_as} on the donor")
    if differ and RESTRAINT.search(wanted.connector):
        return LICENSED_ONLY, f"{', '.join(differ)}. A connector of a restraint is never adapted; {LICENSED}."
    if differ:
        return "needs an adapter", f"{', '.join(differ)}: make or buy an adapter, or move the original's loom over."
    if unknown:
        return "to be found out", f"{' and '.join(unknown)} not known on both: look at both plugs."
    return "matches", f"{wanted.ways} ways, keyed {wanted.keyed_as}, plugs in. Compare the wiring pin by pin."


def _missing(wanted: Connector) -> tuple[str, str]:
    if wanted.need == "spare":
        return "not used", "spare on the original; the donor has none. Nothing to do."
    if RESTRAINT.search(wanted.connector):
        return LICENSED_ONLY, f"the donor has none. A restraint's wiring is never moved or made up; {LICENSED}."
    return "move over", "the donor has none. Move it over from the original, with what it belongs to."
