"""record, positions, measure-next, photo, same-shape: readings in, places and the next reading out."""

from __future__ import annotations

import sys
from contextlib import closing
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import AsJson, Donor, Folder, ForHost, read_build, say_all
from partkin.model.problem import refused

if TYPE_CHECKING:
    from partkin.commands.recording import VerdictChange

Part = Annotated[str, Argument(metavar="PART", help="Id of the part.")]
Image = Annotated[Path, Argument(metavar="IMAGE", help="The photograph (JPEG, PNG, WEBP, TIFF or BMP).")]
Points = Annotated[
    Path, Option("--points", metavar="PICKS.csv", help="Picked points: columns feature, px, py (y down).")
]
ErrorPx = Annotated[float, Option("--error-px", metavar="PX", help="How exactly you picked, in pixels.")]
Camera = Annotated[
    str | None,
    Option("--camera", metavar="FX,FY,CX,CY,K1,K2,P1,P2,K3", help="The camera's calibration, as OpenCV gives it."),
]
Corrected = Annotated[bool, Option("--corrected", help="The picture is free of lens distortion already.")]


LeftOf = Annotated[
    tuple[str, str] | None,
    Option("--left-of", metavar="A B", help="The feature lies left of the line from A to B; no value."),
]
RightOf = Annotated[
    tuple[str, str] | None,
    Option("--right-of", metavar="A B", help="The feature lies right of the line from A to B; no value."),
]
Words = Annotated[
    list[str] | None,
    Argument(
        metavar="[[FROM [TO]] VALUE]",
        help='Features, then what was read: a f 612, a f "24 1/8 in", a 7,1 (across). The feature alone with --at, '
        "--angle, --left-of, --right-of, the feature or several with --through, --float; with --undo the reading, or "
        "none for the last.",
    ),
]
ReadQuantity = Annotated[
    str | None,
    Option(
        "--quantity", "-q", metavar="QUANTITY",
        help='centres (when left out), "near edges", "far edges", across, length, thickness, mass, gap.',
    ),
]  # fmt: skip
ReadIn = Annotated[
    str | None, Option("--unit", "-u", metavar="UNIT", help="mm, cm, m, in; kg, g, lb. Left out: mm, kg.")
]
ReadWith = Annotated[
    str | None,
    Option(
        "--instrument", "-i", metavar="INSTRUMENT",
        help='"steel rule", tape, caliper, template, photo or seller. Left out: counts as told by a seller.',
    ),
]  # fmt: skip
PlusMinus = Annotated[
    str | None, Option("--plus-minus", metavar="VALUE", help="Greatest error possible. Left out: the instrument's.")
]
At = Annotated[
    str | None, Option("--at", metavar="X,Y", help="Place of a feature without one, in the part's own frame.")
]
Through = Annotated[
    str | None,
    Option(
        "--through",
        metavar="THREAD",
        help="What goes through a hole, or through each of several: M6, or a plain bolt's diameter.",
    ),
]
Direction = Annotated[
    str | None, Option("--angle", metavar="DIRECTION", help="Which way a slot points: 30 degrees, or 'to FEATURE'.")
]
FloatOf = Annotated[
    str | None, Option("--float", metavar="MM", help="How far a captive nut can move from its middle, any way.")
]
ReadBy = Annotated[str | None, Option("--by", metavar="WHO", help="Who read it.")]
ReadOn = Annotated[str | None, Option("--on", metavar="DAY", help="The day, such as 2024-05-31.")]
Corrects = Annotated[str | None, Option("--corrects", metavar="READING", help="The reading that this one replaces.")]
ReadNote = Annotated[str | None, Option("--note", metavar="TEXT", help="Anything you like.")]
Undo = Annotated[bool, Option("--undo", help="Take back the last reading of PART, or the one named, by a later row.")]


class Face(StrEnum):
    """Which face of the part a picture shows."""

    outside = "outside"
    inside = "inside"


def record(
    part: Part, words: Words = None, quantity: ReadQuantity = None, unit: ReadIn = None, instrument: ReadWith = None,
    plus_minus: PlusMinus = None, at: At = None, through: Through = None, angle: Direction = None,
    float_mm: FloatOf = None, left_of: LeftOf = None, right_of: RightOf = None, by: ReadBy = None, on: ReadOn = None,
    corrects: Corrects = None, note: ReadNote = None, undo: Undo = False,
    folder: Folder = Path("."),
) -> None:  # fmt: skip
    """Take down a reading of PART: it is added to readings.csv, held against the others, and what it changes is said.

    Nothing is written over. A reading that the others contradict is taken down all the same, and said at once.
    What is wrong is corrected or taken back by a later row.

    Example: partkin record glove-dask k1 k4 208.5 --unit mm --instrument seller --in demo-build
    """
    from partkin.commands import recording
    from partkin.commands.progress import ProgressLine
    from partkin.readings.typed_cells import Typed
    from partkin.readings.typed_readings import TypedWords, named_to_undo, on_a_side

    typed = TypedWords(part, tuple(words or ()), quantity, unit, instrument, plus_minus, by, on, corrects, note)
    typed = on_a_side(typed, left_of, right_of)
    cells = Typed(at, through, angle, float_mm)
    if undo and cells:
        raise refused("record", 0, "undo", "--undo takes back readings alone", "Say it by itself")
    with closing(ProgressLine()) as line:
        if undo:
            found = recording.take_back(folder, part, named_to_undo(typed), line)
        elif cells:
            found = recording.fill_in(folder, typed, cells, line)
        else:
            found = recording.record(folder, typed, line)
    say_all(found.warnings, folder)
    typer.echo(found.says)
    if found.surprise is not None and found.reading is not None:
        typer.echo(f"LOOK: {found.surprise}")
        again = recording.correction_command(found.reading, folder.as_posix())
        typer.echo(f"      Look again, and take down what you see, the same or another: {again}")
    _say_changes(found.changes)


def _say_changes(changes: tuple[VerdictChange, ...]) -> None:
    from partkin.commands.recording import change_says

    for change in changes:
        typer.echo(change_says(change))


def positions(part: Part, folder: Folder = Path("."), as_json: AsJson = False) -> None:
    """Say where the features of PART are, how surely, which reading that rests on, and what does not agree.

    Example: partkin positions top-kurm --in demo-build
    """
    from partkin.readings import surveyed

    build = read_build(folder)
    found = surveyed.survey(build, part)
    typer.echo(surveyed.survey_json(found) if as_json else surveyed.survey_text(found), nl=False)


def measure_next(
    donor: Donor,
    folder: Folder = Path("."),
    host: ForHost = None,
    as_json: AsJson = False,
    for_seller: Annotated[
        bool, Option("--for-seller", help="Write the message to send: few questions, and a sketch.")
    ] = False,
    questions: Annotated[
        int, Option("--questions", metavar="N", min=1, max=12, help="With --for-seller: so many at most.")
    ] = 3,
    at_hand: Annotated[
        bool | None, Option("--at-hand/--far", help="Whether DONOR lies before you. Left out: told by its readings.")
    ] = None,
) -> None:
    """Say what to measure next on DONOR or its host: what settles the verdict soonest, and what each value means.

    Example: partkin measure-next glove-dask --in demo-build
    """
    from partkin.commands import asking_next

    build = read_build(folder)
    if as_json or not for_seller:
        found = asking_next.next_for(build, donor, host, at_hand)
        said = asking_next.next_json(found) if as_json else asking_next.next_text(found, folder.as_posix())
        typer.echo(said, nl=False)
        return
    from partkin.commands.seller_message import message_to_seller

    at = folder.as_posix()
    message, verdict = message_to_seller(build, donor, host, folder=at, most=questions, at_hand=at_hand)
    if message is None:
        typer.echo(f"{donor}: {verdict.verdict}; there is nothing to ask a seller.")
        return
    typer.echo(message.text, nl=False)
    for note in message.notes:
        print(note, file=sys.stderr)


def photo(
    part: Part,
    image: Image,
    points: Points,
    rectangle: Annotated[
        str | None,
        Option(
            "--rectangle", metavar="W,H,C1,C2,C3,C4", help="A rectangle in the picture: mm, and its corners in order."
        ),
    ] = None,
    known: Annotated[
        str | None, Option("--known", metavar="A,B,C,D", help="Four or more picked features whose places are known.")
    ] = None,
    scale: Annotated[
        str | None, Option("--scale", metavar="A,B,MM", help="Two picked points and their distance; picture square on.")
    ] = None,
    camera: Camera = None,
    corrected: Corrected = False,
    error_px: ErrorPx = 1.5,
    places: Annotated[
        bool, Option("--places", help="Fill in places of features without one, in place of readings.")
    ] = False,
    folder: Folder = Path("."),
) -> None:
    """Turn points picked in a photograph of PART's flat face into readings.

    Only picked points and the picture's size are used; where and when it was taken is never looked at.

    Example: partkin photo glove-dask glove.jpg --points picks.csv --rectangle 297,210,p1,p2,p3,p4
    """
    from partkin.commands import photographs
    from partkin.commands.progress import ProgressLine
    from partkin.commands.recording import reading_in_words
    from partkin.readings.photographed import PhotoQuestion

    asked = PhotoQuestion(part, image, points, rectangle, known, scale, camera, corrected, error_px, places)
    with closing(ProgressLine()) as line:
        found = photographs.photograph(folder, asked, line)
    for reading in found.readings:
        typer.echo(f"recorded {reading.reading} of {part}: {reading_in_words(reading)}")
    for name in found.placed:
        typer.echo(f"wrote the place of {name} of {part} into features.csv")
    for note in (*(f"LOOK: {doubt}" for doubt in found.doubts), *found.notes):
        typer.echo(note)
    _say_changes(found.changes)


def same_shape(
    part: Annotated[str, Argument(metavar="PART", help="Id of the host, or of a donor that takes its place.")],
    image: Image,
    points: Points,
    face: Annotated[Face | None, Option("--face", help="Which face of the part the picture shows.")] = None,
    play: Annotated[
        float, Option("--play", metavar="MM", help="How far a hole may be off and still go on, where not known.")
    ] = 2.0,
    camera: Camera = None,
    corrected: Corrected = False,
    error_px: ErrorPx = 1.5,
    keep: Annotated[
        bool, Option("--keep", help="Add the answer to looks.csv, where why and check count it as evidence.")
    ] = False,
    on: Annotated[str | None, Option("--on", metavar="YYYY-MM-DD", help="The day, with --keep.")] = None,
    folder: Folder = Path("."),
    as_json: AsJson = False,
) -> None:
    """Hold a listing's photograph against the host's fixings: different, or alike but for the size.

    No scale is needed. Five or more points of one flat face; their names may be those of the fixings, or any.
    It never decides alone: a picture does not tell the size, and points can be picked wrong.

    Example: partkin same-shape top-dask listing.jpg --points picks.csv --in demo-build
    """
    from partkin.commands import same_shape as shape
    from partkin.sheets import append_all

    build = read_build(folder)
    shown = face.value if face is not None else None
    asked = shape.ShapeQuestion(part, image, points, shown, play, error_px, camera, corrected)
    found = shape.compare(build, asked)
    row = shape.row_to_keep(found, asked, on) if keep else None
    typer.echo(shape.compared_json(found) if as_json else shape.compared_text(found, folder.as_posix()), nl=False)
    if row is not None:
        append_all(folder, {"looks.csv": (row,)})
    if keep:
        kept = f"kept in looks.csv: {row['looks']}" if row is not None else "nothing kept: the picture does not tell"
        typer.echo(kept, err=True)
