"""What must be said where the work can hurt someone. Facts: common practice unless a source is named."""

from __future__ import annotations

from partkin.model.known import Known, airbag, is_restraint
from partkin.model.verdict import DEFER, Caution, SeamCheck
from partkin.model.words import AIRBAG_ZONES

LIFTING_SOURCE = "HSE INDG143, lifting filter: 25 kg (men), 16 kg (women), close to the body at waist height"
ONE_PERSON_KG = 16.0


def cautions(known: Known, seams: SeamCheck | None) -> tuple[Caution, ...]:
    """Every caution that applies to this pair of parts, the ones that hold first."""
    found = [*_restraint(known), *_airbag_panel(known, seams)]
    if any(side is not None and side.part.duty == "structural" for side in (known.donor, known.original)):
        says = f"No drilling, slotting, welding or straightening of a structural part on this advice. {DEFER}"
        found.append(Caution("structural parts are used as they are", says, hold=True))
    mass_kg = known.donor.part.mass_kg
    if mass_kg is not None and mass_kg > ONE_PERSON_KG:
        people = "two people" if mass_kg <= 2 * ONE_PERSON_KG else "two to four people or a hoist"
        says = f"{mass_kg:g} kg: {people}; measure the way out of the door first."
        found.append(Caution("lifting", says, source=LIFTING_SOURCE))
    return tuple(sorted(found, key=lambda caution: not caution.hold))


def _restraint(known: Known) -> list[Caution]:
    if not is_restraint(known):
        return []
    return [
        Caution(
            "restraint parts are never judged by geometry",
            "A restraint part (airbag, belt tensioner, their sensors and control units) goes on only by the maker's "
            "part number for that very vehicle, fitted by licensed practice. A deployed unit or one of unknown "
            "history is not used again.",
            hold=True,
        ),
        Caution(
            "before touching a restraint connector",
            "Disconnect the battery and keep the maker's waiting time before touching a connector. Carry a live "
            f"module with its trim side away from you and never lay it face down. {DEFER}",
            hold=True,
        ),
    ]


def _airbag_panel(known: Known, seams: SeamCheck | None) -> list[Caution]:
    opens = airbag(known)
    if opens is None:
        says = (
            "Whether an airbag opens through it is not known. Until it is, fit is all that was judged, and nothing is "
            f"cut, drilled, glued or covered. {DEFER}"
        )
        return [Caution("an airbag may open through it", says, hold=True)]
    if not opens:
        return []
    found = [
        Caution(
            "a panel that an airbag bursts through",
            "Fit is all that was judged. Whether this panel opens as it must is for the maker's part number or "
            "licensed practice to say: same construction underneath (scored, stitched or hinged), seam and door over "
            "the module. A licensed person decides before the vehicle is used.",
            hold=True,
        ),
        Caution(
            "the tear seam and airbag door stay untouched",
            "No glue, filler, stitching, cutting, drilling or extra skin on or near the tear seam or airbag door: "
            f"they must open. A covered or repaired one is not used. {DEFER}",
            hold=True,
        ),
    ]
    if known.donor.part.airbag is False and not any(zone.kind in AIRBAG_ZONES for zone in known.donor.zones):
        donor = known.donor.part.part
        says = (
            f"{donor} is said to have no seam or door, and an airbag opens in its place: it is not used there. {DEFER}"
        )
        found.append(Caution("made without a way for an airbag", says, hold=True))
    if seams is not None and seams.not_compared:
        found.append(Caution("seam not compared", seams.not_compared, hold=True))
    return found
