"""Every reader is given what nobody meant for it: how many inputs end in a traceback, hang, or write elsewhere.

python tests/campaigns/fuzzed_readers.py --count 20000
python tests/campaigns/fuzzed_readers.py sheets turtle --count 100000 --seed 7
python tests/campaigns/fuzzed_readers.py --total 1000000 --kept found.json

Hypothesis draws the inputs: a good one with pieces cut out, doubled or put in, and now and then any bytes at all. With
--total, Atheris does (pip install atheris): it keeps what reaches lines of the package that nothing reached before, and
readers take inputs by their shares. The good inputs are small, so that many are read.
"""

from __future__ import annotations

import argparse
import collections
import io
import json
import os
import pickle
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))
    if "--total" in sys.argv:
        import atheris

        with atheris.instrument_imports(include=["partkin"], enable_loader_override=False):
            for module in ("commands.exchanging", "drawing.outline_import", "page.routes", "sheets.starting"):
                import_module(f"partkin.{module}")

import httpx
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from PIL import Image

from drawing.test_outline_import import svg_bytes
from partkin import pipeline
from partkin.commands.exchanging import take_in
from partkin.drawing.outline_import import read_outline
from partkin.drawing.template_dxf import template_dxf
from partkin.graph import export_turtle, read_turtle
from partkin.graph.graph import query_files
from partkin.graph.terms import misspelt, refusal, tokens
from partkin.model.problem import FaultyInput
from partkin.photo.pictures import read_image_size, read_shades
from partkin.report.verdict_file import verdict_json
from partkin.sheets.loading import load
from partkin.sheets.offering import read_listings
from partkin.sheets.own_list import Answers
from partkin.sheets.starting import write_from
from partkin.verify.verify import confirm
from report import sample

LONGEST_S = 20.0
WRITING = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.symlink", "os.link")
TOKENS = (
    b"", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\n", b"\r\n", b",", b";", b'"', b"'", b"=1+1", b"NaN", b"1e999",
    b"-0", b"9" * 400, b"../../x", b"/etc/passwd", b"<", b">", b"&a;", b"{", b"}", b"[[[[", b"null", b"true",
    b"\xe2\x80\xae",
    b"SERVICE <http://a>", b"@prefix : <a> .", b"_:b", b"(" * 50, b"\\u0000", b"%00", b"\xc2\x9b",
)  # fmt: skip
Edit = tuple[int, int, bytes]
edits = st.lists(
    st.tuples(st.integers(0, 10**6), st.integers(0, 12), st.sampled_from(TOKENS) | st.binary(max_size=6)),
    min_size=1, max_size=6,
)  # fmt: skip


def mangled(good: bytes, done: Sequence[Edit]) -> bytes:
    """A good input with pieces replaced, the place of each counted round the text."""
    made = bytearray(good)
    for at, long, piece in done:
        place = at % (len(made) + 1)
        made[place : place + long] = piece if long != 12 else made[place : place + 40] * 2
    return bytes(made)


# Invented: two holes on two studs, and one row of every other sheet.
SHEETS = {
    "build.toml": '[build]\nname = "b"\nconfidence = 0.95\ncurrency = "EUR"\nadapt_host = false\n',
    "models.csv": "model,maker,platform,first_year,last_year\nvelt,Ostrane,OP4,2014,2019\n",
    "parts.csv": "part,name,model,part_number,replaces,origin,takes_place_of,hand,seen_from,duty,airbag,thickness_mm\n"
    "frame,frame,velt,OV1,,host,,left,outside,body,no,2.5\nold,old,,OV2,OV0,original,frame,left,outside,trim,yes,3\n"
    "top,top,,OV3,OV2;OV0,donor,frame,left,outside,trim,yes,3\n",
    "features.csv": "part,feature,kind,across_mm,length_mm,angle_deg,float_mm,thread,x_mm,y_mm,plus_minus_mm,"
    "goes_on,need\nframe,F1,stud,,,,,M6x1,0,0,0.5,,must\nframe,F2,captive nut,,,,1,M6x1,300,0,0.5,,must\n"
    "top,a,hole,7,,,,,0,0,0.5,F1,\ntop,b,slot,7,12,to a,,,300.2,0,0.5,F2,\n",
    "readings.csv": "part,reading,quantity,from,to,value,unit,plus_minus,instrument,by,on,corrects\n"
    "top,r1,centres,a,b,300.2,mm,1,tape,me,2026-01-02,\ntop,r2,across,a,,0.28,in,,caliper,,,\n",
    "offers.csv": "option,part,price,shipping,seller,on,available,hours\n"
    "donor,top,80,9.5,somebody,2026-01-02,yes,1.5\n",
    "costs.csv": "on,what,part,amount,note\n2026-01-02,bolts,top,3.2,\n",
    "neighbours.csv": "part,edge,neighbour,gap_mm,gap_min_mm,gap_max_mm\nold,left,frame,3,2,4\n",
    "zones.csv": "part,zone,kind,point,x_mm,y_mm\ntop,S1,tear seam,1,60,30\ntop,S1,tear seam,2,160,30\n",
    "outlines.csv": "part,kind,name,point,x_mm,y_mm\ntop,edge,,1,-10,-10\ntop,edge,,2,310,-10\ntop,edge,,3,310,60\n",
    "connectors.csv": "part,connector,ways,keyed_as,need\ntop,speaker,2,A,must\n",
    "held_by.csv": "part,held_to,fastener,kind,count,thread,tool,minutes,behind,certain\n"
    "old,frame,B1,bolt,2,M6x1,spanner,3,,yes\n",
    "looks.csv": "part,beside,looks,picture,on\ntop,frame,alike,top.jpg,2026-01-02\n",
    "outcomes.csv": "donor,on,verdict_then,chance_then,happened\ntop,2026-01-02,bolts on,0.97,fits\n",
}


@cache
def sheets() -> dict[str, bytes]:
    """Sheets that read clean."""
    return {name: text.encode() for name, text in SHEETS.items()}


@cache
def a_build() -> Any:
    with tempfile.TemporaryDirectory() as where:
        return pipeline.load_build(built(Path(where) / "b"))


def built(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    for name, content in sheets().items():
        (folder / name).write_bytes(content)
    return folder


def picture(kind: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(out, kind)
    return out.getvalue()


def read_sheet(name: str) -> Callable[[bytes, Path], object]:
    """Read one sheet beside those that it names parts and features of, which are written once."""

    def read(content: bytes, folder: Path) -> object:
        beside = folder.parent / f"{name} beside"
        if not beside.exists():
            beside.mkdir()
            for other in ("parts.csv", "features.csv", "models.csv"):
                (beside / other).write_bytes(sheets()[other])
        (beside / name).write_bytes(content)
        return load(beside)

    return read


def read_question(content: bytes, folder: Path) -> object:
    text = content.decode(errors="replace")
    return refusal(text), misspelt(list(tokens(text)))


def read_import(content: bytes, folder: Path) -> object:
    (folder / "theirs.ttl").write_bytes(content)
    (folder / "to").mkdir(exist_ok=True)
    return take_in(folder / "theirs.ttl", folder / "to")


def read_offers(content: bytes, folder: Path) -> object:
    (folder / "listings").write_bytes(content)
    return read_listings(folder / "listings", a_build())


def read_own(content: bytes, folder: Path) -> object:
    (folder / "own.csv").write_bytes(content)
    return write_from(folder / "begun", folder / "own.csv", Answers())


def read_picture(content: bytes, folder: Path) -> object:
    (folder / "a.picture").write_bytes(content)
    return read_image_size(folder / "a.picture"), read_shades(folder / "a.picture")


def read_verdict(content: bytes, folder: Path) -> object:
    try:
        tree = json.loads(content)
    except (ValueError, RecursionError):  # the command tells both: tests/verify
        return None
    return confirm(tree, a_build())


@cache
def client() -> Any:
    from starlette.testclient import TestClient

    from partkin.page.desk import Desk
    from partkin.page.routes import make_app

    folder = built(Path(tempfile.mkdtemp(dir=os.environ["TMPDIR"])))
    app = make_app(Desk(folder), "key", 8000)
    origin = "http://127.0.0.1:8000"
    return TestClient(
        app, base_url=origin, cookies={"partkin-8000": "key"}, headers={"origin": origin}, raise_server_exceptions=True
    )


def read_request(content: bytes, folder: Path) -> object:
    """The first line is a method, an address and a kind of body; the rest the body."""
    first, _, body = content.partition(b"\n")
    method, path, kind = [*first.decode("latin-1").split(" "), "", ""][:3]
    method = method if method in ("GET", "POST") else "POST"
    try:
        answer = client().request(method, "/" + path.lstrip("/"), content=body, headers={"content-type": kind or "x"})
    except (UnicodeError, ValueError, httpx.InvalidURL) as fault:
        if "httpx" in traceback.extract_tb(fault.__traceback__)[-1].filename:
            return None  # no browser could send it
        raise
    if answer.status_code >= 500:
        raise AssertionError(f"{method} {path}: {answer.status_code}")
    return answer


@cache
def donors() -> tuple[str, ...]:
    return tuple(part.part for part in a_build().parts if part.origin == "donor")


FORM = "application/x-www-form-urlencoded"
REQUESTS = (
    "GET part/{0} x\n", "GET part/{0}/lay x\n", "GET part/{0}/out x\n", "GET photos/x/image x\n", "GET parts x\n",
    "GET part/{0}?taken=r1&of={0} x\n", "GET part/{0}/seller x\n", "GET part/{0}/lay.json?turn=3&x=2&y=1 x\n",
    "POST part/{0}/readings " + FORM + "\nquantity=centres&from=a&to=b&value=300.2&unit=mm&instrument=tape",
    "POST part/{0}/undo " + FORM + "\nreading=r1", "POST part/{0}/answers " + FORM + "\nairbag=no&duty=trim",
    "POST part/{0}/features " + FORM + "\nfeature=z1&kind=hole&across_mm=7",
    "POST parts " + FORM + "\npart=lid&name=lid&origin=donor", "POST photos/x/look application/json\n{{\"marks\": []}}",
    "POST checks " + FORM + "\n",
)  # fmt: skip
# Good inputs, the reader, and of a thousand inputs its share.
READERS: dict[str, tuple[Callable[[], list[bytes]], Callable[[bytes, Path], object], int]] = {
    **{f"sheets {name}": ((lambda name=name: [sheets()[name]]), read_sheet(name), 11) for name in sheets()},
    "turtle": (lambda: [export_turtle(a_build()).encode()], lambda content, folder: read_turtle(content), 2),
    "import": (lambda: [export_turtle(a_build()).encode()], read_import, 1),
    "sparql": (lambda: [file.sparql.encode() for file in query_files().values()], read_question, 300),
    "listings": (
        lambda: [
            b'{"@context": "https://schema.org", "@type": "Product", "name": "top", "offers": {"price": 12}}',
            b"part,price,seller\ntop-1a,80,somebody\n",
        ],
        read_offers,
        120,
    ),
    "own list": (lambda: [b"hole,x (mm),y (mm),dia\na,0,0,7\nb,300,1,7\n", b"from;to;mm\na;b;300,2\n"], read_own, 100),
    "pictures": (lambda: [picture(kind) for kind in ("JPEG", "PNG", "WEBP", "TIFF", "BMP")], read_picture, 80),
    "dxf": (lambda: [template_dxf(sample.TEMPLATE)], lambda content, folder: read_outline(content, "t.dxf", "P"), 10),
    "svg": (
        lambda: [
            svg_bytes('<g transform="rotate(3)"><circle cx="1" cy="2" r="3"/></g><path d="M0 0L9 9A3 3 0 0 1 5 5Z"/>')
        ],
        lambda content, folder: read_outline(content, "t.svg", "P"),
        130,
    ),
    "verdicts": (
        lambda: [verdict_json(pipeline.check(a_build(), donor, others=False)).encode() for donor in donors()],
        read_verdict,
        100,
    ),
    "requests": (lambda: [line.format(donors()[0]).encode() for line in REQUESTS], read_request, 3),
}  # fmt: skip


class Hung(BaseException):
    """An input that a reader did not come to an end with."""


def _hung(*_: object) -> None:
    raise Hung


@dataclass
class Found:
    """What readers made of what they were given."""

    inputs: collections.Counter[str] = field(default_factory=collections.Counter)
    wrong: dict[str, bytes] = field(default_factory=dict)
    elsewhere: set[str] = field(default_factory=set)
    slowest_s: float = 0.0

    def take(self, name: str, reader: Callable[[bytes, Path], object], content: bytes, folder: Path) -> None:
        """Read one input; the first of each fault is kept."""
        self.inputs[name] += 1
        begun = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
        try:
            reader(content, folder)
        except FaultyInput:
            pass
        except (Exception, Hung) as failure:
            at = traceback.extract_tb(failure.__traceback__)[-1]
            said = f"{name}: {type(failure).__name__} at {Path(at.filename).name}:{at.lineno}"
            if said not in self.wrong:
                print(f"{said} {str(failure)[:100]}\n    {content[:300]!r}", flush=True)
            self.wrong.setdefault(said, content)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        self.slowest_s = max(self.slowest_s, time.process_time() - begun)

    def watch(self, inside: Path) -> None:
        """Note files that are opened to be written, moved, made or removed anywhere else."""

        def hook(event: str, words: tuple[Any, ...]) -> None:
            flags = words[2] if event == "open" else 0
            opened = event == "open" and isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR)
            # What is taken away with a folder is named from within it, by a handle.
            of_a_handle = event in WRITING and isinstance(words[-1], int) and words[-1] >= 0
            if (opened or event in WRITING) and not of_a_handle and isinstance(words[0], str | Path):
                path = str(Path(words[0]).absolute())
                if not path.startswith((str(inside), "/dev/")) and "__pycache__" not in path:
                    self.elsewhere.add(f"{event} {path}")

        sys.addaudithook(hook)


def campaign(names: Sequence[str], count: int, number: int, inside: Path, found: Found) -> None:
    """Give every reader so many inputs that Hypothesis draws."""
    signal.signal(signal.SIGPROF, _hung)
    for name in names:
        goods, reader, _ = READERS[name]
        good = goods()

        @seed(number)
        @settings(max_examples=count, database=None, deadline=None, phases=[Phase.generate],
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        @given(st.sampled_from(good), edits, st.none() | st.binary(max_size=120), st.integers(0, 19))
        def reads(first: bytes, done: list[Edit], any_bytes: bytes | None, one_of: int) -> None:
            content = any_bytes if any_bytes is not None and one_of == 0 else mangled(first, done)
            with tempfile.TemporaryDirectory(dir=inside) as folder:
                found.take(name, reader, content, Path(folder))

        reads()
        print(f"{name}: {found.inputs[name]} inputs", file=sys.stderr, flush=True)


def by_atheris(name: str, count: int, number: int, inside: Path, found: Found) -> None:
    """Give a reader so many inputs that Atheris makes; in a process of its own, which it ends by itself."""
    back, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(back)
        _fuzz(name, count, number, inside / name.replace(" ", "-"), out)
    os.close(out)
    with os.fdopen(back, "rb") as pipe:
        told = pipe.read()
    os.waitpid(child, 0)
    if not told:
        found.wrong[f"{name}: the process ended by itself"] = b""
        return
    fresh: Found = pickle.loads(told)
    found.inputs.update(fresh.inputs)
    found.wrong.update(fresh.wrong)
    found.elsewhere |= fresh.elsewhere
    found.slowest_s = max(found.slowest_s, fresh.slowest_s)


def _fuzz(name: str, count: int, number: int, where: Path, out: int) -> None:
    import atheris

    os.environ["TMPDIR"] = tempfile.tempdir = str(where)
    fresh, (goods, reader, _) = Found(), READERS[name]
    corpus, folder = where / "corpus", where / "folder"
    corpus.mkdir(parents=True)
    for place, good in enumerate(goods()):
        (corpus / str(place)).write_bytes(good)
    fresh.watch(where)
    signal.signal(signal.SIGPROF, _hung)

    def reads(content: bytes) -> None:
        folder.mkdir(exist_ok=True)
        fresh.take(name, reader, content, folder)
        if any(folder.iterdir()):
            shutil.rmtree(folder)
        if fresh.inputs[name] >= count:
            with os.fdopen(out, "wb") as pipe:
                pickle.dump(fresh, pipe)
            os._exit(0)

    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    longest = max(map(len, goods())) + 200
    # libFuzzer holds its own corpus in memory: what it would write there is of no use to the next run.
    atheris.Setup(["fuzz", f"-seed={number + 1}", f"-max_len={longest}", "-rss_limit_mb=0", str(corpus)], reads)
    atheris.Fuzz()


def shares(names: Sequence[str], total: int) -> dict[str, int]:
    """How many inputs each reader takes of so many."""
    whole = sum(READERS[name][2] for name in names)
    return {name: max(1, total * READERS[name][2] // whole) for name in names}


def told(found: Found) -> str:
    """What went wrong and how much was read."""
    lines = [f"written elsewhere: {path}" for path in sorted(found.elsewhere)]
    lines.append(
        f"{sum(found.inputs.values())} inputs, {len(found.wrong)} kinds of traceback or hang, "
        f"{len(found.elsewhere)} files elsewhere, slowest {found.slowest_s:.1f} s"
    )
    return "\n".join([*lines, ", ".join(f"{name} {many}" for name, many in found.inputs.items())])


def main() -> None:
    """Read the words of the command line, feed the readers, and print what went wrong and how much was read."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("readers", nargs="*", help=f"beginnings of their names; none: all of {', '.join(READERS)}")
    words.add_argument("--count", type=int, default=20_000, help="inputs a reader, by Hypothesis")
    words.add_argument("--total", type=int, help="inputs of all readers together, by Atheris")
    words.add_argument("--kept", type=Path, metavar="FILE", help="where what was read so far stands, with --total")
    words.add_argument("--seed", type=int, default=0)
    asked = words.parse_args()
    names = [name for name in READERS if not asked.readers or name.startswith(tuple(asked.readers))]
    with tempfile.TemporaryDirectory() as inside:
        for variable in ("TMPDIR", "XDG_CACHE_HOME", "HYPOTHESIS_STORAGE_DIRECTORY"):
            os.environ[variable] = inside
        tempfile.tempdir = inside
        found = pickle.loads(asked.kept.read_bytes()) if asked.kept and asked.kept.exists() else Found()
        if asked.total is None:
            found.watch(Path(inside))
            campaign(names, asked.count, asked.seed, Path(inside), found)
        for name, count in shares(names, asked.total).items() if asked.total else ():
            if not found.inputs[name]:
                by_atheris(name, count, asked.seed, Path(inside), found)
                print(f"{name}: {found.inputs[name]} inputs", file=sys.stderr, flush=True)
                if asked.kept:
                    asked.kept.write_bytes(pickle.dumps(found))
    print(told(found))
    sys.exit(1 if found.wrong or found.elsewhere else 0)


if __name__ == "__main__":
    main()
