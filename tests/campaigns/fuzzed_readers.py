"""Every reader is given what nobody meant for it: how many inputs end in a traceback, hang, or write elsewhere.

python tests/campaigns/fuzzed_readers.py --count 20000
python tests/campaigns/fuzzed_readers.py sheets turtle --count 100000 --seed 7

Hypothesis draws the inputs: a good one with pieces cut out, doubled or put in, and now and then any bytes at all.
"""

from __future__ import annotations

import argparse
import collections
import io
import json
import os
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

import httpx
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from PIL import Image

from campaigns.partial_builds import write
from campaigns.whole_builds import whole
from drawing.test_outline_import import svg_bytes
from partkin import pipeline
from partkin.commands.exchanging import take_in
from partkin.drawing.outline_import import read_outline
from partkin.drawing.template import template_dxf
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


@cache
def sheets() -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as where:
        folder = write(whole(4), Path(where) / "b", '[build]\nname = "b"\nconfidence = 0.95\ncurrency = "EUR"\n')
        return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


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
    def read(content: bytes, folder: Path) -> object:
        (built(folder) / name).write_bytes(content)
        return load(folder)

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
READERS: dict[str, tuple[Callable[[], list[bytes]], Callable[[bytes, Path], object]]] = {
    **{f"sheets {name}": ((lambda name=name: [sheets()[name]]), read_sheet(name)) for name in sheets()},
    "turtle": (lambda: [export_turtle(a_build()).encode()], lambda content, folder: read_turtle(content)),
    "import": (lambda: [export_turtle(a_build()).encode()], read_import),
    "sparql": (lambda: [file.sparql.encode() for file in query_files().values()], read_question),
    "listings": (
        lambda: [
            b'{"@context": "https://schema.org", "@type": "Product", "name": "top", "offers": {"price": 12}}',
            b"part,price,seller\ntop-1a,80,somebody\n",
        ],
        read_offers,
    ),
    "own list": (lambda: [b"hole,x (mm),y (mm),dia\na,0,0,7\nb,300,1,7\n", b"from;to;mm\na;b;300,2\n"], read_own),
    "pictures": (lambda: [picture(kind) for kind in ("JPEG", "PNG", "WEBP", "TIFF", "BMP")], read_picture),
    "dxf": (lambda: [template_dxf(sample.TEMPLATE)], lambda content, folder: read_outline(content, "t.dxf", "P")),
    "svg": (
        lambda: [
            svg_bytes('<g transform="rotate(3)"><circle cx="1" cy="2" r="3"/></g><path d="M0 0L9 9A3 3 0 0 1 5 5Z"/>')
        ],
        lambda content, folder: read_outline(content, "t.svg", "P"),
    ),
    "verdicts": (
        lambda: [verdict_json(pipeline.check(a_build(), donor, others=False)).encode() for donor in donors()],
        read_verdict,
    ),
    "requests": (lambda: [line.format(donors()[0]).encode() for line in REQUESTS], read_request),
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
    """Give every reader so many inputs."""
    signal.signal(signal.SIGPROF, _hung)
    for name in names:
        goods, reader = READERS[name]
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


def main() -> None:
    """Read the words of the command line, feed the readers, and print what went wrong and how much was read."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("readers", nargs="*", help=f"beginnings of their names; none: all of {', '.join(READERS)}")
    words.add_argument("--count", type=int, default=20_000, help="inputs a reader")
    words.add_argument("--seed", type=int, default=0)
    asked = words.parse_args()
    names = [name for name in READERS if not asked.readers or name.startswith(tuple(asked.readers))]
    with tempfile.TemporaryDirectory() as inside:
        for variable in ("TMPDIR", "XDG_CACHE_HOME", "HYPOTHESIS_STORAGE_DIRECTORY"):
            os.environ[variable] = inside
        tempfile.tempdir = inside
        found = Found()
        found.watch(Path(inside))
        campaign(names, asked.count, asked.seed, Path(inside), found)
    print("".join(f"written elsewhere: {path}\n" for path in sorted(found.elsewhere)), end="")
    print(f"{sum(found.inputs.values())} inputs, {len(found.wrong)} kinds of traceback or hang, "
          f"{len(found.elsewhere)} files elsewhere, slowest {found.slowest_s:.1f} s")  # fmt: skip
    print(", ".join(f"{name} {many}" for name, many in found.inputs.items()))
    sys.exit(1 if found.wrong or found.elsewhere else 0)


if __name__ == "__main__":
    main()
