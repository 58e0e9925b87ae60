"""held_by.csv: which fasteners wait for each other, and which only seem to. All builds are invented."""

from __future__ import annotations

import random
from itertools import product

import pytest

from partkin.sheets.loading import Loaded, read
from sheets.base import places

HEADER = "part,held_to,fastener,kind,behind,certain\n"


def held(*rows: str) -> Loaded:
    parts = sorted({row.split(",")[0] for row in rows})
    return read(
        {
            "parts.csv": ("part\n" + "".join(f"{part}\n" for part in parts)).encode(),
            "features.csv": b"part,feature,kind\n",
            "held_by.csv": (HEADER + "".join(f"{row}\n" for row in rows)).encode(),
        }
    )


def test_fasteners_behind_each_other() -> None:
    loaded = held("p,car,a,bolt,b,", "p,car,b,bolt,c,", "p,car,c,bolt,a,", "p,car,d,bolt,,")
    assert places(loaded) == ["held_by.csv:2:behind"]
    assert "never come off: a, b, c, a" in loaded.problems[0].what


def test_a_part_held_to_itself() -> None:
    loaded = held("p,p,a,bolt,,", "p,car,b,bolt,,")
    assert places(loaded) == ["held_by.csv:2:held_to"]
    assert "p is held to itself" in loaded.problems[0].what


def test_a_bolt_behind_the_part_that_it_holds() -> None:
    loaded = held("p,car,a,bolt,p,")
    assert "never come off: a, p, a" in loaded.problems[0].what


@pytest.mark.parametrize(
    "rows",
    [
        # a chain has an end
        ("p,car,a,bolt,b,", "p,car,b,bolt,c,", "p,car,c,bolt,,"),
        # either will do
        ("p,car,a,bolt,b|c,", "p,car,b,bolt,a,", "p,car,c,bolt,,"),
        # nobody has seen it
        ("p,car,a,bolt,b,", "p,car,b,bolt,a,guess"),
        # p comes off with q, and on the bench its bolt is free
        ("p,q,a,bolt,p,", "q,car,b,bolt,,"),
        # what nothing holds is in nobody's way
        ("p,car,a,bolt,cover,", "cover,lid,e,clip,,"),
    ],
)
def test_what_can_be_undone_is_no_fault(rows: tuple[str, ...]) -> None:
    assert places(held(*rows)) == []


def test_an_assembly_takes_what_belongs_to_it_along() -> None:
    """The skin is of the dash, the dash is bolted to the car: once it is out, its vents are in nobody's way."""
    files = {
        "parts.csv": b"part,part_of\ndash,\nskin,dash\nvent,\nduct,\n",
        "features.csv": b"part,feature,kind\n",
        "held_by.csv": (HEADER + "dash,car,b,bolt,,\nvent,skin,c,clip,duct,\nduct,skin,d,clip,vent,\n").encode(),
    }
    assert read(files).problems == ()
    files["parts.csv"] = files["parts.csv"].replace(b"skin,dash", b"skin,")
    assert places(read(files)) == ["held_by.csv:3:behind"]


def comes_apart(rows: list[tuple[str, str, str, list[list[str]]]]) -> bool:
    """Undo whatever can be undone, one fastener after another, until nothing is left or nothing moves."""
    vehicle = {to for _, to, *_ in rows} - {part for part, *_ in rows}
    on = {fastener for _, _, fastener, _ in rows}
    moved = True
    while moved:
        moved = False
        tied = set(vehicle)
        for _ in rows:
            for part, to, fastener, _ in rows:
                if fastener in on and (part in tied or to in tied):
                    tied |= {part, to}
        in_the_way = on | (tied - vehicle)
        for fastener in sorted(on):
            clauses = [clause for _, _, name, behind in rows if name == fastener for clause in behind]
            if all(any(name not in in_the_way for name in clause) for clause in clauses):
                on.remove(fastener)
                moved = True
                break
    return not on


def test_as_undoing_them_one_by_one() -> None:
    seen = set()
    for seed, size in product(range(150), (2, 4, 6)):
        draw = random.Random(f"{seed}-{size}")
        bodies, names = ["p", "q", "r"], [f"f{n}" for n in range(size)]
        rows = []
        for name in names:
            behind = [
                sorted(set(draw.choices(names + bodies, k=draw.randint(1, 2)))) for _ in range(draw.randint(0, 1))
            ]
            part = draw.choice(bodies)
            rows.append((part, draw.choice([to for to in ("car", "p", "q") if to != part]), name, behind))
        bodies_named = {body for part, to, *_ in rows for body in (part, to)}
        rows = [
            (part, to, name, [[other for other in c if other in names or other in bodies_named] or ["f0"] for c in b])
            for part, to, name, b in rows
        ]
        loaded = held(
            *(
                f"{part},{to},{name},bolt,{';'.join('|'.join(clause) for clause in behind)},"
                for part, to, name, behind in rows
            )
        )
        assert all("never come off" in problem.what for problem in loaded.problems[:1])
        assert (loaded.problems == ()) == comes_apart(rows), rows
        seen.add(loaded.problems == ())
    assert seen == {True, False}
