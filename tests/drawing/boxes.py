"""Boxes of a drawing, (left, top, right, bottom), held against each other."""

from partkin.drawing.plane import Box


def overlap(a: Box, b: Box) -> bool:
    """Whether two boxes share any area."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
