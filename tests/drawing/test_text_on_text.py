"""No text of the drawings lies on a text or a line, whatever the build."""

import pytest

from drawing.text_on_text import counted, overlaps
from partkin.drawing.shapes import Leader, Line, Picture, Poly, Words


@pytest.mark.parametrize("start, count", [(0, 6), pytest.param(6, 194, marks=pytest.mark.slow)])
def test_no_text_lies_on_a_text_or_a_line(start, count):
    _, told, said = counted(range(start, start + count))
    assert not said
    assert min(told.values()) > 10 * count


def test_the_measure_sees_what_it_should():
    low, high = Words((10.0, 30.0), "one", 12.0), Words((20.0, 32.0), "two", 12.0, turn_deg=10.0)
    line = Line((0.0, 26.0), (90.0, 26.0))
    paper = Poly(((5.0, 15.0), (80.0, 15.0), (80.0, 40.0), (5.0, 40.0)), "paper")

    def found(*shapes):
        return overlaps(Picture(100.0, 50.0, shapes, "", ""))

    assert found(low, high) == ["one on two"]
    assert found(line, low) == found(low, line) == ["one on a line (thin)"]
    assert found(line, paper, low) == []
    assert found(Words((90.0, 30.0), "three", 12.0)) == ["three beyond the edge"]
    leader = Leader((5.0, 5.0), (15.0, 20.0))
    assert found(leader, low) == []
    assert found(Leader((5.0, 5.0), (15.0, 28.0)), low) == ["one on a line (thin)", "a leader on one"]
    assert found(leader, Line((0.0, 12.0), (90.0, 12.0))) == ["a leader on a line (thin)"]
    assert found(leader, Line((0.0, 12.0), (90.0, 12.0), layer="areas")) == []
