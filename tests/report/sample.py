"""An invented build for the report's tests: every part, shop and figure in it is made up.

Host H1, the carrier of a glove-box lid in a van that does not exist; five donors, one for each of the five
verdicts. Offsets are worked out from the placement given here, so that figures and drawings agree.
"""

import math
from dataclasses import replace

from partkin.drawing.laying import offset_left
from partkin.model.adapting import Action, Adaptation, RuledOut
from partkin.model.build import (
    Build,
    Cost,
    Feature,
    Offer,
    Outline,
    Part,
    Reading,
    Settings,
    VehicleModel,
    Zone,
)
from partkin.model.drawing import (
    Cut,
    DrawnFeature,
    DrawnOutline,
    DrawnZone,
    OptionRow,
    OverlayView,
    ReportView,
    Span,
    Spread,
    TemplateView,
)
from partkin.model.fitting import Chance, Conflict, PairFit, Placement
from partkin.model.verdict import Caution, Pair, Reason, Unknown, Unpaired, Verdict

EDGE = ((-40.0, -35.0), (470.0, -35.0), (490.0, 60.0), (470.0, 215.0), (-20.0, 215.0), (-45.0, 120.0))
FIXINGS = (
    DrawnFeature("F1", (0.0, 0.0), "stud", 6.0, fastener_mm=6.0, need="must"),
    DrawnFeature("F2", (430.0, 0.0), "stud", 6.0, fastener_mm=6.0, need="must"),
    DrawnFeature("F3", (445.0, 180.0), "captive nut", 6.6, fastener_mm=6.0, need="must"),
    DrawnFeature("F4", (10.0, 182.0), "tapped hole", 6.0, fastener_mm=6.0, need="must"),
    DrawnFeature("F5", (220.0, 190.0), "peg hole", 8.2, need="should"),
    DrawnFeature("F6", (225.0, -12.0), "clip hole", 9.0, need="should"),
)
ALLOWED_MM = {"F1": 0.5, "F2": 1.0, "F3": 1.2, "F4": 0.5, "F5": 0.35, "F6": 0.8}


def matrix_of(turn_deg, x_mm, y_mm):
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return ((cos, -sin, 0.0, x_mm), (sin, cos, 0.0, y_mm), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def donor_features(shifts, turn_deg=0.12, x_mm=3.1, y_mm=-0.4):
    """Donor features that lie on the fixings, each moved by a shift of the host's frame."""
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    kinds = {
        "F1": ("a", "hole", 7.0, None),
        "F2": ("b", "slot", 7.0, 13.0),
        "F3": ("c", "hole", 8.4, None),
        "F4": ("d", "hole", 7.0, None),
        "F5": ("e", "peg", 7.5, None),
        "F6": ("f", "clip", 8.0, None),
    }
    features = []
    for fixing in FIXINGS:
        dx, dy = shifts.get(fixing.id, (0.0, 0.0))
        x, y = fixing.at_mm[0] + dx - x_mm, fixing.at_mm[1] + dy - y_mm
        name, kind, across, length = kinds[fixing.id]
        features.append(
            DrawnFeature(name, (cos * x + sin * y, -sin * x + cos * y), kind, across, length, 0.0, need="should")
        )
    return tuple(features)


def pairs_of(features, matrix, blocked=()):
    pairs = []
    for fixing, feature in zip(FIXINGS, features, strict=True):
        offset_mm = math.hypot(*offset_left(fixing, feature, matrix))
        allowed_mm = ALLOWED_MM[fixing.id]
        margin_mm = allowed_mm - offset_mm
        state = "out of reach" if margin_mm < 0 else "tight" if margin_mm < 0.1 else "lines up"
        why = None
        if fixing.id in blocked:
            state, why = "blocked", "thread M6x1 on the host, 1/4-20 on the donor"
        pairs.append(Pair(fixing.id, feature.id, offset_mm, allowed_mm, margin_mm, state, why))
    return tuple(pairs)


def carried(at_mm, turn_deg=0.12, x_mm=3.1, y_mm=-0.4):
    """A host point in the donor's frame."""
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y = at_mm[0] - x_mm, at_mm[1] - y_mm
    return (cos * x + sin * y, -sin * x + cos * y)


SCATTER = {
    "F1": (0.21, 0.1),
    "F2": (1.7, -0.3),
    "F3": (-0.35, 0.5),
    "F4": (0.1, -0.42),
    "F5": (0.1, 0.18),
    "F6": (-0.2, 0.1),
}
SHORT = {**SCATTER, "F2": (4.4, 0.0), "F3": (4.1, 0.2), "F1": (-0.8, 0.1), "F4": (-0.9, -0.1)}


def spreads_of(features):
    host = [Spread("host", fixing.id, fixing.at_mm[:2], (0.18, 0.12), 20.0) for fixing in FIXINGS]
    donor = [Spread("donor", feature.id, feature.at_mm, (0.30, 0.16), 70.0) for feature in features]
    return (*host, *donor)


def _chance(fits):
    return Chance(fits, max(0.0, fits - 0.01), min(1.0, fits + 0.008), 512)


REASONS = (
    Reason("r1", "F1, F2, F3 and F4 must be paired; each is a fixing of the host", source="features.csv"),
    Reason(
        "r2",
        "A 7 mm hole on a 6 mm stud may be off by (7 - 6)/2 = 0.5 mm",
        (),
        "ASME Y14.5, fixed fastener formula",
    ),
    Reason("r3", "The least margin at the best placement is at F4", ("r1", "r2"), None),
)
HEAVY = Caution("lifting", "The carrier weighs 19 kg: two people, or a hoist.", False, "HSE INDG143, lifting filter")
SEAM = Caution(
    "seam",
    "Fit is all that was judged. Whether the panel opens as it must over the airbag is for the maker's part "
    "number or licensed practice to say.",
    True,
    "common practice, no source",
)

GOOD = donor_features(SCATTER)
LONG = donor_features(SHORT)
PLACED = matrix_of(0.12, 3.1, -0.4)
PLACEMENT = Placement(0.12, 3.1, -0.4, False, PLACED)

BOLTS_ON = Verdict(
    "H1",
    "D1",
    "host",
    "bolts on",
    _chance(0.991),
    0.08,
    PLACEMENT,
    pairs_of(GOOD, PLACED),
    safety=(HEAVY, SEAM),
    reasons=REASONS,
    says="D1 bolts on: every fixing lines up, the tightest with 0.08 mm to spare.",
    next_step="Lay the paper template on it before you pay.",
)
OPEN_OUT = Adaptation(
    (
        Action(
            "slot",
            "a",
            "D2",
            7.0,
            12.0,
            8.4,
            "File a into a slot of 7 x 12 mm, level.",
            "F1",
            12.0,
            0.0,
            GOOD[0].at_mm,
            ("round file", "caliper"),
            1,
            "common practice, no source",
        ),
        Action(
            "open out",
            "d",
            "D2",
            9.0,
            6.0,
            4.2,
            "Open d out to 9.0 mm.",
            "F4",
            None,
            None,
            GOOD[3].at_mm,
            ("step drill",),
            2,
            "ISO 273:1979, coarse",
        ),
    ),
    18.0,
    12.6,
    0.31,
    True,
)
WITH_ADAPTATION = replace(
    BOLTS_ON,
    donor="D2",
    verdict="bolts on with adaptation",
    chance=_chance(0.02),
    margin_mm=-0.61,
    pairs=pairs_of(donor_features({**SCATTER, "F1": (-1.11, 0.0), "F4": (0.2, -1.0)}), PLACED),
    conflict=Conflict(("F1", "F4"), ("a", "d"), 0.61, (), ()),
    conflict_says="F1 and F4 cannot both be met: 0.61 mm short.",
    adaptation=OPEN_OUT,
    ruled_out=(
        RuledOut("new hole", "a", "A new hole beside a would stand in the tear seam.", "common practice, no source"),
    ),
    says="D2 bolts on with adaptation: file one slot, open out one hole; about 18 minutes.",
    safety=(HEAVY,),
)
DOES_NOT_FIT = replace(
    BOLTS_ON,
    donor="D3",
    verdict="does not fit",
    chance=_chance(0.0),
    margin_mm=-3.4,
    pairs=pairs_of(LONG, PLACED, ("F5",)),
    conflict=Conflict(
        ("F1", "F2"),
        ("a", "b"),
        1.7,
        (PairFit("F1", "a", 2.2, 0.5, -1.7), PairFit("F2", "b", 2.7, 1.0, -1.7)),
        (),
    ),
    conflict_says="F1 and F2 are 5.2 mm too far apart on the donor; play takes up 4.5 mm.",
    unpaired=(Unpaired("F6", None, "should", "no feature of the donor is in reach"),),
    says="D3 does not fit: F1 and F2 are too far apart on it.",
    safety=(),
    next_step="Look for another donor.",
)
NOT_ENOUGH = replace(
    BOLTS_ON,
    donor="D4",
    verdict="not enough measured",
    chance=None,
    margin_mm=None,
    placement=None,
    pairs=(),
    unknown=(
        Unknown("where b stands", "Read the distance of a and b between their centres.", "D4", "centres", "a", "b"),
        Unknown("the duty of D4", "Say whether D4 is trim, body or structural.", "D4"),
    ),
    reasons=REASONS[:1],
    says="Not enough is measured of D4: a to b, between centres, would settle most.",
    safety=(),
    next_step="Measure a to b on D4 with a caliper.",
)
NOT_JUDGED = replace(
    BOLTS_ON,
    donor="D5",
    verdict="not judged",
    chance=None,
    margin_mm=None,
    placement=None,
    pairs=(),
    reasons=(),
    safety=(
        Caution(
            "restraint",
            "D5 is a restraint part: only the maker's part number for that very vehicle, fitted by licensed practice.",
            True,
            "common practice, no source",
        ),
    ),
    says="D5 is not judged: it is a restraint part.",
    next_step="Ask for the maker's part number.",
)

ZONES = (
    DrawnZone("seam", "tear seam", ((120.0, 60.0), (330.0, 60.0), (330.0, 72.0), (120.0, 72.0)), "original"),
    DrawnZone("door", "airbag door", ((120.0, 72.0), (330.0, 72.0), (330.0, 140.0), (120.0, 140.0)), "original"),
    DrawnZone("seam", "tear seam", ((117.0, 61.0), (327.0, 60.6), (327.0, 72.6), (117.0, 73.0)), "donor"),
    DrawnZone("vent", "opening", ((360.0, 90.0), (430.0, 90.0), (430.0, 140.0), (360.0, 140.0)), "original"),
)
OUTLINES = (
    DrawnOutline("edge", "edge", EDGE, "host"),
    DrawnOutline("edge", "edge", tuple((x - 2.0, y + 1.5) for x, y in EDGE), "donor"),
)
CUTS = (
    Cut("slot", "a", GOOD[0].at_mm, 7.0, 12.0, 0.0, "file a into a slot of 7 x 12 mm"),
    Cut("open out", "d", GOOD[3].at_mm, 9.0, None, 0.0, "open d out to 9.0 mm"),
)


def overlay(verdict, features, **more):
    return OverlayView(
        host=verdict.host,
        donor=verdict.donor,
        host_name="Carrier, glove box",
        donor_name="Panel from a long van",
        verdict=verdict.verdict,
        seen_from="outside",
        fixings=FIXINGS,
        features=features,
        matrix=PLACED if verdict.placement else None,
        turn_deg=0.12 if verdict.placement else None,
        margin_mm=verdict.margin_mm,
        pairs=verdict.pairs,
        conflict=verdict.conflict.fixings if verdict.conflict else (),
        shortfall_mm=verdict.conflict.shortfall_mm if verdict.conflict else None,
        zones=ZONES,
        outlines=OUTLINES,
        spreads=spreads_of(features),
        **more,
    )


OVERLAYS = (
    overlay(BOLTS_ON, GOOD),
    overlay(
        WITH_ADAPTATION,
        donor_features({**SCATTER, "F1": (-1.11, 0.0), "F4": (0.2, -1.0)}),
        cuts=CUTS,
    ),
    overlay(DOES_NOT_FIT, LONG, spans=(Span("F1", "F2", 430.0, 435.2, 4.5),)),
    overlay(NOT_ENOUGH, GOOD[:4]),
    None,
)
VERDICTS = (BOLTS_ON, WITH_ADAPTATION, DOES_NOT_FIT, NOT_ENOUGH, NOT_JUDGED)


def sheet_features(part, features, goes_on=True):
    ids = {feature: fixing.id for fixing, feature in zip(FIXINGS, ("a", "b", "c", "d", "e", "f"), strict=True)}
    return tuple(
        Feature(
            part,
            feature.id,
            feature.kind,
            feature.across_mm,
            feature.length_mm,
            feature.angle_deg,
            None,
            None,
            feature.fastener_mm,
            feature.at_mm[0],
            feature.at_mm[1],
            None,
            0.3,
            ids.get(feature.id) if goes_on else None,
            feature.need,
        )
        for feature in features
    )


BUILD = Build(
    Settings("Example van, invented", "EUR", 42.0),
    (
        VehicleModel("short van", "Example Motors (invented)"),
        VehicleModel("long van", "Example Motors (invented)"),
    ),
    (
        Part("H1", "Carrier, glove box", "short van", origin="host", seen_from="outside", duty="trim", airbag=False),
        Part(
            "O1",
            "Panel, broken",
            "short van",
            origin="original",
            takes_place_of="H1",
            seen_from="outside",
            duty="trim",
            airbag=False,
        ),
        *(
            Part(
                f"D{n}",
                "Panel from a long van",
                "long van",
                f"EX-70{n}",
                origin="donor",
                takes_place_of="H1",
                seen_from="outside",
                duty="restraint" if n == 5 else "trim",
            )
            for n in range(1, 6)
        ),
    ),
    (*sheet_features("H1", FIXINGS, False), *sheet_features("D1", GOOD), *sheet_features("D3", LONG)),
    (
        Reading("H1", "r1", "centres", 430.2, "mm", "F1", "F2", 0.3, "steel rule", "me", "2024-03-02"),
        Reading("D1", "r1", "near edges", 424.6, "mm", "a", "b", 0.2, "caliper", "me", "2024-03-09"),
        Reading(
            "D1",
            "r2",
            "across",
            7.02,
            "mm",
            "a",
            None,
            0.05,
            "caliper",
            "me",
            "2024-03-09",
            "r0",
            "second try",
        ),
        Reading("D3", "r1", "centres", 435.3, "mm", "a", "b", 1.0, "tape", "seller", "2024-03-10"),
    ),
    (
        Offer("donor", "D1", 85.0, 19.0, "an invented yard", "2024-03-09", True),
        Offer("donor", "D2", 40.0, 19.0, "an invented yard", "2024-03-09", True),
        Offer("repair", None, 160.0, None, "an invented trimmer", "2024-03-01", True, 4.0, "re-trim both sides"),
        Offer("new", None, 540.0, 0.0, None, "2024-03-01", False, None, "no longer made"),
    ),
    (Cost("2024-03-01", "tape measure", None, 12.5),),
    zones=tuple(Zone("O1", zone.name, zone.kind, zone.corners_mm) for zone in ZONES if zone.of == "original"),
    outlines=(Outline("H1", "edge", "edge", EDGE),),
)
REPORT = ReportView(
    BUILD,
    VERDICTS,
    OVERLAYS,
    (
        OptionRow("donor", "D1", "Panel from a long van", 85.0, 19.0, 0.5, None, 125.0, True, "an invented yard"),
        OptionRow("donor", "D2", "Panel from a long van", 40.0, 19.0, 0.8, 12.6, 92.6, True, "an invented yard"),
        OptionRow(
            "repair",
            None,
            None,
            160.0,
            None,
            4.0,
            None,
            328.0,
            True,
            "an invented trimmer",
            "re-trim both sides",
        ),
        OptionRow("new", None, None, 540.0, 0.0, None, None, 540.0, False, None, "no longer made"),
    ),
    12.5,
)

NASTY = (
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "a" * 900,
    "\u0645\u0642\u0628\u0636 \u202eright",
    "",
    "  ",
    "&amp;&#x3c;",
    "]]>",
    "\x00\x1b[31m",
    "a\u0301\u0302",
    "\U0001f697",
    "http://example.invalid/x.png",
)

TEMPLATE = TemplateView(
    "D2",
    "Panel from a long van",
    "H1",
    "Carrier, glove box",
    "outside",
    False,
    GOOD,
    tuple(replace(fixing, at_mm=carried(fixing.at_mm)) for fixing in FIXINGS[:4]),
    CUTS,
    tuple(replace(zone, of="donor") for zone in ZONES),
    (replace(OUTLINES[0], of="donor"),),
    (
        "Lay it on the part before you drill; measure twice.",
        "Nothing may be cut, drilled or glued in a hatched zone. The maker's instructions, local law and "
        "licensed practice come first.",
    ),
)
