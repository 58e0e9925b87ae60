"""The report of a build: one HTML file that needs no network, no script and no colour to be read."""

from __future__ import annotations

from partkin.model.adapting import Action, Adaptation
from partkin.model.build import Reading
from partkin.model.drawing import OptionRow, OverlayView, ReportView
from partkin.model.reasons import Unknown
from partkin.model.verdict import Pair, Verdict
from partkin.report.html_pieces import (
    NONE,
    Sources,
    chance_cell,
    chance_words,
    listed,
    mark,
    mark_symbols,
    mm,
    money,
    name,
    part_called,
    prose,
    table,
)
from partkin.report.html_style import report_style
from partkin.report.overlay import overlay_svg
from partkin.report.shapes import millimetres
from partkin.report.sketch import sketch_svg
from partkin.report.svg import escaped

BROAD_PX, NARROW_PX = 760.0, 340.0


class _Report:
    """Writes the sections of one report; keeps the numbering of the sources."""

    def __init__(self, view: ReportView) -> None:
        self.view = view
        self.sources = Sources()
        self.currency = view.build.settings.currency

    def called(self, part: str) -> str:
        found = self.view.build.part(part)
        return part_called(part, found.name if found else None)

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
            f'<a href="#d{number}">{self.called(verdict.donor)}</a>',
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
        overlay = self.overlay_of(number - 1)
        heading = f"{self.called(verdict.donor)} on {self.called(verdict.host)}"
        left = self.drawing(number, overlay) + self.pairs(verdict)
        right = (
            self.cautions(verdict)
            + self.adaptation(verdict)
            + self.unknown(verdict)
            + self.reasons(number, verdict)
            + self.readings_of(verdict.donor)
        )
        return (
            f'<section class="donor" aria-labelledby="d{number}"><h2 id="d{number}">{heading}</h2>'
            f'<div class="whole">{self.said(verdict)}</div><div class="draw">{left}</div>'
            f'<div class="beside">{right}</div></section>'
        )

    def said(self, verdict: Verdict) -> str:
        parts = [f'<p class="verdict">{mark(verdict.verdict)}<span>{escaped(verdict.verdict)}</span></p>']
        parts.append(self.holds(verdict))
        for text in (verdict.says, verdict.conflict_says):
            if text:
                parts.append(f'<p class="said">{prose(text)}</p>')
        facts = [f"Measured from the {escaped(verdict.measured_from)}"]
        if verdict.margin_mm is not None:
            facts.append(f"least margin {mm(verdict.margin_mm)} mm")
        if verdict.chance is not None:
            facts.append(f"chance that it fits as it is {chance_words(verdict.chance)}")
        if verdict.also:
            facts.append(f"{verdict.also} other pairing{'' if verdict.also == 1 else 's'} as good")
        parts.append(f"<p>{'; '.join(facts)}.</p>")
        if verdict.next_step:
            parts.append(f"<p><b>Next:</b> {prose(verdict.next_step)}</p>")
        parts += [f"<p>{prose(note)}</p>" for note in verdict.notes]
        return "".join(parts)

    def drawing(self, number: int, overlay: OverlayView | None) -> str:
        if overlay is None:
            return f"<h3>Drawing</h3><p>{_NO_DRAWING}</p>"
        broad = overlay_svg(overlay, BROAD_PX, f"b{number}", styled=False)
        narrow = overlay_svg(overlay, NARROW_PX, f"n{number}", styled=False, described_by=f"b{number}-d")
        broad = broad.replace('class="dw"', 'class="dw broad"', 1)
        narrow = narrow.replace('class="dw"', 'class="dw narrow"', 1)
        return f"<figure>{broad}{narrow}</figure>"

    def pairs(self, verdict: Verdict) -> str:
        html = ""
        if verdict.pairs:
            heads = [
                ("Fixing", False),
                ("Feature", False),
                ("Offset", True),
                ("Allowed", True),
                ("Margin", True),
                ("State", False),
            ]
            rows = [self.pair_row(pair) for pair in verdict.pairs]
            html += table("Pairs, in mm", heads, rows)
        if verdict.unpaired:
            items = []
            for left_over in verdict.unpaired:
                side = "Fixing" if left_over.fixing else "Feature"
                what = f"{side} {name(left_over.fixing or left_over.feature)}"
                items.append(f"{what} ({escaped(left_over.need)}): {prose(left_over.why)}")
            html += f"<h3>Left over</h3>{listed(items)}"
        return html

    def pair_row(self, pair: Pair) -> list[str]:
        why = f'<span class="why">{prose(pair.why)}</span>' if pair.why else ""
        return [
            name(pair.fixing),
            name(pair.feature),
            mm(pair.offset_mm),
            mm(pair.allowed_mm),
            mm(pair.margin_mm),
            f"{mark(pair.state)} {escaped(pair.state)}{why}",
        ]

    def holds(self, verdict: Verdict) -> str:
        """Return what forbids going ahead on the verdict alone; it stands right under the verdict."""
        return "".join(
            f'<div class="hold"><b>Hold: the verdict alone is not enough to go ahead</b>{prose(caution.says)}'
            f"{self.sources.cite(caution.source)}</div>"
            for caution in verdict.safety
            if caution.hold
        )

    def cautions(self, verdict: Verdict) -> str:
        items = [
            f"{prose(caution.says)}{self.sources.cite(caution.source)}"
            for caution in verdict.safety
            if not caution.hold
        ]
        return f"<h3>Take care</h3>{listed(items)}" if items else ""

    def adaptation(self, verdict: Verdict) -> str:
        html = ""
        if verdict.adaptation:
            html += f"<h3>To make it go on</h3>{self.one_adaptation(verdict.adaptation)}"
        for other in verdict.other_adaptations:
            html += f"<h3>Or</h3>{self.one_adaptation(other)}"
        if verdict.ruled_out:
            items = [f"{prose(out.says)}{self.sources.cite(out.source)}" for out in verdict.ruled_out]
            html += f"<h3>Ruled out</h3>{listed(items)}"
        return html

    def one_adaptation(self, adaptation: Adaptation) -> str:
        actions = sorted(adaptation.actions, key=lambda action: action.order)
        facts = [f"About {adaptation.minutes:.0f} minutes"]
        if adaptation.cost is not None:
            facts.append(f"{money(adaptation.cost, self.currency)}")
        facts.append(f"then the least margin is {mm(adaptation.margin_mm)} mm")
        facts.append("proved the cheapest" if adaptation.proved_cheapest else "not proved to be the cheapest")
        return listed((self.action(action) for action in actions), ordered=True) + f"<p>{'; '.join(facts)}.</p>"

    def action(self, action: Action) -> str:
        tools = f' <span class="soft">With: {escaped(", ".join(action.tools))}.</span>' if action.tools else ""
        return f"{prose(action.says)}{tools}{self.sources.cite(action.source)}"

    def unknown(self, verdict: Verdict) -> str:
        if not verdict.unknown:
            return ""
        items = [self.one_unknown(unknown) for unknown in verdict.unknown]
        return f"<h3>Not known</h3>{listed(items, ordered=True)}"

    def one_unknown(self, unknown: Unknown) -> str:
        reading = ""
        if unknown.quantity and unknown.part:
            ends = [end for end in (unknown.from_feature, unknown.to_feature) if end]
            where = f" of {' and '.join(name(end) for end in ends)}" if ends else ""
            told = f"Reading: {escaped(unknown.quantity)}{where}, on {name(unknown.part)}."
            reading = f'<br/><span class="soft">{told}</span>'
        return f"<b>{prose(unknown.what)}.</b> {prose(unknown.says)}{reading}"

    def reasons(self, number: int, verdict: Verdict) -> str:
        if not verdict.reasons:
            return ""
        anchors = {reason.id: f"d{number}r{place}" for place, reason in enumerate(verdict.reasons, 1)}
        items = []
        for reason in verdict.reasons:
            because = [
                f'<a href="#{anchors[other]}">{escaped(other)}</a>' if other in anchors else name(other)
                for other in reason.because
            ]
            why = f' <span class="soft">because of {", ".join(because)}</span>' if because else ""
            items.append(
                f'<li id="{anchors[reason.id]}"><b>{name(reason.id)}</b> {prose(reason.says)}{why}'
                f"{self.sources.cite(reason.source)}</li>"
            )
        return f'<h3>Reasons</h3><ul class="reasons">{"".join(items)}</ul>'

    # Readings

    def readings_of(self, part: str) -> str:
        readings = [reading for reading in self.view.build.readings if reading.part == part]
        if not readings:
            return f"<h3>Readings</h3><p>No readings of {name(part)} are on its sheet.</p>"
        heads = [("Id", False), ("What", False), ("Value", True), ("+/-", True), ("How", False)]
        corrected = {reading.corrects for reading in readings if reading.corrects}
        rows = [self.reading_row(reading, reading.reading in corrected) for reading in readings]
        return table(f"Readings of {name(part)}", heads, rows)

    def reading_row(self, reading: Reading, corrected: bool) -> list[str]:
        ends = [name(end) for end in (reading.from_feature, reading.to_feature) if end]
        how = [name(text) for text in (reading.instrument, reading.by, reading.on) if text]
        notes = [f"corrects {name(reading.corrects)}"] if reading.corrects else []
        notes += ["corrected by a later reading"] if corrected else []
        notes += [prose(reading.note)] if reading.note and reading.note.strip() else []
        remark = f'<span class="why">{"; ".join(notes)}</span>' if notes else ""
        spread = NONE if reading.plus_minus is None else f"{reading.plus_minus:g}"
        what = escaped(reading.quantity) + (f" {' - '.join(ends)}" if ends else "")
        return [
            name(reading.reading),
            what,
            f"{reading.value:g} {name(reading.unit)}",
            spread,
            (", ".join(how) or NONE) + remark,
        ]

    def hosts(self) -> str:
        parts = list(dict.fromkeys(verdict.host for verdict in self.view.verdicts))
        parts += [
            part.part for part in self.view.build.parts if part.origin == "original" and part.takes_place_of in parts
        ]
        pieces = [self.readings_of(part) for part in parts]
        if not pieces:
            return ""
        heading = '<h2 id="host">What was measured on the vehicle</h2>'
        return f'<section aria-labelledby="host">{heading}{"".join(pieces)}</section>'

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
            f"<title>{escaped(title)}</title><style>{report_style()}</style></head><body>{mark_symbols()}"
            f'<header><h1>{prose(title)}</h1><p class="soft">{intro}</p>{notes}</header><main>{body}</main>'
            f"<footer><p>{escaped(_CLOSING)}</p></footer></body></html>\n"
        )


_NO_DRAWING = "No drawing: nothing here has a known place, or nothing is judged by geometry."
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
