"""The report of a build: one HTML file that needs no network, no script and no colour to be read."""

from __future__ import annotations

from partkin.model.drawing import OverlayView, ReportView
from partkin.model.verdict import Verdict
from partkin.report.html_donor import Told, called, readings_of
from partkin.report.html_figure import shared_shapes
from partkin.report.html_options import donor_row, options_by_part, options_table, other_row
from partkin.report.html_pieces import Sources, mark_symbols, money, prose
from partkin.report.html_plan import plan_section
from partkin.report.html_style import report_style
from partkin.report.shapes import millimetres
from partkin.report.svg import escaped


class _Report:
    """Writes the sections of one report; keeps the numbering of the sources."""

    def __init__(self, view: ReportView) -> None:
        self.view = view
        self.sources = Sources()
        self.currency = view.build.settings.currency

    # The options side by side

    def options(self) -> str:
        build, by_part = self.view.build, options_by_part(self.view.options)
        told = {verdict.donor for verdict in self.view.verdicts}
        rows = [
            donor_row(build, verdict, self.overlay_of(number - 1), by_part.get(verdict.donor), f"#d{number}")
            for number, verdict in enumerate(self.view.verdicts, 1)
        ]
        rows += [other_row(row) for row in self.view.options if row.option != "donor" or row.part not in told]
        spent = self.view.costs_to_date
        total = f"<p>Spent so far: {money(spent, self.currency)}.</p>" if spent is not None else ""
        heading = '<h2 id="options">The options side by side</h2>'
        return f'<section aria-labelledby="options">{heading}{options_table(build, rows)}{total}</section>'

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
            f'<div class="beside">{told.beside()}</div><div class="measured">{readings}</div></section>'
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
        plans = enumerate(self.view.plans, 1)
        body += "".join(plan_section(plan, self.sources, f"p{number}") for number, plan in plans)
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
