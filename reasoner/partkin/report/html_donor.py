"""What the report and the page say of one donor, and of one part's readings, as HTML."""

from __future__ import annotations

from partkin.model.adapting import Action, Adaptation
from partkin.model.build import Build, Feature, Reading
from partkin.model.drawing import OverlayView
from partkin.model.reasons import Unknown
from partkin.model.verdict import Pair, Verdict
from partkin.model.words import QUANTITIES, SIDES
from partkin.report.html_figure import figure
from partkin.report.html_pieces import (
    NONE,
    Sources,
    chance_words,
    listed,
    mark,
    mm,
    money,
    name,
    part_called,
    prose,
    table,
)
from partkin.report.svg import escaped
from partkin.report.text import connector_lines, likely_says
from partkin.together import together

NO_DRAWING = "No drawing: nothing here has a known place, or nothing is judged by geometry."


def called(build: Build, part: str) -> str:
    """Return a part's name with its id, safe."""
    found = build.part(part)
    return part_called(part, found.name if found else None)


class Told:
    """Writes the sections of one donor; `key` starts the ids in them."""

    def __init__(
        self, build: Build, verdict: Verdict, overlay: OverlayView | None, sources: Sources, key: str
    ) -> None:  # fmt: skip
        self.build = build
        self.verdict = verdict
        self.overlay = overlay
        self.sources = sources
        self.key = key
        self.currency = build.settings.currency

    @property
    def heading(self) -> str:
        """Which donor on which host."""
        return f"{called(self.build, self.verdict.donor)} on {called(self.build, self.verdict.host)}"

    def said(self) -> str:
        """Return the verdict in words, and what forbids going ahead on it alone right under it."""
        verdict = self.verdict
        parts = [f'<p class="verdict">{mark(verdict.verdict)}<span>{escaped(verdict.verdict)}</span></p>']
        parts.append(self.holds())
        if verdict.says:
            parts.append(f'<p class="said">{prose(verdict.says)}</p>')
        if verdict.conflict_says:
            parts.append(f'<p class="said">As it is: {prose(_sentence(verdict.conflict_says))}</p>')
        facts = [f"Measured from the {escaped(verdict.measured_from)}"]
        if verdict.margin_mm is not None:
            facts.append(f"least margin {mm(verdict.margin_mm)} mm")
        if verdict.chance is not None:
            facts.append(f"chance that it fits as it is {chance_words(verdict.chance)}")
        if verdict.adapted_chance is not None:
            facts.append(f"after the work {chance_words(verdict.adapted_chance)}")
        if verdict.also:
            facts.append(f"{verdict.also} other pairing{'' if verdict.also == 1 else 's'} as good")
        parts.append(f"<p>{'; '.join(facts)}.</p>")
        if verdict.next_step:
            parts.append(f"<p><b>Next:</b> {prose(verdict.next_step.removeprefix('Next: '))}</p>")
        parts += [f"<p>{prose(note)}</p>" for note in verdict.notes]
        return "".join(parts)

    def holds(self) -> str:
        """Return what forbids going ahead on the verdict alone."""
        return "".join(
            f'<div class="hold"><b>Hold: the verdict alone is not enough to go ahead</b>{prose(caution.says)}'
            f"{self.sources.cite(caution.source)}</div>"
            for caution in self.verdict.safety
            if caution.hold
        )

    def drawing(self) -> str:
        """Return the figure, or why there is none."""
        if self.overlay is None:
            return f'<p class="soft">{NO_DRAWING}</p>'
        return figure(self.overlay, self.key)

    def pairs(self) -> str:
        """Return the pairs with their figures, and what is left over."""
        html = ""
        if self.verdict.pairs:
            heads = [
                ("Fixing", False),
                ("Feature", False),
                ("Offset", True),
                ("Allowed", True),
                ("Margin", True),
                ("State", False),
            ]
            html += table("Pairs, in mm", heads, [_pair_row(pair) for pair in self.verdict.pairs])
        if self.verdict.unpaired:
            items = []
            for left_over in self.verdict.unpaired:
                side = "Fixing" if left_over.fixing else "Feature"
                what = f"{side} {name(left_over.fixing or left_over.feature)}"
                items.append(f"{what} ({escaped(left_over.need)}): {prose(left_over.why)}")
            html += f"<h3>Left over</h3>{listed(items)}"
        return html

    def cautions(self) -> str:
        """Return the cautions that do not hold."""
        items = [
            f"{prose(caution.says)}{self.sources.cite(caution.source)}"
            for caution in self.verdict.safety
            if not caution.hold
        ]
        return f"<h3>Take care</h3>{listed(items)}" if items else ""

    def adaptation(self) -> str:
        """Return the work that makes it go on, other work that would, and what was ruled out."""
        verdict = self.verdict
        html = ""
        if verdict.adaptation:
            html += f"<h3>To make it go on</h3>{self._one_adaptation(verdict.adaptation, _sure(verdict.adaptation))}"
        for other in verdict.other_adaptations:
            html += f"<h3>Or</h3>{self._one_adaptation(other)}"
        if verdict.likely_work is not None:
            html += f"<h3>Likely work, nothing to be cut yet</h3><p>{prose(likely_says(verdict))}</p>"
            html += self._one_adaptation(verdict.likely_work)
        if verdict.ruled_out:
            items = [f"{prose(out.says)}{self.sources.cite(out.source)}" for out in verdict.ruled_out]
            html += f"<h3>Ruled out</h3>{listed(items)}"
        return html + self._beside_the_fixings()

    def _beside_the_fixings(self) -> str:
        """Return gaps, connectors and their jobs: whichever way the fixings are met."""
        verdict = self.verdict
        items = [prose(gap.says) for gap in verdict.edges]
        items += [f"{prose(out.says)}{self.sources.cite(out.source)}" for out in verdict.besides_ruled_out]
        items += [prose(says) for says in connector_lines(verdict)]
        items += [self._action(action, priced=True) for action in together(verdict.besides)]
        return f"<h3>Beside the fixings</h3>{listed(items)}" if items else ""

    def _one_adaptation(self, adaptation: Adaptation, *sure: str) -> str:
        actions = together(sorted(adaptation.actions, key=lambda action: action.order))
        facts = [f"About {adaptation.minutes:.0f} minutes"]
        if adaptation.cost is not None:
            facts.append(f"{money(adaptation.cost, self.currency)}")
        facts.append(f"then the least margin is {mm(adaptation.margin_mm)} mm")
        facts += sure
        notes = "".join(f"<p>{prose(note)}</p>" for note in adaptation.notes)
        return listed((self._action(action) for action in actions), ordered=True) + f"<p>{'; '.join(facts)}.</p>{notes}"

    def _action(self, action: Action, priced: bool = False) -> str:
        facts = [f"With: {', '.join(action.tools)}."] if action.tools else []
        if priced and action.minutes is not None:
            facts.append(f"About {action.minutes:.0f} minutes.")
        soft = f' <span class="soft">{escaped(" ".join(facts))}</span>' if facts else ""
        return f"{prose(action.says)}{soft}{self.sources.cite(action.source)}"

    def unknown(self) -> str:
        """Return what is not known, with the reading that would tell."""
        if not self.verdict.unknown:
            return ""
        return f"<h3>Not known</h3>{listed((_one_unknown(one) for one in self.verdict.unknown), ordered=True)}"

    def reasons(self) -> str:
        """Return the reasons, each linked to those that it rests on."""
        reasons = self.verdict.reasons
        if not reasons:
            return ""
        anchors = {reason.id: f"{self.key}r{place}" for place, reason in enumerate(reasons, 1)}
        items = []
        for reason in reasons:
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

    def levels(self) -> str:
        """Return how the parts within it, and the assemblies around it, stand by themselves."""
        if not self.verdict.levels:
            return ""
        items = (
            f"{mark(level.verdict)} {escaped(level.verdict)}: {prose(_sentence(level.says))}"
            for level in self.verdict.levels
        )
        return f"<h3>At other levels</h3>{listed(items)}"

    def beside(self) -> str:
        """Return everything that stands beside the drawing, under the verdict."""
        return self.cautions() + self.adaptation() + self.unknown() + self.levels() + self.reasons()


def _sure(adaptation: Adaptation) -> str:
    if adaptation.proved_cheapest:
        return "proved the cheapest"
    if adaptation.proved_as_paired:
        return "proved the cheapest for this way of laying it on, and there is another"
    return "not proved to be the cheapest"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _pair_row(pair: Pair) -> list[str]:
    why = f'<span class="why">{prose(pair.why)}</span>' if pair.why else ""
    return [
        name(pair.fixing),
        name(pair.feature),
        mm(pair.offset_mm),
        mm(pair.allowed_mm),
        mm(pair.margin_mm),
        f"{mark(pair.state)} {escaped(pair.state)}{why}",
    ]


def _one_unknown(unknown: Unknown) -> str:
    reading = ""
    if unknown.quantity in QUANTITIES and unknown.part:
        ends = [end for end in (unknown.from_feature, unknown.to_feature) if end]
        where = f" of {' and '.join(name(end) for end in ends)}" if ends else ""
        if unknown.quantity in SIDES:
            told = f"Look: {name(ends[0])} left or right of {name(ends[1])}, on {name(unknown.part)}."
        else:
            told = f"Reading: {escaped(unknown.quantity or '')}{where}, on {name(unknown.part)}."
        reading = f'<br/><span class="soft">{told}</span>'
    return f"<b>{prose(unknown.what)}.</b> {prose(unknown.says)}{reading}"


def readings_of(build: Build, part: str) -> str:
    """Return what the sheets say of where a part's features are: places as stated, and readings."""
    features = [f for f in build.features_of(part) if f.x_mm is not None or f.y_mm is not None]
    readings = [reading for reading in build.readings if reading.part == part]
    html = ""
    if features:
        heads = [("Feature", False), ("What", False), ("x", True), ("y", True), ("z", True), ("+/-", True)]
        flat = all(feature.z_mm is None for feature in features)
        if flat:
            del heads[4]
        html += table(
            f"Places on {name(part)} as stated, mm", heads, [_feature_row(feature, flat) for feature in features]
        )
    if readings:
        heads = [("Id", False), ("What", False), ("Value", True), ("+/-", True), ("How", False)]
        corrected = {reading.corrects for reading in readings if reading.corrects}
        rows = [_reading_row(reading, reading.reading in corrected) for reading in readings]
        html += table(f"Readings of {name(part)}", heads, rows)
    return html or f"<h3>Readings</h3><p>Nothing of {name(part)} is measured yet.</p>"


def size_words(feature: Feature) -> str:
    """Return what a feature is, with its size.

    Examples
    --------
    >>> size_words(Feature("p", "b", "slot", 9.0, 14.0)), size_words(Feature("p", "F1", "stud", thread="M6x1"))
    ('slot 9 x 14', 'stud M6x1')
    """
    if feature.across_mm is None:
        return f"{feature.kind} {feature.thread}" if feature.thread else feature.kind
    long = f" x {feature.length_mm:g}" if feature.length_mm is not None else ""
    return f"{feature.kind} {feature.across_mm:g}{long}"


def _feature_row(feature: Feature, flat: bool) -> list[str]:
    places = [feature.x_mm, feature.y_mm] if flat else [feature.x_mm, feature.y_mm, feature.z_mm]
    numbers = [NONE if value is None else f"{value:g}" for value in (*places, feature.plus_minus_mm)]
    return [name(feature.feature), name(size_words(feature)), *numbers]


def _reading_row(reading: Reading, corrected: bool) -> list[str]:
    ends = [name(end) for end in (reading.from_feature, reading.to_feature, reading.line_from, reading.line_to) if end]
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
        NONE if reading.value is None else f"{reading.value:g} {name(reading.unit or '')}",
        spread,
        (", ".join(how) or NONE) + remark,
    ]
