"""The rules against plain loops over the sheets, and against two OWL reasoners that share no code with them."""

import itertools

import pytest
import rdflib
import reasonable

from graph.builds import dashboard, family
from partkin.graph import compile_graph, contradictions
from partkin.graph.closure import axioms, closure, identity_lines
from partkin.graph.names import NS, plain_number
from partkin.model.build import Build, Part

SEEDS = range(200)


def derived(build: Build) -> dict[str, set[tuple[str, str]]]:
    """Pairs of short names by property."""
    graph = compile_graph(build)
    found: dict[str, set[tuple[str, str]]] = {}
    for _, subject, predicate, value in graph.derived():
        pair = (subject.removeprefix(graph.base + "/"), value.removeprefix(graph.base + "/").removeprefix(NS))
        found.setdefault(predicate.removeprefix(NS), set()).add(pair)
    return found


def reach(step: dict[str, set[str]]) -> set[tuple[str, str]]:
    """All pairs along one step or more, by brute force."""
    pairs = {(start, end) for start, ends in step.items() for end in ends}
    while True:
        more = {(a, d) for a, b in pairs for c, d in pairs if b == c} - pairs
        if not more:
            return pairs
        pairs |= more


def by_hand(build: Build) -> dict[str, set[tuple[str, str]]]:
    """What the identity rules should derive, from the sheets alone."""
    parts = build.parts
    numbers = {part.part: plain_number(part.part_number) for part in parts if part.part_number}
    takes = reach({part.part: {part.takes_place_of} for part in parts if part.takes_place_of})
    origin = {part.part: part.origin for part in parts}
    steps: dict[str, set[str]] = {}
    for part in parts:
        if part.part in numbers:
            steps.setdefault(numbers[part.part], set()).update(map(plain_number, part.replaces))
    chains = reach(steps)
    supersedes = set()
    for part in parts:
        old = set(map(plain_number, part.replaces))
        if part.part in numbers:
            old |= {b for a, b in chains if a == numbers[part.part]}
        old |= {b for a, b in chains if a in old}
        supersedes |= {(part.part, f"~number/{number}") for number in old}
    compared = {
        (donor.part, other.part)
        for donor, other in itertools.permutations(parts, 2)
        if other.origin in ("host", "original")
        and any((donor.part, host) in takes and (other.part == host or (other.part, host) in takes) for host in origin)
    }
    platforms = {model.model: " ".join(model.platform.casefold().split()) for model in build.models if model.platform}
    return {
        "within": reach({part.part: {part.part_of} for part in parts if part.part_of}),
        "comparedWith": compared,
        "supersedes": supersedes,
        "samePartNumberAs": {
            (one.part, two.part)
            for one, two in itertools.permutations(parts, 2)
            if two.origin in ("host", "original") and numbers.get(one.part) == numbers.get(two.part) is not None
        },
        "replacesPart": {(a, b) for a, b in compared if b in numbers and (a, f"~number/{numbers[b]}") in supersedes},
        "olderThan": {(a, b) for a, b in compared if a in numbers and (b, f"~number/{numbers[a]}") in supersedes},
        "samePlatformAs": {
            (f"~model/{a}", f"~model/{b}")
            for a, b in itertools.permutations(platforms, 2)
            if platforms[a] == platforms[b]
        },
    }


@pytest.mark.parametrize("block", range(4))
def test_identity_rules_equal_plain_loops(block):
    for seed in SEEDS[block * 50 : block * 50 + 50]:
        build = family(seed)
        found = derived(build)
        for name, pairs in by_hand(build).items():
            assert found.get(name, set()) == pairs, (seed, name)


def test_duty_zones_and_evidence_equal_plain_loops():
    rank = {"trim": 1, "body": 2, "structural": 3, "restraint": 4}
    guarded = {"tear seam", "airbag door", "structural"}
    seen = set()
    for seed in SEEDS:
        build = family(seed)
        found = derived(build)
        takes = reach({part.part: {part.takes_place_of} for part in build.parts if part.takes_place_of})
        zones = {(zone.part, zone.zone): zone.kind for zone in build.zones}
        duties = {part.part: part.duty for part in build.parts}
        strictest = set()
        for part in build.parts:
            if part.origin != "donor":
                continue
            beside = [
                one
                for one in build.parts
                if one.origin == "original"
                and (
                    (part.part, one.part) in takes
                    or any((part.part, host) in takes and (one.part, host) in takes for host in duties)
                )
            ]
            own = [one.duty for one in (part, *beside) if one.duty]
            if own:
                strictest.add((part.part, f"duty-{max(own, key=rank.__getitem__)}"))
        assert found.get("strictestDuty", set()) == strictest, seed
        protected = set()
        for one in build.features:
            if one.zone and zones.get((one.part, one.zone), "tear seam") in guarded:
                protected.add((f"{one.part}/{one.feature}", f"{one.part}/~zone/{one.zone}"))
            if duties[one.part] in ("structural", "restraint"):
                protected.add((f"{one.part}/{one.feature}", f"duty-{duties[one.part]}"))
        assert found.get("protectedBy", set()) == protected, seed
        by_id = {part.part: part for part in build.parts}
        compared = found.get("comparedWith", set())
        for name, column in (("otherHandThan", "hand"), ("otherDriveThan", "drive")):
            expected = {
                (a, b)
                for a, b in compared
                if None not in (getattr(by_id[a], column), getattr(by_id[b], column))
                and getattr(by_id[a], column) != getattr(by_id[b], column)
            }
            assert found.get(name, set()) == expected, seed
        models = {model.model: model for model in build.models}
        alike = {
            (a, b)
            for a, b in compared
            if by_id[a].name and by_id[b].name and by_id[a].name.casefold().split() == by_id[b].name.casefold().split()
        }
        ours = {pair: tuple(by_id[one].model for one in pair) for pair in alike}
        shared = {(f"~model/{a}", f"~model/{b}") for a in models for b in models if a == b} | found.get(
            "samePlatformAs", set()
        )
        carried = {pair for pair, (a, b) in ours.items() if a and b and (f"~model/{a}", f"~model/{b}") in shared}
        assert found.get("carriedOverFrom", set()) == carried, seed
        assert found.get("looksLike", set()) == alike - carried, seed
        years = {
            (a, b)
            for a, b in compared
            if (one := models.get(by_id[a].model))
            and (two := models.get(by_id[b].model))
            and (
                (one.last_year and two.first_year and one.last_year < two.first_year)
                or (two.last_year and one.first_year and two.last_year < one.first_year)
            )
        }
        assert found.get("otherYearsThan", set()) == years, seed
        for name, likeness in (("picturedLike", "alike"), ("picturedUnlike", "different")):
            pictured = {(one.part, one.beside) for one in build.looks if one.looks == likeness}
            assert found.get(name, set()) == pictured & compared, seed
        seen |= {name for name, pairs in found.items() if pairs}
    assert {
        "strictestDuty",
        "protectedBy",
        "otherHandThan",
        "carriedOverFrom",
        "looksLike",
        "otherYearsThan",
        "standsInFor",
        "meantFor",
        "picturedLike",
        "picturedUnlike",
    } <= seen


def test_stands_in_and_meant_for_equal_plain_loops():
    for seed in SEEDS:
        build = family(seed)
        found = derived(build)
        measured = {one.part for one in build.features if one.x_mm is not None}
        origin = {part.part: part.origin for part in build.parts}
        places = {part.part: part.takes_place_of for part in build.parts}
        standing = {
            (f"{one.part}/{one.feature}", places[one.part])
            for one in build.features
            if origin[one.part] == "original" and places[one.part] and places[one.part] not in measured
        }
        assert found.get("standsInFor", set()) == standing, seed
        takes = reach({part: {place} for part, place in places.items() if place})
        meant = {
            (f"{one.part}/{one.feature}", f"{two.part}/{two.feature}")
            for one in build.features
            for two in build.features
            if one.goes_on == two.feature
            and one.part != two.part
            and origin[two.part] in ("host", "original")
            and any((one.part, host) in takes and (two.part == host or (two.part, host) in takes) for host in origin)
        }
        assert found.get("meantFor", set()) == meant, seed
        # Two go on the same fixing: both are meant for it, or one is it; or both say the same name.
        on: dict[str, set[str]] = {}
        for feature, fixing in meant:
            on.setdefault(feature, set()).add(fixing)
        sizes: dict[str, set[tuple[str, str]]] = {"sameSizeAs": set(), "otherSizeThan": set()}
        for one, two in itertools.permutations(build.features, 2):
            mine, theirs = (f"{side.part}/{side.feature}" for side in (one, two))
            same = on.get(mine, set()) & {theirs, *on.get(theirs, ())} or one.goes_on == two.goes_on is not None
            if same and one.kind == two.kind and None not in (one.across_mm, two.across_mm):
                name = "sameSizeAs" if abs(one.across_mm - two.across_mm) <= 0.3 else "otherSizeThan"
                sizes[name].add((one.part, two.part))
        for name, pairs in sizes.items():
            assert found.get(name, set()) == pairs & found.get("comparedWith", set()), seed


def pairs_of(triples, name: str) -> set[tuple[str, str]]:
    predicate = NS + name
    return {
        (str(subject).removeprefix(f"{HOME}/"), str(value).removeprefix(f"{HOME}/"))
        for subject, term, value in triples
        if str(term) == predicate
    }


def expected_of(triples, build: Build) -> dict[str, set[tuple[str, str]]]:
    """What the closure says, narrowed as the rules narrow it: to other things, hosts and originals, compared pairs."""
    standing = {part.part for part in build.parts if part.origin in ("host", "original")}
    compared = by_hand(build)["comparedWith"]
    return {
        "within": pairs_of(triples, "within"),
        "supersedes": pairs_of(triples, "supersedes"),
        "samePartNumberAs": {(a, b) for a, b in pairs_of(triples, "sharesNumberWith") if a != b and b in standing},
        "samePlatformAs": {(a, b) for a, b in pairs_of(triples, "sharesPlatformWith") if a != b},
        "replacesPart": pairs_of(triples, "supersedesPart") & compared,
    }


HOME = "https://w3id.org/partkin/id/build"


def lines_of(builds: dict[int, Build]) -> list[str]:
    """Identity triples of several families, each under a name of its own: they share nothing."""
    return [
        line.replace(f"{HOME}/", f"{HOME}{seed}/") for seed, build in builds.items() for line in identity_lines(build)
    ]


def own(triples, seed: int) -> list[tuple[str, str, str]]:
    """The triples of one of several families, under the name that it has alone."""
    name = f"{HOME}{seed}/"
    return [
        (str(one).replace(name, f"{HOME}/"), str(two), str(three).replace(name, f"{HOME}/"))
        for one, two, three in triples
        if str(one).startswith(name)
    ]


@pytest.mark.parametrize("start", [0, *(pytest.param(n, marks=pytest.mark.slow) for n in range(10, 200, 10))])
def test_the_owl_closure_derives_the_same_identities(start):
    # Ten families in one closure, so that the vocabulary is closed over once and not ten times.
    builds = {seed: family(seed) for seed in SEEDS[start : start + 10]}
    closed = list(closure(lines_of(builds)))
    for seed, build in builds.items():
        found = derived(build)
        for name, pairs in expected_of(own(closed, seed), build).items():
            assert found.get(name, set()) == pairs, (seed, name)


def test_a_second_reasoner_derives_the_same_assemblies():
    # It knows transitive properties, and no property chains: those it leaves to the test above.
    builds = {seed: family(seed) for seed in SEEDS}
    reasoner = reasonable.PyReasoner()
    text = axioms().serialize(format="nt") + "\n".join(lines_of(builds))
    reasoner.from_graph(rdflib.Graph().parse(data=text, format="nt"))
    closed = [triple for triple in reasoner.reason() if str(triple[1]) == NS + "within"]
    assert len(closed) > 200
    for seed, build in builds.items():
        assert derived(build).get("within", set()) == pairs_of(own(closed, seed), "within"), seed


def rings(*parts: Part) -> list[tuple[str, int, str]]:
    return [(one.column, one.row, one.what) for one in contradictions(Build(parts=parts))]


def test_no_contradiction_in_what_is_sound():
    assert contradictions(dashboard()) == ()
    for seed in (1, 2, 3):
        assert contradictions(family(seed)) == ()


def test_a_ring_of_numbers_is_a_contradiction():
    found = rings(
        Part("a", part_number="A-1", replaces=("B",), row=2),
        Part("b", part_number="B", replaces=("C",), row=3),
        Part("c", part_number="C", replaces=("a1",), row=4),
    )
    assert [(column, row) for column, row, _ in found] == [("replaces", 2), ("replaces", 3), ("replaces", 4)]
    assert "supersedes itself" in found[0][2]


def test_a_ring_of_assemblies_is_a_contradiction():
    found = rings(Part("a", part_of="b", row=2), Part("b", part_of="a", row=3), Part("c", part_of="a", row=4))
    assert [(column, row) for column, row, _ in found] == [("part_of", 2), ("part_of", 3)]


def test_a_part_on_two_sides_is_a_contradiction():
    from partkin.graph.closure import contradictions_of

    lines = identity_lines(dashboard())
    iri = "<https://w3id.org/partkin/id/an%20invented%20build/top-2>"
    assert contradictions_of(lines) == []
    found = contradictions_of([*lines, f"{iri} <{NS}origin> <{NS}origin-host> ."])
    assert [one[2] for one in found] == ["top-2 is of two kinds that exclude each other: donor part and host part"]
    number = f"<https://w3id.org/partkin/id/an%20invented%20build/~number/x102> <{NS}partOf> {iri} ."
    found = contradictions_of([*lines, number])
    assert [one[2] for one in found] == ["x102 is of two kinds that exclude each other: part and part number"]


@pytest.fixture
def counted(monkeypatch):
    from partkin.graph import closure as module

    runs = []
    whole = module.closure
    monkeypatch.setattr(module, "closure", lambda lines: runs.append(1) or whole(lines))
    return runs


def test_a_closure_is_remembered_under_what_went_in(tmp_path, monkeypatch, counted):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    ring = Build(parts=(Part("a", part_of="b"), Part("b", part_of="a")))
    first = contradictions(ring)
    assert first and contradictions(ring) == first and len(counted) == 1
    files = list((tmp_path / "partkin").iterdir())
    assert len(files) == 1
    contradictions(Build(parts=(Part("a", part_of="b"), Part("b", part_of="c"))))
    assert len(counted) == 2
    files[0].write_text('{"not": "ours"}')
    assert contradictions(ring) == first and len(counted) == 3


def test_a_cache_that_cannot_be_written_changes_nothing(tmp_path, monkeypatch, counted):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    ring = Build(parts=(Part("a", part_of="b"), Part("b", part_of="a")))
    assert contradictions(ring) == contradictions(ring) != ()
    assert len(counted) == 2
