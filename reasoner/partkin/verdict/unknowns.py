"""What is not known, the most telling first, each with the reading or the look that would tell."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.model.known import airbag, leading
from partkin.model.positions import Missing, Suspect, likeliest
from partkin.model.verdict import Unknown
from partkin.model.words import DOES_NOT_FIT, NOT_ENOUGH, SIDES, VerdictWord, mm
from partkin.positions.asking_for import tells_mirror_image, with_face
from partkin.trial.findings import Findings


def unknowns(findings: Findings, chosen: VerdictWord) -> tuple[Unknown, ...]:
    """Collect the open questions of a verdict."""
    missing, suspects = _missing(findings, chosen), _suspects(findings)
    found = [
        *_airbag(findings), *_duty(findings, chosen), *_seams(findings),
        # Heights of a part whose distances no plane holds: in the plane they all look like slips.
        *(one for one in missing if one.quantity == "z"),
        *suspects, *_face(findings), *missing, *_unsure_work(findings), *_limit(findings), *findings.asks,
        *_disagreement(findings),
        *(Unknown(e.kind, f"{e.says}: ask before you pay") for e in findings.known.evidence if not e.speaks_for),
    ]  # fmt: skip
    if chosen == NOT_ENOUGH and all(one.quantity in ("airbag", "duty") for one in found):
        found.append(_no_features(findings))
    again = {_reading_of(one) for one in findings.suspects if one.quantity}
    return tuple(dict.fromkeys(one for one in found if one in suspects or _reading_of(one) not in again))


def _reading_of(one: Unknown | Suspect) -> tuple[str | None, ...]:
    return one.part, one.quantity, one.from_feature, one.to_feature


def _airbag(findings: Findings) -> list[Unknown]:
    known = findings.known
    if airbag(known) is not None:
        return []
    part = (known.original or known.donor).part.part
    says = (
        f"does an airbag open through {part}? Look for a seam or door underneath, or the word moulded in; airbag: yes "
        f"or no in parts.csv. Until then nothing is cut or drilled"
    )
    return [Unknown(f"airbag of {part}", says, part, "airbag")]


def _duty(findings: Findings, chosen: VerdictWord) -> list[Unknown]:
    if chosen != DOES_NOT_FIT or findings.duty is not None:
        return []
    donor = findings.known.donor.part.part
    says = (
        f"say what {donor} does for people's safety (duty: trim, body, structural or restraint); until then nothing "
        f"may be cut and no adaptation is offered"
    )
    return [Unknown("duty", says, donor, "duty")]


def _seams(findings: Findings) -> list[Unknown]:
    seams = findings.seams
    if seams is None:
        return []
    found = []
    for side, kinds in (
        (findings.known.donor, seams.unknown_on_donor), (findings.known.original, seams.unknown_on_original)
    ):  # fmt: skip
        if kinds and side is not None:
            where = " and ".join(kinds)
            says = (
                f"where the {where} of {side.part.part} lies is not known: read its corners from underneath against "
                f"two holes (zones.csv). Until then the part may not be taken as equal over the airbag"
            )
            found.append(Unknown(f"{where} of {side.part.part}", says, side.part.part, "centres"))
    return found


def _face(findings: Findings) -> list[Unknown]:
    """What tells apart the ways of laying the parts that give different answers."""
    if not (findings.face_open or findings.work_waits):
        return []
    asked = _asked(findings, findings.sides)
    if findings.hand is not None:
        return asked
    known = findings.known
    shown = known.original if findings.measured_from == "original" and known.original else known.host
    both_faces = len({trial.mirrored for trial in findings.trials}) > 1
    looks = asked or any(suspect.quantity in SIDES for suspect in findings.suspects)
    if not both_faces or (looks and (known.donor.part.seen_from is None) == (shown.part.seen_from is None)):
        return asked
    blank = [s.part.part for s in (known.donor, known.host, known.original) if s and s.part.seen_from is None]
    part = blank[0] if blank else known.donor.part.part
    asks = f"from which face were the holes of {part} read (seen_from: outside or inside)?"
    return [*asked, Unknown("seen_from", f"{asks} {_faces_differ(findings)}", part, "seen_from")]


def _faces_differ(findings: Findings) -> str:
    if findings.work_waits:
        return "What has to be done to it hangs on that"
    seam = any(trial.stand != trial.says for trial in findings.trials)
    if any(trial.says == "fits" for trial in findings.trials):
        return f"Seen from one face it goes on, from the other {'its seam lies elsewhere' if seam else 'it does not'}"
    return "Seen from one face it does not go on, from the other it may"


def _missing(findings: Findings, chosen: VerdictWord) -> list[Unknown]:
    """What the verdict waits for; and, of a donor that conflicts, what the question of work on it waits for."""
    trial = findings.trial
    open_work = findings.work_waits or (chosen == DOES_NOT_FIT and findings.duty is None)
    if trial is None or not (trial.stand == "missing" or (trial.stand == "does not" and open_work)):
        return []
    return _asked(findings, trial.missing)


def _asked(findings: Findings, missing: Sequence[Missing]) -> list[Unknown]:
    """What is missing, as questions; left and right last, and not where a mirror image would be the other hand."""
    sides = [] if findings.hand is not None else [m for m in missing if tells_mirror_image(m)]
    known = findings.known
    faces = {side.part.part: side.part.seen_from for side in (known.host, known.original, known.donor) if side}
    asked = [with_face(m, faces.get(m.part)) for m in (*(m for m in missing if not tells_mirror_image(m)), *sides)]
    return [Unknown(m.what, m.says, m.part, m.quantity, m.from_feature, m.to_feature) for m in asked]


def _unsure_work(findings: Findings) -> list[Unknown]:
    """Every size and place is known, but not finely enough to be sure of the work, or not what the part is made of."""
    trial = findings.trial
    if trial is None or not findings.work_waits or trial.missing or len(findings.trials) > 1:
        return []
    host, donor = findings.known.host.part.part, findings.known.donor.part.part
    if findings.known.donor.part.material is None and findings.duty == "body":
        says = f"what is {donor} made of (material)? Until that is known nothing of it may be cut"
        return [Unknown("material", says, donor, "material")]
    if findings.adapting is not None and (unsized := findings.adapting.unsized):
        asks = f"of {host} is across: work on {donor} hangs on it"
        return [Unknown(f"size of {one}", f"read how wide {one} {asks}", host, "across", one) for one in unsized]
    if findings.adapting is not None and findings.adapting.undecided:
        why = f"undecided within the limit: {findings.adapting.why}"
        says = f"{why}; lay {donor} on by the fixings that hold, and see what is left"
        return [Unknown("work", says, donor)]
    pairs = (trial.answer.conflict.pairs if trial.answer.conflict else ()) or trial.answer.pairs
    if findings.measured_from == "original":
        ends = [pair.fixing for pair in pairs[:2]]
        says = f"measure the fixings on {host} itself: what came off shows each only to within its own play"
        return [Unknown("finer readings", says, host, "centres", *ends)]
    if findings.asks:
        return []
    ends = [pair.feature for pair in pairs[:2]]
    says = f"read {' to '.join(ends)} of {donor} and its other holes with a finer instrument: the work hangs on them"
    return [Unknown("finer readings", says, donor, "centres", *ends)]


def _limit(findings: Findings) -> list[Unknown]:
    open_ways = findings.trials if findings.face_open else filter(None, [findings.trial])
    trial = next((one for one in open_ways if one.stand == "undecided"), None)
    if trial is None:
        return []
    limit, donor = trial.answer.limit or "undecided within the limit", findings.known.donor.part.part
    if trial.answer.pairs and trial.task.given:
        worst = sorted(trial.answer.pairs, key=lambda pair: pair.margin_mm)[:2]
        says = (
            f"{limit}; read {' to '.join(pair.feature for pair in worst)} of {donor} with a finer instrument, or try it"
        )
        return [Unknown("placement", says, donor, "centres", *(pair.feature for pair in worst))]
    says = f"{limit}; name for each donor feature the fixing that it goes on (goes_on), then it can be told"
    return [Unknown("pairing", says, donor, "goes_on")]


def _disagreement(findings: Findings) -> list[Unknown]:
    trial, lead, seams = findings.trial, leading(findings.known), findings.seams
    donor = findings.known.donor.part.part
    if lead is not None and seams is not None and seams.too_far:
        kind, departure_mm, _ = seams.too_far[0]
        says = (
            f"{lead.says}, yet its {kind} reads as lying {mm(departure_mm)} from the original's. One of them "
            f"is wrong: read its corners once more, and read the number off the part itself"
        )
        return [Unknown("readings against part number", says, donor, "centres")]
    if lead is None or trial is None or trial.stand != "does not" or trial.answer.conflict is None:
        return []
    names = [pair.feature for pair in trial.answer.conflict.pairs]
    says = (
        f"{lead.says}, yet the readings say that it does not go on. One of them is wrong: read "
        f"{' to '.join(names[:2]) or 'the holes'} of {donor} once more, and read the number off the part itself"
    )
    return [
        Unknown("readings against part number", says, donor, "centres" if len(names) > 1 else "across", *names[:2])
    ]  # fmt: skip


def _suspects(findings: Findings) -> list[Unknown]:
    first, more = likeliest(findings.suspects)
    asked = [
        Unknown(what, s.says, s.part, s.quantity, s.from_feature, s.to_feature) if s.quantity else Unknown(what, s.says)
        for s in first
        for what in (f"the size of {s.from_feature}" if s.reading.endswith(".across_mm") else f"reading {s.reading}",)
    ]
    return [*asked, Unknown("other readings", f"{more}: read these first")] if more else asked


def _no_features(findings: Findings) -> Unknown:
    known = findings.known
    bare = next((s for s in (known.donor, known.host) if not s.features), known.donor)
    says = (
        f"nothing of {bare.part.part} is measured: list its holes, slots and studs in features.csv, then the distances "
        f"between their centres"
    )
    return Unknown(f"features of {bare.part.part}", says, bare.part.part, "centres")


def mirror_says(findings: Findings) -> str | None:
    """Say what to look at where the donor goes on one way round and not the other, and nothing else is open."""
    asked = [m for m in findings.sides if tells_mirror_image(m)]
    fits = {trial.mirrored for trial in findings.trials if trial.says == "fits"}
    others = {trial.mirrored for trial in findings.trials if trial.says != "fits"}
    if not asked or len(asked) < len(findings.sides) or len(fits) != 1 or fits & others or findings.hand is not None:
        return None
    one = asked[0]
    a, b = (one.to_feature or "").split()
    side = _side(findings, one, mirrored=next(iter(fits))) if len(asked) == 1 else None
    if side is None:
        return f"look on which side of {a} to {b} {one.from_feature} lies"
    return f"look whether {one.from_feature} lies {side} {a} to {b}"


def _side(findings: Findings, one: Missing, *, mirrored: bool) -> str | None:
    """Where the feature lies if the donor goes on; None where it is not known which face was looked at."""
    known, trial = findings.known, findings.trial
    shown = known.original if findings.measured_from == "original" and known.original else known.host
    faces = shown.part.seen_from, known.donor.part.seen_from
    if trial is None or (faces[0] is None) != (faces[1] is None):
        return None
    spots = trial.task.features if one.part == known.donor.part.part else trial.task.fixings
    at_mm = {spot.id: spot.at_mm for spot in spots}
    names = [*(one.to_feature or "").split(), one.from_feature or ""]
    if not set(names) <= set(at_mm):
        return None
    # As it is drawn the part lies one way round; it is drawn so if it goes on with its face as told.
    as_drawn = mirrored == (faces[0] != faces[1])
    (ax, ay), (bx, by), (cx, cy) = (at_mm[name][:2] for name in names)
    return SIDES[0] if ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax) > 0.0) == as_drawn else SIDES[1]
