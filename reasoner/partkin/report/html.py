"""The report of a build: one HTML file that needs no network, no script and no colour to be read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import NamedTuple

from markupsafe import Markup

from partkin.model.build import Build, Feature, Reading
from partkin.model.drawing import OptionRow, OverlayView, ReportView
from partkin.model.verdict import Caution, Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, NOT_ENOUGH, NOT_JUDGED, WITH_ADAPTATION
from partkin.report.html_pieces import Sources, environment, report_style


@dataclass(frozen=True, eq=False)
class ToldDonor:
    """One donor as donor.html tells it; `key` starts the ids in it; `after`: drawn with the work done."""

    build: Build
    verdict: Verdict
    overlay: OverlayView | None
    sources: Sources
    key: str
    after: OverlayView | None = None
    row: OptionRow | None = None

    @property
    def anchors(self) -> dict[str, str]:
        """Ids in the page by those of the reasons."""
        return {reason.id: f"{self.key}r{place}" for place, reason in enumerate(self.verdict.reasons, 1)}

    @property
    def cautions(self) -> list[tuple[Caution, list[str]]]:
        """The cautions of its verdict, holds first."""
        return cautions_of([self.verdict])

    @property
    def measured(self) -> Measured:
        """What was measured of the donor."""
        return measured_of(self.build, self.verdict.donor)


class Measured(NamedTuple):
    """What the sheets say of where a part's features are: places as stated, and readings; `corrected`: their ids."""

    part: str
    features: tuple[Feature, ...]
    readings: tuple[Reading, ...]
    corrected: frozenset[str]

    @property
    def known(self) -> bool:
        """Whether a report has anything to show of it."""
        return bool(self.readings) or any(feature.x_mm is not None for feature in self.features)

    @property
    def flat(self) -> bool:
        """Whether no height is stated."""
        return all(feature.z_mm is None for feature in self.features)


def measured_of(build: Build, part: str) -> Measured:
    """Return what was measured of a part."""
    features = tuple(f for f in build.features_of(part) if f.x_mm is not None or f.y_mm is not None)
    readings = tuple(reading for reading in build.readings if reading.part == part)
    return Measured(part, features, readings, frozenset(one.corrects for one in readings if one.corrects))


@dataclass(frozen=True)
class WayRow:
    """A row of the options side by side: a donor with its verdict, or what `stands` in its place.

    `row`: what it costs; `href`: where more of a donor stands; `part`: of a donor.
    """

    row: OptionRow | None
    stands: str = ""
    part: str | None = None
    href: str = ""
    verdict: Verdict | None = None
    overlay: OverlayView | None = None


def ways_of(options: Sequence[OptionRow], donors: Iterable[WayRow]) -> list[WayRow]:
    """Return donors, each with what it costs, and after them the other options."""
    by_part: dict[str | None, OptionRow] = {row.part: row for row in options if row.option == "donor" and row.part}
    ways = [replace(way, row=by_part.get(way.part)) for way in donors]
    told = {way.part for way in ways}
    others = (row for row in options if row.option != "donor" or row.part not in told)
    return ways + [WayRow(row, "no verdict: not a donor" if row.option != "donor" else "not checked") for row in others]


@dataclass(frozen=True)
class Glance:
    """A place on the vehicle with what may go there, the best donor first; `host` empty: of no place that is known."""

    host: str
    ways: tuple[WayRow, ...]

    @property
    def best(self) -> Verdict | None:
        """The verdict of the best donor, as far as one is known."""
        return self.ways[0].verdict

    @property
    def settled(self) -> bool:
        """Whether something goes on there."""
        return self.best is not None and self.best.verdict in (BOLTS_ON, WITH_ADAPTATION)

    @property
    def holds(self) -> tuple[str, ...]:
        """What a licensed person has to say of the best donor."""
        return tuple(caution.rule for caution in self.best.safety if caution.hold) if self.best is not None else ()


def glance_of(build: Build, ways: Sequence[WayRow]) -> tuple[Glance, ...]:
    """Return the places with their ways: donors first, the best and then the cheapest of them before the others."""
    by_host: dict[str, list[WayRow]] = {}
    for way in ways:
        part = build.part(way.part or (way.row.part if way.row is not None else None) or "")
        by_host.setdefault((part.takes_place_of or part.part) if part is not None else "", []).append(way)
    return tuple(Glance(host, tuple(sorted(found, key=_best_first))) for host, found in by_host.items())


def _best_first(way: WayRow) -> tuple[bool, int, float]:
    order = (BOLTS_ON, WITH_ADAPTATION, NOT_ENOUGH, DOES_NOT_FIT, NOT_JUDGED)
    total = way.row.total if way.row is not None else None
    word = order.index(way.verdict.verdict) if way.verdict else len(order)
    return way.part is None, word, float("inf") if total is None else total


def cautions_of(verdicts: Iterable[Verdict]) -> list[tuple[Caution, list[str]]]:
    """Return every caution once, holds first, with the donors that it concerns."""
    found: dict[Caution, list[str]] = {}
    for verdict in verdicts:
        for caution in verdict.safety:
            found.setdefault(caution, []).append(verdict.donor)
    return sorted(found.items(), key=lambda one: not one[0].hold)


def report_html(view: ReportView) -> str:
    """Write the report of a build: one HTML file without script or network, well-formed as XML too.

    The verdicts with their drawings are shown in the order of the view; the same for the same view.
    """
    build, sources = view.build, Sources()
    rows = {row.part: row for row in view.options if row.option == "donor"}
    drawn = zip_longest(view.verdicts, view.overlays[: len(view.verdicts)], view.after[: len(view.verdicts)])
    donors = [
        ToldDonor(build, verdict, overlay, sources, f"d{number}", after, rows.get(verdict.donor))
        for number, (verdict, overlay, after) in enumerate(drawn, 1)
    ]
    ways = [WayRow(None, "", told.verdict.donor, f"#{told.key}", told.verdict, told.overlay) for told in donors]
    parts = list(dict.fromkeys(verdict.host for verdict in view.verdicts))
    parts += [part.part for host in tuple(parts) for part in build.came_off(host)]
    return (
        environment()
        .get_template("report.html")
        .render(
            view=view,
            build=build,
            title=f"{build.settings.name.strip() or 'Build'}: will it bolt on?",
            style=Markup(report_style()),
            glance=glance_of(build, ways_of(view.options, ways)),
            cautions=cautions_of(view.verdicts),
            donors=donors,
            hosts=[measured_of(build, part) for part in parts],
            sources=sources,
        )
    )
