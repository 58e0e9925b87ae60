"""What the pictures are drawn from: values only, nothing of SVG, PDF or HTML.

Host things stand in the host's frame, donor things in the donor's; the matrix of a placement maps donor to
host (4 x 4, row major). Lengths in millimetres, angles in degrees, anticlockwise, y up.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from partkin.model.build import Build
from partkin.model.fitting import OddHole
from partkin.model.stripping import PlanView
from partkin.model.verdict import Pair, Verdict
from partkin.model.words import Face, Kind, Need, OptionKind, OutlineKind, VerdictWord, ZoneKind

Owner = Literal["host", "original", "donor"]
Matrix = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class DrawnFeature:
    """A fixing of the host or a feature of the donor, as it is drawn.

    `across_mm`: hole, slot, peg or stud; `length_mm`, `angle_deg`: a slot's overall length and direction, in
    the frame of its own side; `fastener_mm`: the bolt, stud or screw of this place.
    """

    id: str
    at_mm: tuple[float, ...]
    kind: Kind
    across_mm: float | None = None
    length_mm: float | None = None
    angle_deg: float = 0.0
    fastener_mm: float | None = None
    need: Need | None = None

    @property
    def half_travel_mm(self) -> float:
        """Half the distance between a slot's end-arc centres; 0 for what is round."""
        if self.length_mm is None or self.across_mm is None:
            return 0.0
        return max(0.0, (self.length_mm - self.across_mm) / 2)


@dataclass(frozen=True)
class DrawnZone:
    """A zone; `of` says whose, and so in which frame its corners stand (original: the host's frame)."""

    name: str
    kind: ZoneKind
    corners_mm: tuple[tuple[float, float], ...]
    of: Owner


@dataclass(frozen=True)
class DrawnOutline:
    """One closed line of a part; `of` as for zones."""

    name: str
    kind: OutlineKind
    corners_mm: tuple[tuple[float, float], ...]
    of: Owner


@dataclass(frozen=True)
class Spread:
    """An uncertainty ellipse of one feature's place, in the frame of its side, 95 in 100."""

    of: Owner
    id: str
    centre_mm: tuple[float, float]
    semi_mm: tuple[float, float]
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Span:
    """Two fixings in conflict: their distance on the host, and that of the donor features meant for them.

    `play_mm`: how much of the difference the two pairs' play (and slots along the line) can take up.
    `from_feature`, `to_feature`: the donor features; None: those of the view's pairs.
    """

    from_fixing: str
    to_fixing: str
    host_mm: float
    donor_mm: float
    play_mm: float = 0.0
    from_feature: str | None = None
    to_feature: str | None = None

    @property
    def too_long_mm(self) -> float:
        """Donor less host: positive, the donor is too long; negative, too short."""
        return self.donor_mm - self.host_mm


@dataclass(frozen=True)
class Cut:
    """A hole to open out or to make, or a slot to cut, in the frame of its side."""

    do: str
    feature: str
    at_mm: tuple[float, ...]
    across_mm: float
    length_mm: float | None = None
    angle_deg: float = 0.0
    says: str = ""
    of: Owner = "donor"


@dataclass(frozen=True)
class OverlayView:
    """A donor on a host. `matrix` None: no placement is known, the two are drawn side by side.

    `odd`, `holding`: of a donor laid where the most hold, what does not, and how many of how many do. `after`: with the
    work done.
    """

    host: str
    donor: str
    host_name: str | None = None
    donor_name: str | None = None
    verdict: VerdictWord | None = None
    measured_from: str = "host"
    seen_from: Face | None = None
    mirrored: bool = False
    fixings: tuple[DrawnFeature, ...] = ()
    features: tuple[DrawnFeature, ...] = ()
    matrix: Matrix | None = None
    turn_deg: float | None = None
    margin_mm: float | None = None
    pairs: tuple[Pair, ...] = ()
    conflict: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    shortfall_mm: float | None = None
    zones: tuple[DrawnZone, ...] = ()
    outlines: tuple[DrawnOutline, ...] = ()
    spreads: tuple[Spread, ...] = ()
    cuts: tuple[Cut, ...] = ()
    note: str | None = None
    odd: tuple[OddHole, ...] = ()
    holding: tuple[int, int] | None = None
    after: bool = False


class OptionRow(NamedTuple):
    """One way to get the vehicle whole again, as the options are set side by side.

    `total`: what it comes to with carriage, clips, work and paint, where that is known.
    """

    option: OptionKind
    part: str | None = None
    name: str | None = None
    price: float | None = None
    shipping: float | None = None
    hours: float | None = None
    adaptation: float | None = None
    total: float | None = None
    available: bool | None = None
    seller: str | None = None
    note: str | None = None
    at_least: bool = False


@dataclass(frozen=True)
class ReportView:
    """A whole report: every verdict with its drawing (None: nothing could be drawn), in one order.

    `after`: the drawings with the work done. `plans`: how the originals come out, and the donors off their own
    assemblies, where the sheets tell.
    """

    build: Build
    verdicts: tuple[Verdict, ...]
    overlays: tuple[OverlayView | None, ...]
    options: tuple[OptionRow, ...] = ()
    costs_to_date: float | None = None
    notes: tuple[str, ...] = ()
    plans: tuple[PlanView, ...] = ()
    after: tuple[OverlayView | None, ...] = ()


@dataclass(frozen=True)
class TemplateView:
    """A drilling and check template of one part, in that part's frame.

    `laid_on`: features of the other side, already brought into this frame, drawn thin to check against.
    `turned_over`: drawn as seen from the other face than `seen_from`.
    """

    part: str
    name: str | None = None
    laid_on_part: str | None = None
    laid_on_name: str | None = None
    seen_from: Face | None = None
    turned_over: bool = False
    features: tuple[DrawnFeature, ...] = ()
    laid_on: tuple[DrawnFeature, ...] = ()
    cuts: tuple[Cut, ...] = ()
    zones: tuple[DrawnZone, ...] = ()
    outlines: tuple[DrawnOutline, ...] = ()
    cautions: tuple[str, ...] = ()


class PatternPlot(NamedTuple):
    """A pattern with the uncertainty of each place."""

    part: str
    name: str | None
    features: tuple[DrawnFeature, ...]
    spreads: tuple[Spread, ...]


class MarginPlot(NamedTuple):
    """Offset and play of every pair of one donor."""

    donor: str
    host: str
    pairs: tuple[Pair, ...]


class ChancePlot(NamedTuple):
    """Chance that the donor fits against what the next reading may say.

    `values_mm` rising, with `chances` beside them; `expected_mm`: what is expected now, with its half width.
    """

    donor: str
    reading: str
    values_mm: tuple[float, ...]
    chances: tuple[float, ...]
    confidence: float = 0.95
    expected_mm: float | None = None
    half_width_mm: float | None = None


@dataclass(frozen=True)
class CalibrationBin:
    """Verdicts whose chance lay between `low` and `high`: how many, and how many did go on."""

    low: float
    high: float
    count: int
    went_on: int


class CalibrationPlot(NamedTuple):
    """Chance said against what really happened."""

    bins: tuple[CalibrationBin, ...]
