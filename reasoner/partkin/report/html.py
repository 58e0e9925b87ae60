"""The report of a build: one HTML file that needs no network, no script and no colour to be read."""

from __future__ import annotations

from partkin.model.drawing import OptionRow, OverlayView, ReportView
from partkin.model.verdict import Verdict
from partkin.report.html_donor import Told, called, readings_of
from partkin.report.html_figure import shared_shapes
from partkin.report.html_pieces import (
    NONE,
    Sources,
    chance_cell,
    listed,
    mark,
    mark_symbols,
    mm,
    money,
    part_called,
    prose,
    table,
)
from partkin.report.html_style import report_style
from partkin.report.shapes import millimetres
from partkin.report.sketch import sketch_svg
from partkin.report.svg import escaped


class _Report:
    """Writes the sections of one report; keeps the numbering of the sources."""

    def __init__(self, view: ReportView) -> None:
        self.view = view
        self.sources = Sources()
        self.currency = view.build.settings.currency

    # The options side by side

    def options(self) -> str:
        rows = []
        told = set()
        by_part = {row.part: row for row in self.view.options if row.option == "donor" and row.part}
        for number, verdict in enumerate(self.view.verdicts, 1):
            told.add(verdict.donor)
            rows.append(self.donor_row(number, verdict, by_part.get(verdict.donor)))
        for row in self.view.options:
            if row.option != "donor" or row.part not in told:
                rows.append(self.other_row(row))
        unit = f", {self.currency}" if self.currency else ""
        heads = [
            ("Option", False),
            ("Pattern", False),
            ("Verdict", False),
            ("Margin, mm", True),
            ("Chance it fits", True),
            ("To do", False),
            (f"Price{unit}", True),
            (f"Comes to{unit}", True),
        ]
        body = table("Donors first, then the other ways", heads, rows, stack=True)
        keys = listed(
            (f"{mark(state)} {state}" for state in ("lines up", "tight", "out of reach", "blocked")),
            kind="keys soft",
        )
        spent = self.view.costs_to_date
        total = f"<p>Spent so far: {money(spent, self.currency)}.</p>" if spent is not None else ""
        heading = '<h2 id="options">The options side by side</h2>'
        return f'<section aria-labelledby="options">{heading}{body}{keys}{total}</section>'

    def donor_row(self, number: int, verdict: Verdict, row: OptionRow | None) -> list[str]:
        overlay = self.overlay_of(number - 1)
        sketch = (sketch_svg(overlay) if overlay else "") or NONE
        todo = NONE
        if verdict.adaptation:
            count = len(verdict.adaptation.actions)
            todo = f"{count} job{'' if count == 1 else 's'}, {verdict.adaptation.minutes:.0f} min"
        elif verdict.unknown and verdict.verdict == "not enough measured":
            todo = prose(verdict.unknown[0].says)
        return [
            f'<a href="#d{number}">{called(self.view.build, verdict.donor)}</a>',
            sketch,
            f"{mark(verdict.verdict)} {escaped(verdict.verdict)}",
            mm(verdict.margin_mm),
            chance_cell(verdict.chance),
            todo,
            money(row.price, None) if row else NONE,
            money(row.total, None) if row else NONE,
        ]

    def other_row(self, row: OptionRow) -> list[str]:
        what = escaped(row.option) + (f": {part_called(row.part, row.name)}" if row.part else "")
        told = [prose(row.note)] if row.note and row.note.strip() else []
        if row.available is False:
            told.append("not to be had")
        if row.hours is not None:
            told.append(f"{row.hours:g} h")
        return [
            what,
            NONE,
            "no verdict: not a donor" if row.option != "donor" else "not checked",
            NONE,
            NONE,
            "; ".join(told) or NONE,
            money(row.price, None),
            money(row.total, None),
        ]

    def overlay_of(self, index: int) -> OverlayView | None:
        return self.view.overlays[index] if index < len(self.view.overlays) else None

    # One donor

    def donor(self, number: int, verdict: Verdict) -> str:
        told = Told(self.view.build, verdict, self.overlay_of(number - 1), self.sources, f"d{number}")
        readings = readings_of(self.view.build, verdict.donor)
        plain = "" if told.overlay else " plain"
        return (
            f'<section class="donor{plain}" aria-labelledby="d{number}"><h2 id="d{number}">{told.heading}</h2>'
            f'<div class="whole">{told.said()}</div><div class="draw">{told.drawing()}{told.pairs()}</div>'
            f'<div class="beside">{told.beside()}{readings}</div></section>'
        )

    def hosts(self) -> str:
        """Return what was measured on the hosts and the parts that came off; parts without anything are named."""
        build = self.view.build
        parts = list(dict.fromkeys(verdict.host for verdict in self.view.verdicts))
        parts += [part.part for part in build.parts if part.origin == "original" and part.takes_place_of in parts]
        measured = {feature.part for feature in build.features if feature.x_mm is not None}
        measured |= {reading.part for reading in build.readings}
        pieces = [f"<div>{readings_of(build, part)}</div>" for part in parts if part in measured]
        bare = [called(build, part) for part in parts if part not in measured]
        if bare:
            pieces.append(f"<p>Nothing is measured of {', '.join(bare)}.</p>")
        if not parts:
            return ""
        heading = '<h2 id="host">What was measured on the vehicle</h2>'
        return f'<section aria-labelledby="host">{heading}<div class="hosts">{"".join(pieces)}</div></section>'

    # The page

    def page(self) -> str:
        settings = self.view.build.settings
        count = len(self.view.verdicts)
        title = f"{settings.name.strip() or 'Build'}: will it bolt on?"
        intro = (
            f"{count} donor{'' if count == 1 else 's'} judged. A verdict of fit is given from a chance of "
            f"{100 * settings.confidence:g} % on. Lengths are in millimetres."
        )
        body = self.options()
        body += "".join(self.donor(number, verdict) for number, verdict in enumerate(self.view.verdicts, 1))
        body += self.hosts()
        notes = "".join(f"<p>{prose(note)}</p>" for note in self.view.notes)
        body += self.sources.section()
        return (
            '<!DOCTYPE html>\n<html lang="en" xml:lang="en" xmlns="http://www.w3.org/1999/xhtml"><head>'
            '<meta charset="utf-8"/>'
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}"/>'
            '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
            '<meta name="referrer" content="no-referrer"/>'
            f"<title>{escaped(title)}</title><style>{report_style()}</style></head><body>{mark_symbols()}{shared_shapes()}"
            f'<header><h1>{prose(title)}</h1><p class="soft">{intro}</p>{notes}</header><main>{body}</main>'
            f"<footer><p>{escaped(_CLOSING)}</p></footer></body></html>\n"
        )


_CLOSING = (
    "A drawing is no permission: the maker's instructions, local law and licensed practice come first. "
    "Same sheets, same report."
)
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def report_html(view: ReportView) -> str:
    """Write the report of a build.

    Parameters
    ----------
    view
        The verdicts with their drawings, in the order in which they are shown.

    Returns
    -------
    str
        One HTML file: no script, no network, well-formed as XML too; the same for the same view.
    """
    return _Report(view).page()


def margin_words(verdict: Verdict) -> str:
    """Return the least margin in words, for tables of the command line too.

    Examples
    --------
    >>> margin_words(Verdict("H1", "D1", "host", "bolts on", margin_mm=0.5))
    '0.50 mm'
    """
    return "not known" if verdict.margin_mm is None else f"{millimetres(verdict.margin_mm)} mm"
