"""The words that stay on the screens: each is told, in one line, in the same words everywhere."""

from __future__ import annotations

import re
from typing import get_args

import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.model.fitting import Chance
from partkin.model.words import VERDICTS, PairState
from partkin.report.html import report_html
from partkin.tables.reader import screen_words

from . import sample
from .reading import html_tree
from .test_html import text_of

TOLD = {word for row in screen_words() for word in row.word.split(", ")}


def test_they_stand_on_one_screen():
    lines = CliRunner().invoke(app, ["words"]).output.splitlines()
    assert len(lines) == len(screen_words()) <= 24 and max(map(len, lines)) <= 96


def test_every_verdict_and_every_state_of_a_pair_is_told():
    assert {*VERDICTS, *get_args(PairState)} <= TOLD


def test_the_report_tells_them_too():
    said = text_of(html_tree(report_html(sample.REPORT)))
    assert all(row.means in said for row in screen_words())


# What a reader who knows no statistics would have to look up.
JARGON = re.compile(r"\b(draws?|sigma|covariance|confidence|percentile|odds|prior|posterior|minimax|% bounds)\b", re.I)


def test_no_word_of_statistics_stands_in_the_report_of_the_demo(demo_told):
    assert JARGON.findall(demo_told) == []


@pytest.mark.parametrize(
    ("chance", "says"),
    [
        (Chance(1.0, 0.961, 1.0, 256), "at least 96 in 100"), (Chance(0.0, 0.0, 0.048, 256), "at most 5 in 100"),
        (Chance(0.9, 0.85, 0.94, 640), "about 90 in 100"), (Chance(0.0, 0.0, 0.0, 0), "0 in 100"),
        (Chance(1.0, 1.0, 1.0, 0), "100 in 100"),
    ],
)  # fmt: skip
def test_a_chance_promises_no_more_than_its_draws_show(chance, says):
    assert chance.says == says


@pytest.fixture(scope="module")
def demo_told():
    from partkin.commands import seeing
    from partkin.pipeline import load_build
    from partkin.tables.reader import shipped

    whole = report_html(seeing.report_of(load_build(shipped("data") / "demo")))
    return text_of(html_tree(re.sub("<style>.*?</style>", "", whole, flags=re.DOTALL)))
