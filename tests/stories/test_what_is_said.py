"""A verdict says of what was found no more and no less: its first and last sentence, and what is asked."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import pytest
from found import DOUBT, LAID, LIKE, NOT_ON, OUT, SAME_NUMBER, SURE, WHERE, conflict, findings, side, trial, work

from partkin.model.adapting import AdaptationAnswer
from partkin.model.positions import Missing, Suspect
from partkin.model.verdict import SeamCheck, Unknown
from partkin.trial.findings import Findings

# The package offers the function of the same name.
decide = import_module("partkin.verdict.decide").decide

FAR = SeamCheck(too_far=(("tear seam", 12.0, 2.0),))
SLIP = Suspect("r1", 4.0, 3.0, "r1: 3 mm more", part="donor", quantity="centres", from_feature="a1", to_feature="a3")
ASKED = Unknown("a1 to a2", "read it", "donor", "centres", "a1", "a2")
LEFT = Missing("which way round", "donor", "left of", "a3", "a1 a2", "look")
MIRRORED = replace(NOT_ON, mirrored=True)
LET_GO = "Next: before you let it go, measure the fixings named above once more; a slip looks the same."
ON_IT = "donor (donor) goes on host"
NOT_AS_IS = "donor (donor) does not go on host as it is"
OPEN = "Whether donor (donor) goes on host cannot be told from what was measured."
TEMPLATE = "Next: lay a paper template on the part, or have the seller do it, before you pay."
AGAINST = "readings against part number"


@pytest.mark.parametrize(
    ("found", "word", "says", "next_step"),
    [
        (
            findings(trial()), "bolts on",
            f"{ON_IT} as it is: 3 fixings line up, the tightest with 0.20 mm to spare.", TEMPLATE,
        ),
        (
            findings(trial(margins_mm=(0.3, -0.2, 0.1))), "bolts on",
            f"{ON_IT} as it is: the worst of 3 fixings was read 0.20 mm out of reach, which is within what the "
            f"readings may be out.", TEMPLATE,
        ),
        (findings(trial(margins_mm=(0.0, 0.2, 0.4))), "bolts on",
         f"{ON_IT} as it is: 3 fixings line up, the tightest with 0.00 mm to spare.", TEMPLATE),
        (findings(trial(), donor={"origin": "original"}), "bolts on",
         f"{ON_IT} as it is: 3 fixings line up, the tightest with 0.20 mm to spare.",
         "Next: name a donor, to see whether another part goes on in its place."),
        (findings(NOT_ON, evidence=(SAME_NUMBER,)), "bolts on", f"{ON_IT}: both bear AB-1.", TEMPLATE),
        (findings(trial(seams=FAR), seams=FAR, evidence=(SAME_NUMBER,)), "bolts on", f"{ON_IT}: both bear AB-1.",
         TEMPLATE),
        (findings(NOT_ON), "does not fit", f"{NOT_AS_IS}; no work that may be done to it was found.", LET_GO),
        (findings(NOT_ON, suspects=(SLIP,)), "does not fit",
         f"{NOT_AS_IS}; no work that may be done to it was found.", LET_GO),
        (findings(NOT_ON, adapting=AdaptationAnswer((), why="a2 is too near an edge.")), "does not fit",
         f"{NOT_AS_IS}; a2 is too near an edge.", LET_GO),
        (
            findings(NOT_ON, donor={"duty": "trim", "airbag": None}), "does not fit",
            f"{NOT_AS_IS}; nothing is cut before it is known whether an airbag opens through it.",
            "Next: does an airbag open through donor? Look for a seam or door underneath, or the word moulded in; "
            "airbag: yes or no in parts.csv. Until then nothing is cut or drilled",
        ),
        (
            findings(NOT_ON, donor={"duty": None}), "does not fit",
            f"{NOT_AS_IS}; no work that may be done to it was found.",
            "Next: say what donor does for people's safety (duty: trim, body, structural or restraint); until then "
            "nothing may be cut and no adaptation is offered",
        ),
        (findings(trial(seams=FAR), seams=FAR), "does not fit",
         f"{NOT_AS_IS}; no work mends a seam that lies elsewhere.",
         "Next: before you let it go, read the corners of its seam once more; a slip looks the same."),
        (findings(replace(NOT_ON, seams=FAR), seams=FAR), "does not fit",
         f"{NOT_AS_IS}; no work mends a seam that lies elsewhere.", LET_GO),
        (findings(NOT_ON, adapting=work("open it out"), adapted_chance=SURE), "bolts on with adaptation",
         f"{ON_IT} after the work listed below. As it is it does not.",
         "Next: weigh the 1 job against the other ways before you pay."),
        (findings(NOT_ON, adapting=work("one", "two"), adapted_chance=SURE), "bolts on with adaptation",
         f"{ON_IT} after the work listed below. As it is it does not.",
         "Next: weigh the 2 jobs against the other ways before you pay."),
        (findings(NOT_ON, adapting=work("one"), adapted_chance=replace(SURE, fits=0.9)), "does not fit",
         f"{NOT_AS_IS}; no work that may be done to it was found.", LET_GO),
        (findings(trial("missing", missing=(WHERE,))), "not enough measured", OPEN, "Next: Measure a1 to a2."),
        (findings(trial("unsure"), asks=(ASKED,)), "not enough measured", OPEN, "Next: read it"),
        (
            findings(trial("undecided", limit="undecided after 10 steps")), "not enough measured", OPEN,
            "Next: undecided after 10 steps; read a2 to a1 of donor with a finer instrument, or try it",
        ),
        (
            findings(), "not enough measured", OPEN,
            "Next: nothing of donor is measured: list its holes, slots and studs in features.csv, then the distances "
            "between their centres",
        ),
        (
            findings(host={"features": []}), "not enough measured", OPEN,
            "Next: nothing of host is measured: list its holes, slots and studs in features.csv, then the distances "
            "between their centres",
        ),
        (findings(donor={"duty": "restraint"}), "not judged", "A restraint part is never judged by geometry.",
         "Go by the maker's part number for that very vehicle, fitted by licensed practice."),
    ],
)  # fmt: skip
def test_first_and_last_sentence(found: Findings, word: str, says: str, next_step: str) -> None:
    told = decide(found)
    assert (told.verdict, told.says, told.next_step) == (word, says, next_step)


def test_named_parts_are_called_by_their_names() -> None:
    told = decide(findings(trial(), host={"name": "left wing"}, donor={"name": "wing of a sister"}))
    assert told.says.startswith("donor (wing of a sister) goes on left wing as it is:")


def asked(found: Findings) -> list[tuple]:
    """What is asked, in its order."""
    return [(one.what, one.quantity, one.from_feature, one.to_feature) for one in decide(found).unknown]


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (findings(trial(), evidence=(SAME_NUMBER,)), []),
        (findings(trial("unsure"), evidence=(SAME_NUMBER,), asks=(ASKED,)), [("a1 to a2", "centres", "a1", "a2")]),
        (findings(trial("does not", OUT), evidence=(SAME_NUMBER,)), []),
        (findings(trial("does not", OUT, conflict=conflict(1)), evidence=(SAME_NUMBER,)), [(AGAINST, "across", "a1",
         None)]),
        (findings(trial("does not", OUT, conflict=conflict(2)), evidence=(SAME_NUMBER,)), [(AGAINST, "centres", "a1",
         "a2")]),
        (findings(trial("does not", OUT, conflict=conflict(3)), evidence=(SAME_NUMBER,)), [(AGAINST, "centres", "a1",
         "a2")]),
        (findings(trial(seams=FAR), seams=FAR, evidence=(SAME_NUMBER,)), [(AGAINST, "centres", None, None)]),
        (findings(NOT_ON, suspects=(SLIP,)), [("reading r1", "centres", "a1", "a3")]),
        (findings(NOT_ON, suspects=(replace(SLIP, reading="a1.across_mm"),)), [("the size of a1", "centres", "a1",
         "a3")]),
        (findings(NOT_ON, suspects=(replace(SLIP, quantity=None),)), [("reading r1", None, None, None)]),
        (
            findings(trial("missing", missing=(WHERE,)), suspects=(SLIP,)),
            [("reading r1", "centres", "a1", "a3"), ("where a1 is", "centres", "a1", "a2")],
        ),
        (
            findings(trial("missing", missing=(replace(WHERE, to_feature="a3"),)), suspects=(SLIP,)),
            [("reading r1", "centres", "a1", "a3")],  # the same reading is not asked for twice
        ),
        (
            findings(trial("missing", missing=(WHERE, Missing("heights", "donor", "z", "a2", None, "read z"))),
            suspects=(SLIP,)),
            [("heights", "z", "a2", None), ("reading r1", "centres", "a1", "a3"), ("where a1 is", "centres", "a1",
            "a2")],
        ),
        (findings(trial(), evidence=(LIKE, DOUBT)), [("other years", None, None, None)]),
        (
            findings(trial("undecided", placement=LAID, margins_mm=(0.3, 0.1, 0.2), limit="too long")),
            [("placement", "centres", "a2", "a3")],
        ),
        (
            findings(trial("undecided", pairs=(), margin_mm=None, limit="too long")),
            [("pairing", "goes_on", None, None)],
        ),
        (
            findings(NOT_ON, adapting=AdaptationAnswer((), waits=True, unsized=("F2", "F3"))),
            [("size of F2", "across", "F2", None), ("size of F3", "across", "F3", None)],
        ),
        (
            findings(NOT_ON, adapting=AdaptationAnswer((), waits=True)), [("finer readings", "centres", "a1", "a2")],
        ),
        (
            findings(NOT_ON, adapting=AdaptationAnswer((), waits=True), measured_from="original"),
            [("finer readings", "centres", "F1", "F2")],
        ),
        (findings(NOT_ON, adapting=AdaptationAnswer((), waits=True), asks=(ASKED,)), [("a1 to a2", "centres", "a1",
         "a2")]),
        (
            findings(NOT_ON, adapting=AdaptationAnswer((), waits=True, undecided=True, why="so far")),
            [("work", None, None, None)],
        ),
        (
            findings(NOT_ON, adapting=AdaptationAnswer((), waits=True), donor={"material": None}),
            [("material", "material", None, None)],
        ),
        (
            findings(NOT_ON, seams=SeamCheck(unknown_on_donor=("tear seam",), unknown_on_original=("airbag door",)),
                     original=side("host")),
            [("tear seam of donor", "centres", None, None), ("airbag door of host", "centres", None, None)],
        ),
    ],
)  # fmt: skip
def test_what_is_asked(found: Findings, told: list[tuple]) -> None:
    assert asked(found) == told


@pytest.mark.parametrize(
    ("found", "says"),
    [
        (findings(trial(), MIRRORED, sides=(LEFT,)), "a3 lies left of a1 to a2"),
        (findings(replace(trial(), mirrored=True), NOT_ON, sides=(LEFT,)), "a3 lies right of a1 to a2"),
        (findings(trial(), MIRRORED, sides=(LEFT,), donor={"seen_from": "inside"}), "a3 lies right of a1 to a2"),
        (findings(trial(), MIRRORED, sides=(replace(LEFT, to_feature="a2 a1"),)), "a3 lies right of a2 to a1"),
        (findings(trial(), MIRRORED, sides=(replace(LEFT, part="host", from_feature="F3", to_feature="F1 F2"),)),
         "F3 lies left of F1 to F2"),
        (findings(trial(), MIRRORED, sides=(LEFT, replace(LEFT, part="host"))), None),
        (findings(trial(), MIRRORED, sides=(LEFT,), donor={"seen_from": None}), None),
        (findings(trial(), MIRRORED, sides=(LEFT, WHERE)), ""),
        (findings(trial(), replace(trial(), mirrored=True), sides=(LEFT,)), ""),
        (findings(trial(), NOT_ON, sides=(LEFT,)), ""),
    ],
)  # fmt: skip
def test_what_to_look_at_where_one_way_round_goes_on(found: Findings, says: str | None) -> None:
    """In words where that is known; else on which side of a line; and nothing where more than that is open."""
    told = decide(found).says
    if says == "":
        assert "mirror image" not in told
    else:
        look = f"look whether {says}" if says else "look on which side of a1 to a2 a3 lies"
        assert told == f"donor (donor) bolts on host, unless it is a mirror image: {look}."
