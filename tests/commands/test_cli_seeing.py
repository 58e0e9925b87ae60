"""report, template, plot, outline and page as they are typed, once right and once wrong."""

from __future__ import annotations

import io
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import httpx
import pytest
from PIL import Image

from partkin.cli.app import run
from partkin.commands import seeing
from partkin.commands.demonstration import write

COMMAND = str(Path(sys.executable).with_name("partkin"))


@pytest.fixture
def where(tmp_path, monkeypatch):
    write(tmp_path / "demo")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def typed(monkeypatch, capsys):
    def type_in(line: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["partkin", *line.split()])
        code = 0
        try:
            run()
        except SystemExit as end:
            code = end.code or 0
        said = capsys.readouterr()
        return code, said.out, said.err

    return type_in


def test_report(where, typed):
    code, out, err = typed("report --in demo -o there.html")
    assert (code, out, err) == (0, "wrote there.html: 5 donors\n", "")
    assert (where / "there.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert typed("report top-dask top-kurm --in demo")[1] == "wrote report.html: 2 donors\n"
    text = (where / "report.html").read_text(encoding="utf-8")
    headings = re.findall(r'<h2 id="d\d">(.*?)</h2>', text)
    assert ["top-dask" in headings[0], "top-kurm" in headings[1]] == [True, True], "in the order that was typed"


def test_report_of_nobody_and_of_faulty_sheets(where, typed):
    code, out, err = typed("report nobody --in demo")
    assert code == 2 and "there is no part 'nobody'" in err and not (where / "report.html").exists()
    sheet = where / "demo" / "parts.csv"
    sheet.write_text(sheet.read_text().replace("donor,dash-frame", "doner,dash-frame"))
    code, out, err = typed("report --in demo")
    assert code == 2 and "doner" in err and out == "" and not (where / "report.html").exists()


def test_a_report_that_is_interrupted_keeps_what_was_checked(where, typed, monkeypatch):
    real = seeing.see

    def interrupted(build, donor, host=None):
        if donor == "top-dask":
            raise KeyboardInterrupt
        return real(build, donor, host)

    monkeypatch.setattr(seeing, "see", interrupted)
    code, out, err = typed("report --in demo")
    assert (code, out) == (1, "wrote report.html: 3 donors\n")
    assert "not looked at: top-dask, top-kurm" in err
    assert "not looked at: top-dask" in (where / "report.html").read_text(encoding="utf-8")


def test_template(where, typed):
    pypdf = pytest.importorskip("pypdf")
    ezdxf = pytest.importorskip("ezdxf")
    code, out, _ = typed("template top-dask --in demo --paper A3 --printer 0.993,1.002 -o t.pdf")
    assert code == 0 and out.startswith("wrote t.pdf\n")
    first = pypdf.PdfReader(where / "t.pdf").pages[0].mediabox
    assert sorted((round(float(first.width)), round(float(first.height)))) == [842, 1191], "A3 (ISO 216), in points"
    assert typed("template top-dask --in demo --format dxf")[1] == "wrote top-dask-template.dxf\n"
    space = ezdxf.readfile(where / "top-dask-template.dxf").modelspace()
    assert any(one.dxf.layer == "to cut" for one in space)
    assert typed("template top-dask --in demo -o t.svg --turned-over")[0] == 0
    text = " ".join(ElementTree.parse(where / "t.svg").getroot().itertext())
    assert "SEEN FROM INSIDE" in text


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("template nobody --in demo", "there is no part 'nobody'"),
        ("template bag-kurm --in demo", "restraint part"),
        ("template console-body --in demo", "has a known place"),
        ("template top-dask --in demo --printer 1", "two numbers"),
        ("template top-dask --in demo --printer 2,1", "not out by more than a tenth"),
        ("template top-dask --in demo --paper A5", "A5"),
        ("template top-dask --in nowhere", "no folder"),
        ("template top-dask --in demo -o t.doc", "does not end in .pdf, .svg or .dxf"),
        ("template top-dask --in demo --format svg -o t.pdf", "does not end in .svg"),
        ("template top-dask --in demo -o nowhere/t.pdf", "there is no folder nowhere"),
        ("report --in demo -o nowhere/r.html", "there is no folder nowhere"),
        ("plot margins top-dask --in demo -o nowhere/m.png", "there is no folder nowhere"),
        ("plot chance glove-dask --in demo", "not known before everything that it needs is measured"),
        ("plot pattern --in demo", "of which part"),
        ("plot pattern top-dask --in demo -o p.gif", "neither .svg nor .png"),
        ("plot pattern nobody --in demo", "there is no part 'nobody'"),
        ("plot colours top-dask --in demo", "colours"),
        ("plot chance bag-kurm --in demo", "no reading would tell more"),
        ("outline none.dxf --part top-dask --in demo", "none.dxf"),
        ("outline demo/parts.csv --part top-dask --in demo", "neither DXF nor SVG"),
        ("page --in demo/parts.csv", "cannot be made"),
    ],
)
def test_what_is_typed_wrong_is_said_and_nothing_is_written(where, typed, line, said):
    before = sorted(path.name for path in where.rglob("*"))
    code, out, err = typed(line)
    assert code in (1, 2) and said in err + out
    assert sorted(path.name for path in where.rglob("*")) == before


@pytest.mark.parametrize("kind", ["pattern", "margins", "chance", "calibration"])
@pytest.mark.parametrize("ending", ["svg", "png"])
def test_plots(where, typed, kind, ending):
    part = "" if kind == "calibration" else "top-dask"
    code, out, _ = typed(f"plot {kind} {part} --in demo -o p.{ending}")
    assert (code, out) == (0, f"wrote p.{ending}\n")
    content = (where / f"p.{ending}").read_bytes()
    if ending == "svg":
        root = ElementTree.fromstring(content)
        assert root.tag.endswith("svg") and int(root.get("width")) > 300
    else:
        with Image.open(io.BytesIO(content)) as image:
            assert image.width > 600 and len(image.getcolors(1 << 24)) > 3, "something is drawn"


def test_outline_shows_first_and_adds_only_when_told(where, typed):
    typed("template top-dask --in demo -o top.dxf")
    sheet = where / "demo" / "features.csv"
    before = sheet.read_bytes()
    line = "outline top.dxf --part console-body --layer holes --layer slots --layer pegs --in demo"
    code, out, _ = typed(line)
    assert code == 0 and "console-body would get:" in out and "Nothing was changed; --yes adds them." in out
    assert sheet.read_bytes() == before
    code, out, _ = typed(f"{line} --plus-minus 0.3 --yes")
    assert code == 0 and "Added 8 to features.csv, 0 to outlines.csv" in out
    assert sheet.read_bytes().startswith(before) and sheet.read_bytes().count(b"console-body,") == 8


def served() -> subprocess.Popen[str]:
    words = [COMMAND, "page", "--in", "demo"]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_page_prints_its_address_serves_and_ends_with_ctrl_c(where):
    done = served()
    try:
        line = done.stdout.readline()
        found = re.fullmatch(r"Open (http://127\.0\.0\.1:(\d+)/enter\?key=[\w-]{20,})\n", line)
        assert found, line
        with httpx.Client(follow_redirects=True) as client:
            for _ in range(100):
                try:
                    answer = client.get(found[1])
                    break
                except httpx.TransportError:
                    time.sleep(0.05)
            assert answer.status_code == 200 and "velt dashboard" in answer.text
        with httpx.Client() as client:
            assert client.get(f"http://127.0.0.1:{found[2]}/").status_code == 403
    finally:
        done.send_signal(signal.SIGINT)
        rest = done.communicate(timeout=20)
    assert done.returncode == 0 and "Traceback" not in rest[1], rest[1]


def test_two_starts_have_two_keys(where):
    keys = set()
    for _ in range(2):
        done = served()
        keys.add(done.stdout.readline().split("key=")[1])
        done.terminate()
        done.communicate(timeout=20)
    assert len(keys) == 2
