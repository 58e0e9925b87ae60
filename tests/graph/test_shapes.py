"""The shapes and the sheet reader accept and refuse the same examples, at the same cell."""

import csv
import shutil
from dataclasses import replace
from decimal import Decimal

import pytest
import rdflib
from rdflib.collection import Collection

from partkin.graph import export_turtle, validate
from partkin.graph.names import full
from partkin.graph.shapes import check_graph, shapes_graph
from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.columns import SHEETS, Column
from partkin.model.problem import Problem
from partkin.sheets.loading import load
from partkin.tables.reader import shipped

EXAMPLES = shipped("ontology") / "examples"
VALID = sorted((EXAMPLES / "valid").glob("*.ttl"))
INVALID = sorted(path for path in (EXAMPLES / "invalid").iterdir() if path.is_dir())
# The same id twice is one thing with two of everything in a graph: which row is the second cannot be told there.
TWICE = ("feature-twice", "part-twice")


def places(problems) -> set[tuple[str, int, str]]:
    return {(one.sheet, one.row, one.column) for one in problems}


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.stem)
def test_a_valid_example_passes_both_and_is_the_same_build(path):
    loaded = load(path.with_suffix(""))
    assert loaded.problems == () and loaded.warnings == ()
    assert check_graph(rdflib.Graph().parse(path)) == ()
    assert validate(loaded.build) == ()
    assert export_turtle(loaded.build) == path.read_text(encoding="utf-8")


def test_there_are_examples_enough():
    assert len(VALID) >= 2 and len(INVALID) >= 40
    sheets = {path.name for folder in INVALID for path in folder.glob("*.csv")}
    assert len(sheets) == 13


ROW = rdflib.URIRef("https://w3id.org/partkin/ns#row")
BUILD = rdflib.URIRef("https://w3id.org/partkin/ns#Build")


@pytest.fixture(scope="module")
def shaped() -> dict[str, list[Problem]]:
    """What the shapes say of each invalid example.

    All go through the shapes as one graph, each under a name of its own and with its rows moved to a thousand of
    its own: taken one by one, each would have every query of the shapes read anew.
    """
    whole = rdflib.Graph()
    found: dict[str, list[Problem]] = {}
    for place, folder in enumerate(INVALID):
        text = (folder / "same.ttl").read_text(encoding="utf-8")
        graph = rdflib.Graph().parse(data=text.replace("/id/example", f"/id/example{place}"), format="turtle")
        if "NaN" in text:
            found[folder.name] = list(check_graph(graph))
            continue
        for subject, row in list(graph.subject_objects(ROW)):
            graph.remove((subject, ROW, row))
            graph.add((subject, ROW, rdflib.Literal(int(row) + 1000 * place)))
        if place:
            graph.remove((None, rdflib.RDF.type, BUILD))
        whole += graph
    for problem in check_graph(whole):
        name = INVALID[problem.row // 1000].name
        found.setdefault(name, []).append(replace(problem, row=problem.row % 1000))
    return found


@pytest.mark.parametrize("folder", INVALID, ids=lambda folder: folder.name)
def test_an_invalid_example_is_refused_by_both_at_the_same_cell(folder, shaped):
    loaded = load(folder)
    told = shaped[folder.name]
    assert loaded.build is None and loaded.problems and told
    assert not any(one.warning for one in told)
    if folder.name in TWICE:
        assert {one.sheet for one in loaded.problems} <= {one.sheet for one in told}
    else:
        assert places(loaded.problems) <= places(told)
        # No more is found fault with than what is at fault: a ring at each of its members, no other column.
        assert {(one.sheet, one.column) for one in told} == {(one.sheet, one.column) for one in loaded.problems}


@pytest.mark.parametrize("name", ["supersession-ring", "unknown-kind", "feature-of-no-part"])
def test_an_example_alone_is_refused_as_it_is_among_the_others(name, shaped):
    alone = check_graph(rdflib.Graph().parse(EXAMPLES / "invalid" / name / "same.ttl"))
    assert list(alone) == shaped[name]


def cells(path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return [{name: value for name, value in row.items() if value} for row in csv.DictReader(file)]


@pytest.mark.parametrize("folder", INVALID, ids=lambda folder: folder.name)
def test_an_invalid_example_differs_from_a_valid_one_in_a_few_cells(folder):
    differ = 0
    for path in folder.glob("*.csv"):
        whole, ours = cells(EXAMPLES / "valid" / "every-sheet" / path.name), cells(path)
        differ += len(whole) - len(ours)
        for valid, row in zip(whole, ours, strict=False):
            differ += sum(valid.get(name) != row.get(name) for name in {*valid, *row} - {"zone"})
    assert 1 <= differ <= 5


def test_a_fault_names_its_row_and_how_to_mend_it():
    problems = check_graph(rdflib.Graph().parse(EXAMPLES / "invalid" / "slot-shorter-than-wide" / "same.ttl"))
    assert [str(one) for one in problems] == [
        "features.csv:6:length_mm: the slot is shorter than it is wide. "
        "Give its overall length end to end, which is at least its width"
    ]


def test_without_rows_the_thing_is_named():
    build = Build(parts=(Part("a", duty="trim"),), features=(Feature("a", "x", "hole", across_mm=-1.0),))
    problems = validate(build)
    assert [(one.sheet, one.row, one.column) for one in problems] == [("features.csv", 0, "across_mm")]
    assert "(a/x)" in problems[0].what


def test_several_faults_come_at_once_in_sheet_order():
    build = Build(
        parts=(Part("b", duty="hard", row=3), Part("a", mass_kg=-1.0, row=2)),
        features=(Feature("a", "x", "hole", x_mm=1.0, row=2),),
    )
    assert places(validate(build)) == {
        ("parts.csv", 2, "mass_kg"),
        ("parts.csv", 3, "duty"),
        ("features.csv", 2, "y_mm"),
    }
    assert [one.row for one in validate(build)] == [2, 3, 2]


BOUNDED = [
    (sheet, column)
    for sheet in SHEETS
    for column in sheet.terms
    if column.least in (0.0, 1) or column.above is not None or column.most == 1.0
]


def past(column: Column, at: str) -> float:
    """A number that the column does not allow, or the one that it just does."""
    if column.above is not None:
        return column.above if at == "below" else 1.0
    step = 1 if column.holds == "integer" else 0.5
    return column.most + step if at == "above" else column.least - (step if at == "below" else 0)


@pytest.mark.parametrize("at", ["below", "above", "on it"])
def test_the_shapes_hold_every_number_to_the_bound_of_its_column(at):
    """A gap, a flex or a price below zero is refused in a graph as it is in a sheet; the bound itself is let by.

    A bound of a column is one that the sheet reader keeps (tests/sheets/test_faults.py): all are broken at once here.
    """
    whole = load(EXAMPLES / "valid" / "every-sheet").build
    wanted = [(sheet, column) for sheet, column in BOUNDED if at != "above" or column.most == 1.0]
    assert len(wanted) >= (1 if at == "above" else 17)
    for sheet, column in wanted:
        rows = getattr(whole, sheet.attribute)
        changed = replace(rows[-1], **{column.attribute: past(column, at)})
        whole = replace(whole, **{sheet.attribute: (*rows[:-1], changed)})
    told = {(one.sheet, one.column) for one in validate(whole)}
    cells = {(sheet.name, column.name) for sheet, column in wanted}
    # The last feature is a hole, which has no float at all.
    assert told & cells == ({("features.csv", "float_mm")} if at == "on it" else cells)


def test_a_number_that_is_none_is_told_before_the_shapes_compare_it():
    graph = rdflib.Graph().parse(EXAMPLES / "valid" / "three-sheets.ttl")
    part = next(graph.subjects(rdflib.RDF.type, rdflib.URIRef("https://w3id.org/partkin/ns#Part")))
    for text in ("NaN", "INF", "1e5", "abc", ""):
        graph.set(
            (
                part,
                rdflib.URIRef("https://w3id.org/partkin/ns#massKg"),
                rdflib.Literal(text, datatype=rdflib.XSD.decimal, normalize=False),
            )
        )
        assert [one.column for one in check_graph(graph)] == ["mass_kg"], text


def test_the_demo_build_passes(tmp_path):
    shutil.copytree(shipped("data") / "demo", tmp_path / "demo")
    loaded = load(tmp_path / "demo")
    assert loaded.problems == ()
    assert validate(loaded.build) == ()


def another(value: rdflib.term.Node, column: Column) -> rdflib.term.Node:
    """A second value of the same kind, which is not at fault in itself."""
    endings = sorted((word.replace(" ", "-") for word in column.words), key=len, reverse=True)
    own = (
        next((one for one in endings if value.endswith(f"-{one}")), None) if isinstance(value, rdflib.URIRef) else None
    )
    if own is not None:
        return rdflib.URIRef(value.removesuffix(own) + next(one for one in endings if one != own))
    if isinstance(value, rdflib.Literal) and value.datatype == rdflib.XSD.boolean:
        return rdflib.Literal(not value.value)
    if isinstance(value, rdflib.Literal) and value.datatype == rdflib.XSD.date:
        return rdflib.Literal("2001-01-01", datatype=rdflib.XSD.date)
    if isinstance(value, rdflib.Literal):
        return rdflib.Literal(f"{value}1", datatype=value.datatype)
    return rdflib.URIRef(f"{value}1")


# What a sheet has in a cell with something else.
CELL_OF = {"line_from": "to", "line_to": "to", "angle_to": "angle_deg"}


def two_of(column: Column, graph: rdflib.Graph) -> list[rdflib.term.Node]:
    """Two values of a column of which the example has none."""
    if column.holds == "word":
        shapes = rdflib.Graph()
        for path in sorted((shipped("ontology") / "shapes").glob("*.ttl")):
            shapes.parse(path)
        of_it = shapes.subjects(rdflib.SH.path, rdflib.URIRef(full(column.term)))
        return list(Collection(shapes, next(shapes.value(one, rdflib.SH["in"]) for one in of_it)))[:2]
    if column.holds in ("decimal", "boolean"):
        texts = ("1.5", "2.5") if column.holds == "decimal" else ("true", "false")
        return [rdflib.Literal(text, datatype=rdflib.XSD[column.holds]) for text in texts]
    if column.holds == "text":
        return [rdflib.Literal("a"), rdflib.Literal("b")]
    kind = {"feature": "partkin:Feature", "part": "partkin:Part"}[column.holds]
    return sorted(graph.subjects(rdflib.RDF.type, rdflib.URIRef(full(kind))))[-2:]


def test_no_column_may_be_said_twice_of_one_thing():
    graph = rdflib.Graph().parse(EXAMPLES / "valid" / "every-sheet.ttl")
    more, wanted = [], set()
    for sheet in SHEETS:
        for column in sheet.terms:
            if column.holds in ("corners", "numbers", "cautions", "behind", "axis", "id", "platform"):
                continue
            term, wanted = (
                rdflib.URIRef(full(column.term)),
                wanted | {(sheet.name, CELL_OF.get(column.name, column.name))},
            )
            things = sorted(graph.subjects(rdflib.RDF.type, rdflib.URIRef(full(sheet.rdf_class))))
            said = [(thing, value) for thing in things if (value := graph.value(thing, term)) is not None]
            more += [(thing, term, another(value, column)) for thing, value in said]
            more += [] if said else [(things[0], term, value) for value in two_of(column, graph)]
    for triple in more:
        graph.add(triple)
    told = {(one.sheet, one.column) for one in check_graph(graph)}
    assert len(wanted) > 60 and wanted - told == set()


def test_every_number_date_and_yes_is_held_to_its_datatype():
    """A text in its place is refused, whatever its bounds are."""
    graph = rdflib.Graph().parse(EXAMPLES / "valid" / "every-sheet.ttl")
    wanted = set()
    for sheet in SHEETS:
        for column in sheet.terms:
            if column.holds in ("decimal", "integer", "boolean", "date"):
                thing = max(graph.subjects(rdflib.RDF.type, rdflib.URIRef(full(sheet.rdf_class))))
                graph.set((thing, rdflib.URIRef(full(column.term)), rdflib.Literal("abc")))
                wanted.add((sheet.name, column.name))
    told = {(one.sheet, one.column) for one in check_graph(graph)}
    assert len(wanted) > 30 and wanted - told == set()


def messages(term: rdflib.URIRef) -> tuple[str, ...]:
    """What the shapes of one property say; not what queries say at the same cell."""
    shapes = shapes_graph()
    return tuple(str(shapes.value(one, rdflib.SH.message)) for one in shapes.subjects(rdflib.SH.path, term))


def not_told(graph: rdflib.Graph, wanted: set[tuple[str, rdflib.URIRef]]) -> set[tuple[str, rdflib.URIRef]]:
    """Of (sheet, property) those of which no shape of that property finds fault."""
    told = {(one.sheet, one.what) for one in check_graph(graph)}
    return {
        (sheet, term) for sheet, term in wanted
        if not any(own == sheet and says.startswith(messages(term)) for own, says in told)
    }  # fmt: skip


ROW_AND_ORDER = ("partkin:row", "partkin:order")
# A value that compares, or reads, as one that is right, and is of another kind.
ALMOST = {
    "decimal": rdflib.Literal("1.5", datatype=rdflib.XSD.double), "integer": rdflib.Literal(Decimal("2.5")),
    "boolean": rdflib.Literal(1), "date": rdflib.Literal("2001-01-01"),
    "text": rdflib.Literal(7), "id": rdflib.Literal(7),
    "part": rdflib.URIRef("https://example.org/a-thing"), "model": rdflib.URIRef("https://example.org/a-thing"),
    "word": rdflib.Literal("a word"),
}  # fmt: skip


def always(column: Column) -> bool:
    """Whether a graph says it of everything: what a sheet has to say, and one thing that it need not."""
    return column.name == "count" or (column.needed and not column.may_be_empty)


# Texts of which a number is one too.
ANY_TEXT = ("maker", "seller", "keyedAs", "tool", "place", "thread", "name")


@pytest.mark.parametrize("fault", ["almost", "left out", "said twice"])
def test_each_property_is_held_by_its_own_shape(fault):
    """Whatever queries find fault with besides: no clause of it is left to them."""
    graph = rdflib.Graph().parse(EXAMPLES / "valid" / "every-sheet.ttl")
    wanted, parts = set(), sorted(graph.subjects(rdflib.RDF.type, rdflib.URIRef(full("partkin:Part"))))
    for sheet in SHEETS:
        thing = max(graph.subjects(rdflib.RDF.type, rdflib.URIRef(full(sheet.rdf_class))))
        for column in sheet.terms:
            term = rdflib.URIRef(full(column.term))
            value = graph.value(thing, term)
            free = column.loosely or (sheet.name != "parts.csv" and column.term.split(":")[1] in ANY_TEXT)
            if fault == "almost" and column.holds in ALMOST and not free:
                graph.set((thing, term, ALMOST[column.holds]))
            elif fault == "left out" and value is not None and always(column):
                graph.remove((thing, term, None))
            elif fault == "said twice" and column.holds in ("decimal", "integer", "text", "id") and value is not None:
                graph.add((thing, term, another(value, column)))
            elif fault == "said twice" and column.holds == "part" and value in parts:
                graph.add((thing, term, next(part for part in parts if part not in (value, thing))))
            else:
                continue
            wanted.add((sheet.name, term))
    part = parts[-1]
    for name in ROW_AND_ORDER:
        term = rdflib.URIRef(full(name))
        if fault == "almost":
            graph.set((part, term, rdflib.Literal(Decimal("2.5"))))
        elif fault == "said twice":
            graph.add((part, term, rdflib.Literal(77)))
        else:
            graph.set((part, term, rdflib.Literal(0)))
        wanted.add(("parts.csv", term))
    assert len(wanted) > {"almost": 60, "left out": 20, "said twice": 40}[fault]
    assert not_told(graph, wanted) == set()


LENGTH = {"value": 9.0, "unit": "mm"}
LINE = {"line_from": "a", "line_to": "b"}


def test_each_fault_of_a_reading_is_told_by_its_own_query():
    """One reading for each, all at once; beside them those that are right."""
    faults = [
        ("", "centres", {"from_feature": "a", "to_feature": "b", **LENGTH}),
        ("", "left of", {"from_feature": "c", **LINE}), ("", "mass", {"value": 2.0, "unit": "kg"}),
        ("", "gap", {"from_feature": "a", "to_feature": "x", "value": 0.0, "unit": "mm"}),
        ("value is empty", "across", {"from_feature": "a", "unit": "mm"}),
        ("unit is empty", "across", {"from_feature": "a", "value": 9.0}),
        ("left of and right of have no value", "right of", {"from_feature": "c", **LINE, "value": 3.0}),
        ("left of and right of have no unit", "left of", {"from_feature": "c", **LINE, "unit": "mm"}),
        ("it is told of a line through two features", "left of", {"from_feature": "c", "line_from": "a"}),
        ("it is told of a line through two features", "across", {"from_feature": "c", **LINE, **LENGTH}),
        ("it needs three different features", "left of", {"from_feature": "b", **LINE}),
        ("the part has no such feature as to says", "left of", {"from_feature": "c", "line_from": "a", "line_to": "x"}),
        ("the part has no such feature as to says", "centres", {"from_feature": "a", "to_feature": "x", **LENGTH}),
        ("the part has no such feature as from says", "far edges", {"from_feature": "x", "to_feature": "a", **LENGTH}),
        ("the part has no such feature as from says", "right of", {"from_feature": "x", **LINE}),
        ("a reading of 0 cannot be", "across", {"from_feature": "a", "value": 0.0, "unit": "mm"}),
        ("the unit does not belong to the quantity", "mass", LENGTH),
        ("the unit does not belong to the quantity", "thickness", {"value": 2.0, "unit": "lb"}),
        *(("it is of a feature, and from is empty", quantity, LENGTH) for quantity in ("across", "length")),
        *(("it is of a feature, and from is empty", side, LINE) for side in ("left of", "right of")),
        *(
            (says, quantity, {**ends, **LENGTH})
            for quantity in ("centres", "near edges", "far edges")
            for says, ends in (
                ("it is of a feature, and from is empty", {"to_feature": "a"}),
                ("it is read between two features, and to is empty", {"from_feature": "a"}),
                ("from and to are the same feature", {"from_feature": "a", "to_feature": "a"}),
            )
        ),
        *(
            ("it is not read between two features, and to is filled", quantity, {**at, "to_feature": "b", **LENGTH})
            for quantity, at in [("across", {"from_feature": "a"}), ("length", {"from_feature": "s"}), ("mass", {})]
        ),
        ("a length was read of something that is not a slot", "length", {"from_feature": "a", **LENGTH}),
        ("it withdraws a reading, and corrects does not say which", "withdrawn", {}),
        ("a row that withdraws a reading says something else besides", "withdrawn", {"corrects": "r2", "unit": "mm"}),
    ]  # fmt: skip
    spots = [Feature("p", name, "hole", across_mm=7.0, x_mm=float(n), y_mm=9.0 * n * n) for n, name in enumerate("abc")]
    slot = Feature("p", "s", "slot", across_mm=7.0, length_mm=12.0, x_mm=50.0, y_mm=3.0)
    rows = [
        Reading("p", f"r{n}", quantity, **{"value": None, "unit": None, **cells}, row=n)
        for n, (_, quantity, cells) in enumerate(faults, start=2)
    ]
    told = {}
    for one in validate(Build(parts=(Part("p"),), features=(*spots, slot), readings=tuple(rows))):
        assert one.sheet == "readings.csv"
        told.setdefault(one.row, []).append(one.what)
    for row, (says, quantity, cells) in enumerate(faults, start=2):
        found = told.get(row, [])
        assert bool(found) == bool(says), (quantity, cells, found)
        assert says in ("", *(what[: len(says)] for what in found)), (quantity, cells, found)


ANGLE, FAULT = rdflib.URIRef(full("partkin:angleDeg")), {("features.csv", "angle_deg")}


def test_a_slot_points_at_a_feature_of_its_own_part():
    """In a sheet nothing else can be said; a graph may name any thing."""
    graph = rdflib.Graph().parse(EXAMPLES / "valid" / "every-sheet.ttl")
    term, of = (rdflib.URIRef(full(f"partkin:{name}")) for name in ("pointsAt", "ofPart"))
    features = list(graph.subject_objects(of))
    slot, part = next((one, part) for one, part in features if (one, ANGLE, None) in graph)
    graph.remove((slot, ANGLE, None))
    beside, elsewhere = (
        [one for one, its in features if (its == part) is own and one != slot] for own in (True, False)
    )
    for other, faults in ((beside[0], set()), (slot, FAULT), (elsewhere[0], FAULT)):
        graph.set((slot, term, other))
        assert {(one.sheet, one.column) for one in check_graph(graph)} == faults
