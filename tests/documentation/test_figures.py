"""The quick figures of README and docs are what the program says now; the slow ones say when they were taken."""

import re
import warnings
from collections import Counter

import pytest

from documentation.figures import PAGES, digest_of, now, sections, typed
from documentation.quick_figures import MARKER, value, written


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_what_is_written_quickly_is_what_the_program_says(page) -> None:
    text = page.read_text(encoding="utf-8")
    assert text == written(text), "run: python tests/documentation/figures.py --write"
    left = re.findall(r"<!--(?! taken at ).*?-->", MARKER.sub("", text))
    assert left == [], "a marker that is not closed, or closes nothing"


def test_a_figure_that_was_typed_between_markers_is_written_anew() -> None:
    page = "at most <!--trial.places.MOST_LAYOUTS-->7<!--/--> ways\n\n```console\n$ partkin words\nnone\n```\n"
    told = written(page)
    assert f"at most <!--trial.places.MOST_LAYOUTS-->{value('trial.places.MOST_LAYOUTS')}<!--/--> ways" in told
    assert "\nnone\n" not in told and "$ partkin words\n" in told and written(told) == told


@pytest.mark.parametrize(
    ("name", "says"),
    [("model.build.Settings.confidence", "0.95"), ("tables/edges.csv: slot edge, sheet metal: value", "1.5"),
     ("fit.trying.NONE", None), ("tables/edges.csv: edge, wood: value", None), ("of no kind", None)],
)  # fmt: skip
def test_a_marker_names_a_value_that_is_there(name, says) -> None:
    if says is None:
        with pytest.raises((AttributeError, KeyError, ModuleNotFoundError, ValueError)):
            value(name)
    else:
        assert value(name) == says


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_no_time_rate_or_size_is_typed_outside_a_mark(page) -> None:
    assert list(typed(page.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [("It takes 0.3 s.", ["0.3 s"]), ("It is 5.5 times faster, 40 MB.", ["5.5 times faster", "40 MB"]),
     ("At most <!--graph.incoming.SECONDS_AT_MOST-->20<!--/--> s.", []), ("```sh\nsleep 3 s\n```\n", []),
     ("## Times: `python tests/benchmarks/bench_rank.py`\nIt takes 0.3 s.", []),
     ("## Times: `python tests/benchmarks/bench_rank.py`\nhm\n## More\nIt takes 30 min.", ["30 min"])],
)  # fmt: skip
def test_a_figure_that_was_typed_is_found(text, found) -> None:
    assert list(typed(text)) == found


def test_no_two_sections_have_one_title() -> None:
    assert [title for title, count in Counter(section.title for section in sections()).items() if count > 1] == []


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.title)
def test_a_section_says_when_it_was_taken(section) -> None:
    assert section.commit and section.digest, f"run: python tests/documentation/figures.py --taken '{section.title}'"
    assert any(path.startswith("reasoner/partkin") for path in section.paths), "it rests on no code of the package"
    if section.is_older():
        warnings.warn(f"{section.title}: taken at {section.commit}; its files have changed since", stacklevel=1)


def test_another_byte_in_a_file_is_another_digest() -> None:
    files = list(now(sections()[0].paths))
    assert len(files) > 10
    path, blob = files[0]
    assert digest_of(iter(files)) == digest_of(iter(files[::-1])) != digest_of(iter([(path, blob[::-1]), *files[1:]]))
