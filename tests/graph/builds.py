"""Builds for tests: a small one with a story, random ones that fill every column, random families of parts."""

from __future__ import annotations

import random
from dataclasses import replace
from types import NoneType, UnionType
from typing import Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from partkin.model import words
from partkin.model.build import (
    Build,
    Connector,
    Cost,
    Feature,
    Holding,
    Look,
    Neighbour,
    Offer,
    Outcome,
    Part,
    Reading,
    Settings,
    VehicleModel,
    Zone,
)
from partkin.model.columns import SHEETS, Sheet

# Any text at all but lone surrogates, which no UTF-8 file can hold.
anything = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
ids = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8) | st.sampled_from(
    ["a", "..", ".", "~x", "a/b", "a b", "%41", "model", "~model", "ä", "a#b?c"]
)
numbers = st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from(
    [0.1 + 0.2, 1e-20, 12.5, 300.0, -0.0, 1e22, 5e-324, 1.7e308, 123456789.123456789]
)
counts = st.integers(-(10**6), 10**6)
days = st.sampled_from(["2024-05-31", "2023-02-30", "yesterday", "2024-1-1"])
corners = st.lists(st.tuples(numbers, numbers), max_size=3).map(tuple)
rows = st.integers(0, 50)


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    """None, or a value."""
    return st.none() | strategy


def word(listed: tuple[str, ...]) -> st.SearchStrategy:
    """A word of a list, now and then another."""
    return st.sampled_from(listed) | st.just("another word")


# What a field holds where its type does not tell.
IDS = ("model", "feature", "reading", "from_feature", "to_feature", "corrects", "by", "line_from", "line_to", "goes_on",
       "angle_to", "zone", "connector", "fastener")  # fmt: skip
PARTS = ("part", "takes_place_of", "part_of", "donor", "held_to", "neighbour", "beside")
HELD = {
    **dict.fromkeys(IDS, ids),
    "on": days, "row": rows, "corners_mm": corners, "axis": st.tuples(numbers, numbers, numbers),
    "unit": word(tuple(words.MM_PER_UNIT)), "verdict_then": word(words.VERDICTS),
    "replaces": st.lists(anything, max_size=3).map(tuple),
    "cautions": st.lists(word(words.CAUTIONS), max_size=3).map(tuple),
    "behind": st.lists(st.lists(anything, max_size=2).map(tuple), max_size=2).map(tuple),
}  # fmt: skip
PLAIN = {str: anything, float: numbers, int: counts, bool: st.booleans()}
# A reading is never drawn without these.
ALWAYS = ("value", "unit")
# How many rows at most, where not two, and what no two rows have in common.
MOST = {"features": 4, "readings": 3}
UNIQUE = {"features": "feature", "readings": "reading", "zones": "zone", "connectors": "connector"}


def row_of(row: type, named: st.SearchStrategy, **given: st.SearchStrategy) -> st.SearchStrategy:
    """A row of a sheet, every column drawn by what it holds, faulty or not; `named`: for all that name a part."""
    told = {**HELD, **dict.fromkeys(PARTS, named), **given}

    def held(name: str, kind: object) -> st.SearchStrategy:
        may_be_none = get_origin(kind) in (Union, UnionType)
        kinds = [one for one in get_args(kind) if one is not NoneType] if may_be_none else [kind]
        drawn = told[name] if name in told else PLAIN[kinds[0]] if kinds[0] in PLAIN else word(get_args(kinds[0]))
        return maybe(drawn) if may_be_none and name not in ALWAYS and name not in given else drawn

    return st.builds(row, **{name: held(name, kind) for name, kind in get_type_hints(row).items()})


@st.composite
def random_builds(draw: st.DrawFn) -> Build:
    """Builds that fill every column of every sheet, faulty or not; ids stay unique."""
    names = draw(st.lists(ids, min_size=1, max_size=3, unique=True))
    models = draw(st.lists(ids, max_size=2, unique=True))
    some_part, known_part = st.sampled_from(names) | ids, st.sampled_from(names)

    def listed(sheet: Sheet) -> tuple:
        own = UNIQUE.get(sheet.attribute)
        key = None if own is None else lambda row: (row.part, getattr(row, own))
        drawn = row_of(sheet.row, known_part if sheet.attribute in MOST else some_part)
        return tuple(draw(st.lists(drawn, max_size=MOST.get(sheet.attribute, 2), unique_by=key)))

    return Build(
        settings=draw(row_of(Settings, some_part)),
        models=tuple(draw(row_of(VehicleModel, some_part, model=st.just(name))) for name in models),
        parts=tuple(draw(row_of(Part, some_part, part=st.just(name))) for name in names),
        **{sheet.attribute: listed(sheet) for sheet in SHEETS if sheet.attribute not in ("models", "parts")},
    )


def family(seed: int) -> Build:
    """Random parts of few names, numbers, models and platforms, so that every rule finds something."""
    draw = random.Random(seed)
    models = tuple(
        VehicleModel(
            f"M{n}",
            platform=draw.choice([None, "K1", "k1", "K 2", "K2"]),
            first_year=draw.choice([None, 2000, 2004, 2008]),
            last_year=draw.choice([None, 2003, 2007]),
        )
        for n in range(4)
    )
    parts: list[Part] = []
    for n in range(draw.randint(4, 9)):
        origin = draw.choice(["host", "original", "donor", "donor"])
        places = [part.part for part in parts if part.origin != "donor"]
        wholes = [part.part for part in parts]
        parts.append(
            Part(
                f"p{n}",
                name=draw.choice([None, "dash top", "Dash  Top", "bracket"]),
                model=draw.choice([None, "M0", "M1", "M2", "M3"]),
                part_number=draw.choice([None, "A-1", "a1", "B 2", "C.3", "D4"]),
                # Higher numbers replace lower ones, so that there is no ring.
                replaces=(),
                origin=origin,
                takes_place_of=draw.choice(places) if places and origin != "host" and draw.random() < 0.8 else None,
                part_of=draw.choice(wholes) if wholes and draw.random() < 0.5 else None,
                hand=draw.choice([None, "left", "right"]),
                drive=draw.choice([None, "left", "right"]),
                duty=draw.choice([None, *words.DUTIES]),
                row=n + 2,
            )
        )
    older = {"A-1": (), "a1": (), "B 2": ("A1",), "C.3": ("b2", "A 1"), "D4": ("C3",), None: ("B2",)}
    parts = [
        Part(**{**part.__dict__, "replaces": older[part.part_number] if draw.random() < 0.7 else ()}) for part in parts
    ]
    zones = tuple(
        Zone(part.part, "z", draw.choice(words.WORDS["zone"]), ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
        for part in parts
        if draw.random() < 0.4
    )
    features = tuple(
        Feature(
            part.part,
            f"f{n}",
            draw.choice(words.KINDS),
            x_mm=draw.choice([None, 1.5]),
            goes_on=draw.choice([None, "f0", "f1", "f9"]),
            need=draw.choice([None, *words.WORDS["need"]]),
            zone=draw.choice([None, "z", "y"]),
            row=n + 2,
        )
        for part in parts
        for n in range(draw.randint(0, 2))
    )
    readings = tuple(
        Reading(
            part.part,
            f"r{n}",
            draw.choice(["centres", "across"]),
            float(n),
            "mm",
            "f0",
            draw.choice([None, "f1"]),
            corrects=draw.choice([None, "r0", f"r{n - 1}"]) if n else None,
        )
        for part in parts
        for n in range(draw.randint(0, 3))
    )
    offers = tuple(
        Offer(
            draw.choice(words.OPTION_KINDS),
            part.part,
            price=draw.choice([None, 10.0, 99.5]),
            available=draw.choice([None, True, False]),
        )
        for part in parts
        if draw.random() < 0.5
    )
    connectors = tuple(Connector(part.part, "c", 4) for part in parts if draw.random() < 0.3)
    # Drawn last, so that what stands above is what it always was.
    parts = [
        replace(
            part,
            airbag=draw.choice([None, None, True, False]),
            broken_by=draw.choice([None, *words.WORDS["broken-by"]]),
            material=draw.choice([None, "ABS"]),
            thickness_mm=draw.choice([None, 2.5]),
            mass_kg=draw.choice([None, 4.5]),
            finish=draw.choice([None, "black"]),
            flex_mm=draw.choice([None, 1.5]),
            flex_in_plane=draw.choice([None, True]),
            note=draw.choice([None, "invented"]),
        )
        for part in parts
    ]
    readings = tuple(
        replace(
            one,
            line_from=draw.choice([None, "f0"]),
            line_to=draw.choice([None, "f1"]),
            note=draw.choice([None, "once"]),
            instrument=draw.choice([None, "tape"]),
        )
        for one in readings
    )
    offers = tuple(
        replace(one, note=draw.choice([None, "as seen"]), seller=draw.choice([None, "somebody"])) for one in offers
    )
    zones = tuple(replace(one, row=place) for place, one in enumerate(zones, start=2))
    models = tuple(replace(one, note="invented", row=place) for place, one in enumerate(models, start=2))
    features = tuple(
        replace(
            one,
            across_mm=draw.choice([None, 7.0, 7.2, 9.0]),
            float_mm=draw.choice([None, 1.0]),
            fastener_mm=draw.choice([None, 6.0]),
            angle_to=draw.choice([None, "f1"]),
        )
        for one in features
    )
    connectors = tuple(replace(one, row=place) for place, one in enumerate(connectors, start=2))
    others = [part.part for part in parts]
    return Build(
        models=models,
        parts=tuple(parts),
        costs=tuple(
            Cost(None, draw.choice(["clips", "carriage"]), None, draw.choice([3.5, 4.25]))
            for _ in range(draw.randint(0, 4))
        ),
        neighbours=tuple(
            Neighbour(
                one,
                "front",
                "glass",
                draw.choice([None, 2.0, 4.0, 6.0]),
                draw.choice([None, 3.0]),
                draw.choice([None, 5.0]),
                row=draw.choice([0, 2]),
            )
            for one in others
        ),
        holdings=tuple(
            Holding(one, "car", f"bolt-{one}", "bolt", cautions=tuple(draw.sample(words.CAUTIONS, 2))) for one in others
        ),
        looks=tuple(Look(one, draw.choice(others), draw.choice(words.WORDS["likeness"])) for one in others),
        zones=zones,
        features=features,
        readings=readings,
        offers=offers,
        connectors=connectors,
    )


def dashboard() -> Build:
    """A frame, the top that came off it and three donors, all invented."""
    return Build(
        settings=Settings(name="an invented build"),
        models=(
            VehicleModel("One", "an invented maker", "K1", 2004, 2009),
            VehicleModel("Two", "an invented maker", "k1", 2006, 2011),
            VehicleModel("Three", "an invented maker", "K7", 1998, 2002),
        ),
        parts=(
            Part("dash", "dashboard", "One", origin="original", takes_place_of="body", duty="trim"),
            Part("body", "body", "One", origin="host", duty="structural"),
            Part("frame", "dashboard frame", "One", origin="host", duty="structural", row=4),
            Part("top-1", "dashboard top", "One", "X-100.A", ("x99",), "original", "frame", "dash", "left", "left",
                 "outside", "trim", row=5),
            Part("top-2", "Dashboard  top", "Two", "x102", ("X 101",), "donor", "frame", None, "left", "left",
                 duty="trim", row=6),
            Part("top-3", "dashboard top", "Three", None, (), "donor", "frame", None, "right", "right", row=7),
            Part("spare", None, None, "X101", ("X-100a",), "donor", row=8),
            Part("bag", "airbag", "One", "Q1", (), "donor", "frame", duty="restraint", row=9),
        ),
        features=(
            Feature("frame", "F2", "stud", thread="M6x1", x_mm=300.1, y_mm=0.0, need="must"),
            Feature("frame", "F1", "stud", thread="M6x1", x_mm=0.0, y_mm=0.0),
            Feature("top-1", "b", "hole", 7.0, x_mm=0.1 + 0.2, y_mm=1.0, goes_on="F2"),
            Feature("top-2", "z", "slot", 6.6, 12.0, 90.0, x_mm=1.0, y_mm=2.0, z_mm=3.0, goes_on="F1", zone="seam",
                    axis=(0.0, 0.6, 0.8)),
            Feature("top-2", "a", "hole", 7.0, x_mm=1.0, y_mm=2.0, z_mm=3.25),
        ),
        readings=(
            Reading("top-2", "r1", "centres", 300.2, "mm", "z", "a", 0.5, "tape", "A. Example", "2024-05-31"),
            Reading("top-2", "r2", "centres", 30.04, "cm", "z", "a", 0.05, "tape", None, "2024-06-01", "r1"),
            Reading("top-2", "r3", "across", 0.276, "in", "a", None, None, "caliper"),
        ),
        zones=(Zone("top-2", "seam", "tear seam", ((0.0, 1.5), (10.0, 1.5))),),
        connectors=(Connector("top-2", "sensor", 3, "grey", "should"),),
        costs=(Cost(None, "clips", None, 3.5), Cost("2024-05-31", "clips", "top-2", 0.25)),
        offers=(
            Offer("donor", "top-2", 120.5, 18.0, available=True),
            Offer("donor", "top-2", 60.0, available=False),
            Offer("donor", "top-3", 99.0),
        ),
        neighbours=(Neighbour("top-1", "front", "bag", 6.0, 3.0, 5.0), Neighbour("top-1", "left", "bag", 4.0)),
        outcomes=(Outcome("top-2", None, "bolts on", "went on as it was", chance_then=0.98),),
        looks=(
            Look("top-3", "top-1", "alike", "listing-1.jpg", "2024-05-30"),
            Look("bag", "frame", "different", note="invented"),
        ),
        holdings=(
            Holding("top-1", "frame", "nut-1", "stud nut", 2, behind=(("plug-1", "bag"), ("clip-1",)),
                    cautions=("restraint", "heavy")),
        ),
    )  # fmt: skip
