"""The figures of README and docs: quick ones are written between markers, slow ones say when they were taken.

python tests/documentation/figures.py --write             # writes the quick ones and the pages that are made whole
python tests/documentation/figures.py                     # says which slow sections are older than their files
python tests/documentation/figures.py --taken Slips       # after its script has run: marks the section as of now
python tests/documentation/figures.py --taken Slips --at COMMIT

A slow section has a heading that names its scripts. The mark below it holds a digest of those scripts and of the rooms
that they use, so no history is needed to tell. What a marker stands for: quick_figures.py.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from documentation import architecture
from documentation.quick_figures import CODE, MARKER, written
from partkin.cli import described
from partkin.commands import documenting

ROOT = Path(__file__).parents[2]
DOCS, TESTS = ROOT / "docs", ROOT / "tests"
# Pages that are made whole: nothing in them is typed.
MADE_WHOLE = {
    "architecture.md": architecture.page,
    "commands.md": described.page,
    "rules.md": lambda: documenting.pages()["rules.md"],
    "terms.md": lambda: documenting.pages()["terms.md"],
}
PAGES = [ROOT / "README.md", *(page for page in sorted(DOCS.glob("*.md")) if page.name not in MADE_WHOLE)]
EVERYTHING = ("reasoner/partkin", "data/tables", "ontology")
_HEAD = re.compile(r"#+ (?P<title>[^:`\n]+): (?P<commands>.*`)")
_TYPED = re.compile(r"\b\d[\d,.]* (?:µs|ns|ms|s|min|h|kB|MB|times (?:as|faster|slower))\b")
_SCRIPT = re.compile(r"(?P<folder>tests/[\w/]+/)?(?P<name>\w+\.py)")
_MARK = re.compile(r"<!-- taken at (?P<commit>[0-9a-f]+), of files (?P<digest>[0-9a-f]+) -->")


@dataclass(frozen=True)
class Section:
    """One section of a page: its scripts, where its mark stands, and what the mark says (empty: there is none)."""

    page: Path
    title: str
    scripts: tuple[str, ...]
    line: int
    commit: str = ""
    digest: str = ""

    @property
    def paths(self) -> tuple[str, ...]:
        """The scripts with their helpers, and the rooms that these rest on; all of them where they run a command."""
        files = with_helpers(self.scripts)
        text = "".join((ROOT / file).read_text(encoding="utf-8") for file in files)
        rooms, used = {room for room in re.findall(r"\bpartkin\.(\w+)", text)}, architecture.uses()
        while more := {below for room in rooms for below in used.get(room, ())} - rooms:
            rooms |= more
        names = [f"{EVERYTHING[0]}/{room}" for room in sorted(rooms) if (ROOT / EVERYTHING[0] / room).is_dir()]
        whole = re.search(
            r"^import partkin$|from partkin import|\"-m\"|\bcli\b|pipeline|\"partkin\"", text, re.MULTILINE
        )
        return (*files, *(EVERYTHING if whole else (*names, EVERYTHING[1])))

    def is_older(self) -> bool:
        """Whether what the figures rest on has changed since they were taken."""
        return self.digest != digest_of(now(self.paths))


def with_helpers(scripts: tuple[str, ...]) -> list[str]:
    """The scripts and what they take from beside other tests, as paths below the repository."""
    found = list(scripts)
    for file in found:
        for module in re.findall(r"^from ([\w.]+) import", (ROOT / file).read_text(encoding="utf-8"), re.MULTILINE):
            near = f"{module.replace('.', '/')}.py"
            paths = [(ROOT / file).parent / near, TESTS / near, *sorted(TESTS.glob(f"*/{near}"))]
            helper = next((path.relative_to(ROOT).as_posix() for path in paths if path.is_file()), file)
            found += [helper] if helper not in found else []
    return found


def sections() -> list[Section]:
    """The sections that name a script, in the order of the pages."""
    return [section for page in PAGES for section in sections_of(page)]


def sections_of(page: Path) -> Iterator[Section]:
    """The sections of one page."""
    lines = page.read_text(encoding="utf-8").splitlines()
    for place, line in enumerate(lines):
        if head := _HEAD.fullmatch(line):
            mark = _MARK.fullmatch(lines[place + 1]) if place + 1 < len(lines) else None
            said = mark.groupdict() if mark else {}
            yield Section(page, head["title"], tuple(scripts_in(head["commands"])), place, **said)


def scripts_in(commands: str) -> Iterator[str]:
    """The scripts that are named; one without a folder lies beside the one before it."""
    folder = ""
    for found in _SCRIPT.finditer(commands):
        folder = found["folder"] or folder
        yield folder + found["name"]


def typed(text: str) -> Iterator[str]:
    """Every time, rate and size of a page outside of slow sections, markers and blocks of code."""
    slow = False
    for line in CODE.sub("", MARKER.sub("", text)).splitlines():
        slow = bool(_HEAD.fullmatch(line)) if line.startswith("#") else slow
        if not slow:
            yield from _TYPED.findall(line)


def now(paths: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """Every file below these paths, with what git calls its blob."""
    for path in paths:
        files = [ROOT / path] if (ROOT / path).is_file() else (ROOT / path).rglob("*")
        for file in files:
            if file.is_file() and "__pycache__" not in file.parts:
                content = file.read_bytes()
                blob = hashlib.sha1(b"blob %d\0" % len(content) + content, usedforsecurity=False)
                yield file.relative_to(ROOT).as_posix(), blob.hexdigest()


def then(commit: str, paths: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """The same of a commit."""
    command = ["git", "ls-tree", "-r", commit, "--", *paths]
    for line in subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines():
        about, path = line.split("\t")
        yield path, about.split()[2]


def digest_of(files: Iterator[tuple[str, str]]) -> str:
    """One short text for all of them."""
    return hashlib.sha256(repr(sorted(files)).encode()).hexdigest()[:10]


def mark(title: str, commit: str | None) -> None:
    """Write that a section was taken at a commit, the one of now where none is given."""
    section = next(one for one in sections() if one.title.startswith(title))
    named = ["git", "rev-parse", "--short", commit or "HEAD"]
    short = subprocess.run(named, cwd=ROOT, check=True, capture_output=True, text=True).stdout.strip()
    files = then(commit, section.paths) if commit else now(section.paths)
    lines = section.page.read_text(encoding="utf-8").splitlines()
    lines[section.line + 1 : section.line + 1 + bool(section.commit)] = [
        f"<!-- taken at {short}, of files {digest_of(files)} -->"
    ]
    section.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write() -> None:
    """Write every quick figure, and every page that is made whole."""
    for name, page in MADE_WHOLE.items():
        (DOCS / name).write_text(page(), encoding="utf-8")
    for path in PAGES:
        path.write_text(written(path.read_text(encoding="utf-8")), encoding="utf-8")


def main() -> None:
    """Read the words of the command line; mark a section, or say which are older than what they rest on."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--taken", metavar="SECTION")
    words.add_argument("--at", metavar="COMMIT")
    words.add_argument("--write", action="store_true")
    given = words.parse_args()
    if given.write:
        write()
        return
    if given.taken:
        mark(given.taken, given.at)
        return
    for section in sections():
        says = f"taken at {section.commit}" if section.commit else "taken at an unknown commit"
        is_older = "before its files changed" if section.is_older() else "of these files"
        print(f"{section.page.name}: {section.title}: {says}, {is_older}")


if __name__ == "__main__":
    main()
