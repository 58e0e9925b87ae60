"""What to look for where nothing is known to hold a part, by kind of place. Common practice, no source."""

from __future__ import annotations

import re

_PLACES = {
    r"engine|bonnet|hood|bay|radiator|under the car|underneath|underside|wheel|exhaust|gearbox":
        "bolts from below and behind, earth straps, loom clips, hose clamps, brackets shared with a neighbour, dirt "
        "and sealer over bolt heads",
    r"door|tailgate|hatch":
        "screws under pull-handle caps, the mirror corner and the edge; clips around the rim, the membrane's adhesive, "
        "rods and cables behind, the loom's grommet",
    r"seat|belt": "bolts under rail caps, connectors under the cushion, belt anchors, clips of the side shields",
    r"roof|headlin|pillar": "screws under grab-handle and visor caps, clips along the edge, lamps, adhesive",
    r"boot|trunk|bumper|lamp|light|wing|fender": "screws in the wheel arch, nuts behind the trim, clips, connectors",
    r"cabin|dash|console|cockpit|steering|glove|interior|trim":
        "screws under trim caps, vents, mats and switch blanks; hidden clips along the edge, connectors, looms tied to "
        "the back, ducts pushed together, adhesive",
}  # fmt: skip
_ANYWHERE = "screws under caps and badges, hidden clips along the edge, connectors, looms tied to the back, adhesive"


def look_for(*texts: str) -> str:
    """Return what to look for, by the first text that names a kind of place.

    Examples
    --------
    >>> look_for("rear door")[:34]
    'screws under pull-handle caps, the'
    """
    for text in texts:
        for pattern, says in _PLACES.items():
            if re.search(rf"\b({pattern})", text, re.IGNORECASE):
                return says
    return _ANYWHERE
