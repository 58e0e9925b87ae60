"""Every section of docs/benchmarks.md says when it was taken; one that is older than its files is told."""

import warnings

import pytest

from documentation.figures import digest_of, now, sections


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.title)
def test_a_section_says_when_it_was_taken(section) -> None:
    assert section.commit and section.digest, f"run: python tests/documentation/figures.py --taken '{section.title}'"
    if section.is_older():
        warnings.warn(f"{section.title}: taken at {section.commit}; its files have changed since", stacklevel=1)


def test_another_byte_in_a_file_is_another_digest() -> None:
    files = list(now(sections()[0].paths))
    assert len(files) > 10
    path, blob = files[0]
    assert digest_of(iter(files)) == digest_of(iter(files[::-1])) != digest_of(iter([(path, blob[::-1]), *files[1:]]))
