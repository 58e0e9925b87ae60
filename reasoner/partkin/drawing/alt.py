"""The drawings in words, for who cannot see them; nothing is drawn that is not said here."""

from __future__ import annotations

from partkin.drawing.dimension import difference_words
from partkin.drawing.lettering import millimetres
from partkin.model.drawing import OverlayView
from partkin.model.words import off_words


def called(part: str, name: str | None) -> str:
    """Return a part's name with its id, or the id alone."""
    return f"{name} ({part})" if name and name.strip() and name != part else part


def span_words(view: OverlayView) -> list[str]:
    """Say each distance in conflict in one sentence."""
    sentences = []
    for span in view.spans:
        play = ""
        if span.play_mm >= abs(span.too_long_mm):
            play = "; the play of these two alone could take that up"
        elif span.play_mm > 0:
            play = f"; play takes up {millimetres(span.play_mm)} mm of it"
        ends = f" ({span.from_feature} to {span.to_feature})" if span.from_feature and span.to_feature else ""
        sentences.append(
            f"{span.from_fixing} to {span.to_fixing}: host {millimetres(span.host_mm)} mm, donor{ends} "
            f"{millimetres(span.donor_mm)} mm, {difference_words(span)}{play}."
        )
    return sentences


def stands_words(view: OverlayView) -> str:
    """Say how well it lies, how many hold or the least margin; how far it is turned; and from where it is seen."""
    said = "margin not known" if view.margin_mm is None else f"least margin {millimetres(view.margin_mm)} mm"
    if view.holding is not None:
        said = f"{view.holding[0]} of {view.holding[1]} hold"
    if view.turn_deg is not None and view.matrix:
        said += f"; turned {millimetres(view.turn_deg)} degrees{', mirrored' if view.mirrored else ''}"
    return f"{said}; seen from {view.seen_from}" if view.seen_from else said


def odd_words(view: OverlayView) -> list[str]:
    """Say where each odd hole stands."""
    if view.holding is None:
        return []
    told = [f"Laid where {view.holding[0]} of {view.holding[1]} fixings hold."]
    for odd in view.odd:
        told.append(f"{odd.feature} on {odd.fixing}: {off_words(odd.out_mm)}.")
    return told


def _pair_words(view: OverlayView) -> list[str]:
    sentences = []
    for pair in view.pairs:
        stands = "not placed"
        if pair.offset_mm is not None:
            allowed = "play not known" if pair.allowed_mm is None else f"{millimetres(pair.allowed_mm)} mm allowed"
            joined = ", " if pair.allowed_mm is None else " of "
            stands = f"offset {millimetres(pair.offset_mm)} mm{joined}{allowed}"
        why = f" ({pair.why})" if pair.why else ""
        sentences.append(f"Fixing {pair.fixing} with {pair.feature}: {stands}, {pair.state}{why}.")
    alone = {one.id for one in view.fixings} - {pair.fixing for pair in view.pairs}
    spare = {one.id for one in view.features} - {pair.feature for pair in view.pairs}
    for says, ids, drawn in (
        ("Host fixings without a donor feature", alone, view.fixings),
        ("Donor features without a fixing", spare, view.features),
    ):
        if ids:
            sentences.append(f"{says}: {', '.join(one.id for one in drawn if one.id in ids)}.")
    return sentences


def overlay_words(view: OverlayView) -> tuple[str, str]:
    """Return the title of an overlay and the whole of it in words."""
    donor, host = called(view.donor, view.donor_name), called(view.host, view.host_name)
    title = f"{donor} laid on {host}"
    said = []
    if view.matrix is None:
        title = f"{donor} beside {host}"
        said.append(f"No placement is known: {donor} and {host} are drawn beside each other at the same scale.")
    else:
        where = "with the work done" if view.after else "where the most hold" if view.odd else "at its best placement"
        said.append(f"{donor} lies on {host} {where}.")
    if view.verdict:
        said.append(f"Verdict: {view.verdict}; {stands_words(view)}.")
    said += _pair_words(view)
    if view.conflict:
        short = f"; together they are {millimetres(view.shortfall_mm)} mm short" if view.shortfall_mm else ""
        said.append(f"In conflict: {', '.join(view.conflict)}{short}.")
    said += odd_words(view) + span_words(view)
    for zone in sorted(view.zones, key=lambda zone: zone.kind == "opening"):
        said.append(f"Zone {zone.name} of the {zone.of}: {zone.kind}{', hatched' * (zone.kind != 'opening')}.")
    said += [f"To do at {cut.feature}: {cut.says or cut.do}." for cut in view.cuts]
    if view.spreads:
        said.append("Dashed ellipses: where each centre lies, 95 in 100.")
    return title, " ".join(said)
