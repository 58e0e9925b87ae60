"""What a verdict rests on, reason by reason, and how sure it is."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import pytest
from found import DOUBT, LIKE, NOT_ON, OUT, SURE, WHERE, conflict, findings, pairs, trial

from partkin.model.fitting import Chance, Nogood, WithinErrors
from partkin.model.known import OneDrawing
from partkin.model.positions import Missing
from partkin.model.verdict import SeamCheck, Verdict
from partkin.trial.findings import Findings
from partkin.verdict.phrases import conflict_says
from partkin.verdict.reasoning import chance_says, hangs_on_it, out_by_says, sureness

# The package offers the function of the same name.
decide = import_module("partkin.verdict.decide").decide

FAR = SeamCheck(too_far=(("tear seam", 12.0, 2.0),))
MEASURED = "the places of the fixings were measured on the host"
SHOWN = (
    "the host was not measured: the original's holes show where its fixings stood, each to within that hole's own play"
)
AT_BEST = "laid on at its best, all 3 fixings line up, the tightest with 0.20 mm to spare"
DRAWN = (
    "640 parts were made up as this one may really be: 627 of them went on, so about 98 in 100; 95 in 100 are asked for"
)
GO_ON = "chance that it bolts on: about 98 in 100"
ONE = OneDrawing(0.6, "sister models", "a study", None)


def reasons(verdict: Verdict) -> list[str]:
    """Each reason after the first with what it rests on, by their sentences."""
    by_id = {reason.id: reason.says for reason in verdict.reasons}
    under = {name for reason in verdict.reasons[1:] for name in reason.because}
    assert [reason.id for reason in verdict.reasons] == [f"r{n}" for n in range(1, len(verdict.reasons) + 1)]
    assert set(verdict.reasons[0].because) == set(by_id) - under - {"r1"}
    return [
        " <- ".join([reason.says, *(by_id[name] for name in reason.because)])
        for reason in verdict.reasons[1:] if reason.id not in under
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (findings(trial()), [MEASURED, AT_BEST]),
        (findings(trial(), measured_from="original"), [SHOWN, AT_BEST]),
        (
            findings(trial(chance=SURE), evidence=(LIKE, DOUBT), notes=("a note",)),
            ["looks alike: they look alike", "against it: the years do not overlap", MEASURED, AT_BEST,
             f"{GO_ON} <- {DRAWN}", "a note"],
        ),
        (findings(trial(also=2)), [MEASURED, AT_BEST, "2 other ways of pairing are equally good"]),
        (findings(trial("missing", missing=(WHERE,), also=2, chance=SURE)), [MEASURED]),
        (
            findings(trial(slides=("it slides",), flex_used_mm=0.7)),
            [MEASURED, AT_BEST, "it slides",
             "rigid it does not go on; pulled by hand by 0.70 mm at a fixing it does"],
        ),
        (
            findings(trial(flex_used_mm=0.7, flex_to_be_sure=True)),
            [MEASURED, AT_BEST, "rigid it goes on as it most likely is; to be sure, it may have to be pulled by hand "
             "by up to 0.70 mm"],
        ),
        (
            findings(trial("unsure", flex_used_mm=0.7)),
            [MEASURED, AT_BEST, "neither rigid nor pulled by hand by 0.70 mm at a fixing does it go on"],
        ),
        (
            findings(trial("unsure", (0.2, -0.3, 0.1))),
            [MEASURED, "as read, laid on at its best, the worst of 3 fixings is 0.30 mm out of reach; the chance takes "
             "in how far the readings may be out"],
        ),
        (
            findings(trial(margins_mm=(0.2, -0.3, 0.1), chance=SURE)),
            [MEASURED, "laid on at its best, the worst of 3 fixings is 0.30 mm out of reach",
             "the readings may be out by more: places within all their errors let it go on", f"{GO_ON} <- {DRAWN}"],
        ),
        (
            findings(trial(margins_mm=(-5e-7, 0.3, 0.1))),
            [MEASURED, "laid on at its best, all 3 fixings line up, the tightest with 0.00 mm to spare"],
        ),
        (
            findings(trial(seams=FAR), seams=SeamCheck(coincide=(("tear seam", 1.25, 3.0),))),
            [MEASURED, AT_BEST,
             "the donor's tear seam lies within 1.2 mm of the original's; the readings may be out by 3.0 mm"],
        ),
        (
            findings(trial("does not", OUT, conflict=conflict(errors=WithinErrors(1.26)))),
            [conflict_says(NOT_ON, pairs(*OUT)),
             "for it to go on, readings would have to be out by at least 1.2 times what you said (found, not proved)",
             MEASURED, "laid on at its best, the worst of 3 fixings is 1.5 mm out of reach"],
        ),
        (
            findings(trial(), replace(trial(), mirrored=True)),
            [MEASURED, "distances alone do not tell which side is which: it was laid on as read and as its mirror "
            "image",
             AT_BEST],
        ),
        (
            findings(trial(), replace(trial(), mirrored=True), donor={"seen_from": None}),
            [MEASURED, "which face of donor was looked at is not said: it was laid on as read and as its mirror image",
             AT_BEST],
        ),
        (
            findings(
                trial(), replace(NOT_ON, mirrored=True), host={"hand": "left"}, donor={"hand": "left"},
                sides=(Missing("which way round", "donor", "left of", "a3", "a1 a2", "look"),),
            ),
            [MEASURED, "distances alone do not tell which side is which: it was laid on as read and as its mirror "
            "image",
             "nobody saw what is left and right, but both parts are for the left, and a mirror image would be the "
             "other hand: the way round that goes on is its own", AT_BEST],
        ),
    ],
)  # fmt: skip
def test_reasons(found: Findings, told: list[str]) -> None:
    assert reasons(decide(found)) == told


@pytest.mark.parametrize(
    ("chance", "one", "more", "says", "rests"),
    [
        (SURE, ONE, {}, GO_ON, [DRAWN]),
        (
            replace(SURE, at_half=0.97, at_twice=0.98, assumed=0.6, one_drawing=0.9), ONE, {},
            "chance that it bolts on: about 98 in 100 (97 if you think sister parts seldom share a drawing, 98 if "
            "often)",
            ["before any reading, 60 in 100 that both were made to one drawing: sister models",
             "with the readings, 90 in 100 that they were", DRAWN],
        ),
        (
            replace(SURE, at_half=0.93, at_twice=0.99), replace(ONE, scatter_mm=0.3), {},
            "chance that it bolts on: about 98 in 100 (93 if you think sister parts seldom share a drawing, 99 if "
            "often)",
            ["holes of one drawing scatter by 0.3 mm: build.toml says so (scatter_mm)", DRAWN,
             "the verdict hangs on the drawing: taken for half as likely, or twice, it would be another"],
        ),
        (replace(SURE, at_half=0.975, at_twice=0.984), ONE, {}, GO_ON, [DRAWN]),
    ],
)  # fmt: skip
def test_how_sure_it_is_and_what_that_rests_on(
    chance: Chance, one: OneDrawing, more: dict, says: str, rests: list[str]
) -> None:
    (reason,) = sureness(trial(chance=chance, **more), one, 0.95)
    assert (reason.says, list(reason.because), reason.source) == (says, rests, "a study")


@pytest.mark.parametrize(
    ("stand", "more", "says"),
    [
        ("unsure", {"conflict": conflict(errors=WithinErrors(0.72))},
         ["it looks far off, and readings out by 0.8 times what you said would let it go on"]),
        ("unsure", {"conflict": conflict(errors=WithinErrors(0.8))},
         ["it looks far off, and readings out by 0.8 times what you said would let it go on"]),
        ("unsure", {"conflict": conflict()}, []), ("unsure", {}, []),
        ("does not", {"conflict": conflict(errors=WithinErrors(0.72))}, []),
        ("does not", {"chance": Chance(0.0, 0.0, 0.0, 0)}, ["however the readings are out, within what you said, that "
                                                           "stays so"]),
        ("fits", {"chance": replace(SURE, hidden_mm=0.0)},
         ["a part of another drawing would have shown, unless it is off by no more than its play", GO_ON]),
        ("fits", {"chance": replace(SURE, hidden_mm=0.4, hidden_at="F2"), "margin_mm": None},
         ["a part of another drawing would have shown, unless a hole is out of reach by less than 0.40 mm, "
         "likeliest at "
          "F2", GO_ON]),
        ("unsure", {"chance": replace(SURE, hidden_mm=0.4, hidden_at="F2"), "margin_mm": None}, [GO_ON]),
        ("unsure", {"chance": SURE, "margin_mm": -0.2}, [GO_ON]),
        ("does not", {"chance": replace(SURE, just_goes_on=0.03)},
         ["of 100 parts that just go on, 3 would be read as far off as this one", GO_ON]),
        ("does not", {"chance": replace(SURE, just_goes_on=0.0)},
         ["of 100 parts that just go on, none would be read as far off as this one", GO_ON]),
    ],
)  # fmt: skip
def test_what_is_said_beside_the_chance(stand: str, more: dict, says: list[str]) -> None:
    assert [reason.says for reason in sureness(trial(stand, **more), ONE, 0.95)] == says


@pytest.mark.parametrize(
    ("least", "middle", "most", "hangs"),
    [(0.949, 0.96, 0.97, True), (0.95, 0.96, 0.97, False), (0.9, 0.93, 0.95, True), (0.9, 0.93, 0.949, False),
     (0.04, 0.05, 0.06, True), (0.051, 0.06, 0.07, False), (0.02, 0.03, 0.049, False), (None, 0.5, 0.97, False)],
)  # fmt: skip
def test_a_verdict_hangs_on_the_drawing_where_a_bar_lies_between(
    least: float | None, middle: float, most: float, hangs: bool
) -> None:
    assert hangs_on_it(Chance(middle, 0.0, 1.0, 99, at_half=least, at_twice=most), 0.95) is hangs
    assert not hangs_on_it(Chance(middle, 0.0, 1.0, 99, at_half=least, at_twice=None), 0.95)
    assert chance_says(Chance(middle, 0.0, 1.0, 99, at_twice=most)).endswith("in 100")


@pytest.mark.parametrize(
    ("share", "proved", "says"),
    [(0.99, False, "it would go on if readings were out by 1 times"), (1.0, True,
    "at least 1 times what you said (proved)"),
     (1.19, False, "at least 1.1 times what you said (found, not proved)")],
)  # fmt: skip
def test_by_how_much_readings_would_have_to_be_out(share: float, proved: bool, says: str) -> None:
    assert says in out_by_says(WithinErrors(share, nogoods=(Nogood((), ()),) if proved else ()))


@pytest.mark.parametrize(
    ("gap_mm", "fits", "told"), [(0.7, True, "0.70 mm, at F2"), (-0.2, True, "0.00 mm, at F2"), (0.7, None, None)]
)
def test_in_space_it_is_said_where_the_faces_stand_apart(gap_mm: float, fits: bool | None, told: str | None) -> None:
    found = trial(gaps=(("F2", gap_mm), ("F1", 0.1)), fits=fits)
    lifted = [
        tuple(replace(spot, at_mm=(*spot.at_mm, 5.0)) for spot in side)
        for side in (found.task.fixings, found.task.features)
    ]
    space = replace(found, task=replace(found.task, fixings=lifted[0], features=lifted[1]))
    taken = (
        "the fixings do not lie in one plane: across each axis the play of its hole counts, along it that its "
        "fastener engages to within one diameter of it either way"
    )
    gaps = [f"pushed on until the first faces meet, the largest gap is {told}"] if told else []
    assert reasons(decide(findings(space))) == [MEASURED, AT_BEST, taken, *gaps]
    assert reasons(decide(findings(found))) == [MEASURED, AT_BEST]
    bare = replace(space, answer=replace(space.answer, pairs=(), margin_mm=None))
    assert reasons(decide(findings(replace(bare, stand="undecided")))) == [MEASURED]


def test_an_axis_that_leans_is_told_in_degrees() -> None:
    leans = replace(pairs(-3.0)[0], direction="lean", lean_deg=12.3)
    told = [
        reasons(decide(findings(trial("undecided", pairs=(leans, *pairs(0.2, 0.1)[1:]), margin_mm=one))))[1]
        for one in (-3.0, 0.0)
    ]
    assert told[0] == "laid on at its best, the axes of the worst of 2 pairs point 12 degrees apart"
    assert told[1].startswith("laid on at its best, all 2 fixings line up")
