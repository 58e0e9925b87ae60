"""report, template, plot, outline, page: what can be looked at, laid on the part and worked on."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import Folder, read_build, say_all
from partkin.model.problem import refuse_any, refused

if TYPE_CHECKING:
    from partkin.model.build import Build


class Paper(StrEnum):
    """Sheets that a printer takes."""

    a4 = "A4"
    a3 = "A3"
    letter = "Letter"


class Drawing(StrEnum):
    """How a template is written."""

    pdf = "pdf"
    svg = "svg"
    dxf = "dxf"


class Kind(StrEnum):
    """What a plot shows."""

    pattern = "pattern"
    margins = "margins"
    chance = "chance"
    calibration = "calibration"


class Unit(StrEnum):
    """Units of a drawing."""

    mm = "mm"
    cm = "cm"
    m = "m"
    inch = "in"


def report(
    donors: Annotated[
        list[str] | None, Argument(metavar="[DONOR]...", help="Only these, in this order; else every donor.")
    ] = None,
    folder: Folder = Path("."),
    to: Annotated[Path, Option("-o", metavar="FILE", help="Where to write it.")] = Path("report.html"),
) -> None:
    """Write one HTML file: the options side by side, and each donor with its drawing, reasons and readings.

    Ctrl-C ends it early and keeps what was checked by then.

    Example: partkin report --in demo-build -o report.html
    """
    from partkin.commands import seeing
    from partkin.commands.progress import ProgressLine, Work
    from partkin.report.html import report_html
    from partkin.sheets import refuse_onto_a_build, write_text

    refuse_onto_a_build(to, folder)
    build = read_build(folder)
    chosen = _known_donors(build, donors) if donors else seeing.donors_of(build)
    line = ProgressLine()
    work = Work("donors", len(chosen), line)
    view = seeing.report_of(build, chosen, work)
    line.close()
    write_text(to, report_html(view), folder)
    count = len(view.verdicts)
    typer.echo(f"wrote {to.as_posix()}: {count} donor{'' if count == 1 else 's'}")
    for note in view.notes:
        print(note, file=sys.stderr)
    if work.stopping:
        raise typer.Exit(1)


def _known_donors(build: Build, donors: list[str]) -> tuple[str, ...]:
    refuse_any(build.lacking(donors))
    return tuple(dict.fromkeys(donors))


def template(
    donor: Annotated[str, Argument(metavar="PART", help="Id of a donor, or of any part that has places.")],
    folder: Folder = Path("."),
    paper: Annotated[Paper, Option("--paper", help="Sheets of the PDF.")] = Paper.a4,
    printer: Annotated[
        str, Option("--printer", metavar="ACROSS,UP", help="What the printer makes of 1 mm: 0.993,1.002.")
    ] = "1,1",
    shape: Annotated[
        Drawing | None, Option("--format", help="pdf, svg or dxf; else by the ending of FILE, or pdf.")
    ] = None,
    to: Annotated[Path | None, Option("-o", metavar="FILE", help="Where to write it.")] = None,
    turned_over: Annotated[bool, Option("--turned-over", help="Draw it as seen from the other face.")] = False,
) -> None:
    """Write a drilling and check template at true size, to be laid on the part.

    Example: partkin template top-dask --in demo-build -o top-dask.pdf
    """
    from partkin.commands import seeing
    from partkin.sheets import write_bytes

    scales, wanted = _scales(printer), _kind_of(shape, to)
    build = read_build(folder)
    view = seeing.template_of(build, donor, turned_over)
    if wanted is Drawing.pdf:
        from partkin.drawing.template_pdf import template_pdf

        content = template_pdf(view, paper.value, scales)
    elif wanted is Drawing.dxf:
        from partkin.drawing.template_dxf import template_dxf

        content = template_dxf(view)
    else:
        from partkin.drawing.template import template_svg

        content = template_svg(view).encode()
    path = to or Path(f"{donor}-template.{wanted.value}")
    write_bytes(path, content, folder)
    typer.echo(f"wrote {path.as_posix()}")
    if wanted is Drawing.pdf:
        typer.echo("Print at 100 %, not fitted to the page; then measure both rules of 100 mm on a sheet.")


def _kind_of(shape: Drawing | None, to: Path | None) -> Drawing:
    """What is written: as asked for, else by the ending of the file; the two must not contradict each other."""
    if to is None:
        return shape or Drawing.pdf
    ending = to.suffix.lower().lstrip(".")
    if ending not in tuple(Drawing) or shape not in (None, ending):
        wanted = f".{shape.value}" if shape else ".pdf, .svg or .dxf"
        raise refused("template", 0, "-o", f"{to.name} does not end in {wanted}", "Name it so")
    return Drawing(ending)


def _scales(text: str) -> tuple[float, float]:
    try:
        across, up = (float(number) for number in text.split(","))
    except ValueError:
        mend = "Give two numbers, such as 0.993,1.002"
        raise refused("template", 0, "printer", f"{text!r} is not two numbers", mend) from None
    return across, up


def plot(
    kind: Annotated[Kind, Argument(metavar="KIND", help="pattern, margins, chance or calibration.")],
    donor: Annotated[
        str | None, Argument(metavar="[PART]", help="Id of a part; calibration is of the whole build.")
    ] = None,
    folder: Folder = Path("."),
    to: Annotated[Path | None, Option("-o", metavar="FILE", help="An .svg or .png file.")] = None,
) -> None:
    """Draw a pattern, a donor's margins, its chance against the next reading, or how the chances have fared.

    Example: partkin plot margins top-dask --in demo-build -o margins.svg
    """
    from partkin.commands import seeing
    from partkin.drawing.svg import picture_svg
    from partkin.sheets import write_bytes, write_text

    build = read_build(folder)
    if donor is None and kind is not Kind.calibration:
        raise refused("plot", 0, "PART", "of which part is not said", f"Say it: partkin plot {kind.value} PART")
    path = to or Path(f"{donor + '-' if donor else ''}{kind.value}.svg")
    if path.suffix.lower() not in (".svg", ".png"):
        raise refused("plot", 0, "-o", f"{path.name} is neither .svg nor .png", "Name it so")
    picture = seeing.PLOTS[kind.value](build, donor or "")
    if path.suffix.lower() == ".png":
        from partkin.drawing.raster import picture_png

        write_bytes(path, picture_png(picture), folder)
    else:
        write_text(path, picture_svg(picture, bounded=True) + "\n", folder)
    typer.echo(f"wrote {path.as_posix()}")


def outline(
    file: Annotated[Path, Argument(metavar="DRAWING", help="A DXF (as text) or SVG file.")],
    part: Annotated[str, Option("--part", metavar="PART", help="Id of the part that is drawn.")],
    folder: Folder = Path("."),
    unit: Annotated[Unit | None, Option("--unit", help="mm, cm, m or in; needed where the file does not say.")] = None,
    layers: Annotated[
        list[str] | None, Option("--layer", metavar="LAYER", help="Read only this layer; may come again.")
    ] = None,
    plus_minus_mm: Annotated[
        float | None, Option("--plus-minus", metavar="MM", min=0.0, help="How far its places may be out.")
    ] = None,
    sure: Annotated[bool, Option("--yes", help="Add them without asking.")] = False,
) -> None:
    """Add what a drawing has to the sheets of a part, and move what they know already, after showing it.

    Example: partkin outline top.dxf --part top-dask --layer holes --in demo-build
    """
    from partkin.commands import outlining

    build = read_build(folder)
    found = outlining.read_drawing(build, file, part, unit.value if unit else None, layers or ())
    say_all(found.warnings, folder)
    typer.echo(outlining.shown(build, found), nl=False)
    if not found.adds:
        typer.echo("Nothing differs; nothing was changed.")
        return
    if not sure and not (sys.stdin.isatty() and typer.confirm("Add these to the sheets?")):
        typer.echo("Nothing was changed; --yes adds them.")
        return
    outlining.add(folder, found, plus_minus_mm)
    counts = f"{len(found.features)} to features.csv, {len(found.outlines)} to outlines.csv"
    if found.moved or found.lines or found.zones:
        counts += f"; changed {len(found.moved)} rows of features.csv, {len(found.lines)} lines of outlines.csv"
        counts += f" and {len(found.zones)} zones of zones.csv"
    typer.echo(f"Added {counts}. Measure one hole, whatever the file says.")


def page(
    folder: Folder = Path("."),
    port: Annotated[int, Option("--port", min=0, max=65535, help="Port on this machine; 0: any that is free.")] = 0,
) -> None:
    """Open a page on this machine alone: the build, readings, photographs, a donor moved by hand.

    Example: partkin page --in demo-build
    """
    from partkin.page import serve

    serve(folder, port)
