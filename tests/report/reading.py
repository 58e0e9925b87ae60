"""Reads drawings back for the tests: SVG and HTML as trees, PDF as vectors, text boxes as a browser lays them."""

import math
import re
import xml.etree.ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"


def svg_tree(text):
    return ET.fromstring(text)


def html_tree(text):
    """The report is well-formed as XML too, so that a mere slip of a tag is a fault."""
    assert text.startswith("<!DOCTYPE html>\n")
    return ET.fromstring(text.split("\n", 1)[1])


def words_of(tree):
    return [element.text or "" for element in tree.iter(f"{SVG}text")]


def outside_references(text):
    """Everything that would make a browser fetch something."""
    found = re.findall(r"""(?:src|srcset|href|data|poster|action|background)\s*=\s*["']([^"'#][^"']*)["']""", text)
    found += re.findall(r"""url\(\s*["']?([^)"'#]+)""", text)
    found += re.findall(r"@import[^;]*", text)
    return found


def _times(a, b):
    """Two PDF matrices, a first."""
    return (
        a[0] * b[0] + a[1] * b[2], a[0] * b[1] + a[1] * b[3], a[2] * b[0] + a[3] * b[2], a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4], a[4] * b[1] + a[5] * b[3] + b[5],
    )  # fmt: skip


def pdf_lines(page):
    """All straight lines of a PDF page, in millimetres of the paper, with the line width in force.

    Follows the content stream itself (ISO 32000-1, 8.3.4 and 8.5): q, Q, cm, w, m, l, S.
    """
    from pypdf.generic import ContentStream

    matrix, width = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0), 1.0
    kept, path, lines, at = [], [], [], None
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        v = [float(one) for one in operands] if operator in (b"cm", b"m", b"l", b"w") else []
        if operator == b"q":
            kept.append((matrix, width))
        elif operator == b"Q":
            matrix, width = kept.pop()
        elif operator == b"cm":
            matrix = _times(v, matrix)
        elif operator == b"w":
            width = v[0]
        elif operator in (b"m", b"l"):
            x = v[0] * matrix[0] + v[1] * matrix[2] + matrix[4]
            y = v[0] * matrix[1] + v[1] * matrix[3] + matrix[5]
            here = (x / 72 * 25.4, y / 72 * 25.4)
            if operator == b"l" and at is not None:
                path.append((at, here))
            at = here
        elif operator in (b"S", b"s"):
            lines += [(a, b, width) for a, b in path]
            path, at = [], None
        elif operator in (b"n", b"f", b"f*", b"B", b"b"):
            path, at = [], None
    assert not kept
    return lines


def pdf_crosses(page, thin=0.13):
    """Centres of level and upright hairlines that cross in their middles, in millimetres of the paper."""
    level, upright = [], []
    for a, b, width in pdf_lines(page):
        if abs(width - thin) > 1e-6:
            continue
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        if abs(a[1] - b[1]) < 1e-4:
            level.append(middle)
        elif abs(a[0] - b[0]) < 1e-4:
            upright.append(middle)
    return [p for p in level if any(abs(p[0] - q[0]) < 1e-3 and abs(p[1] - q[1]) < 1e-3 for q in upright)]


def matched_places(points, wanted):
    """Give each cross the feature whose place fits it, by one shift for the whole page, chosen by most matches."""
    best = []
    for point in points:
        for at in wanted.values():
            shift = (point[0] - at[0], point[1] - at[1])
            matched = []
            for name, place in wanted.items():
                near = [c for c in points if math.dist(c, (place[0] + shift[0], place[1] + shift[1])) < 0.5]
                matched += [(name, near[0])] if near else []
            if len(matched) > len(best):
                best = matched
    return best


def misplaced_mm(points, wanted):
    """How far each place is out, when the first one is laid where it belongs."""
    matched = matched_places(points, wanted)
    first_name, first = matched[0]
    off = {}
    for name, point in matched:
        dx, dy = point[0] - first[0], point[1] - first[1]
        true = (wanted[name][0] - wanted[first_name][0], wanted[name][1] - wanted[first_name][1])
        off[name] = math.hypot(dx - true[0], dy - true[1])
    return off


def tile_shift(marks_a, marks_b, name_a, name_b, agree_mm):
    """How tile b is moved onto a: both join marks of the common edge have to agree; None: no neighbours."""
    column_a, row_a, column_b, row_b = name_a[0], name_a[1:], name_b[0], name_b[1:]
    if not ((row_a == row_b and abs(ord(column_a) - ord(column_b)) == 1) or (
        column_a == column_b and abs(int(row_a) - int(row_b)) == 1
    )):  # fmt: skip
        return None
    axis = 0 if row_a == row_b else 1
    later_a = (column_a > column_b) if axis == 0 else (int(row_a) < int(row_b))
    # The marks nearest to the common edge: greatest (or least) along the axis.
    a = sorted(marks_a, key=lambda mark: mark[axis] if later_a else -mark[axis])[:2]
    b = sorted(marks_b, key=lambda mark: -mark[axis] if later_a else mark[axis])[:2]
    other = 1 - axis
    a, b = sorted(a, key=lambda mark: mark[other]), sorted(b, key=lambda mark: mark[other])
    shifts = [(p[0] - q[0], p[1] - q[1]) for p, q in zip(a, b, strict=True)]
    assert math.dist(*shifts) < agree_mm, "both marks of an edge agree"
    return ((shifts[0][0] + shifts[1][0]) / 2, (shifts[0][1] + shifts[1][1]) / 2)


def laid_together(tiles, agree_mm=1e-3):
    """All crosses in the frame of the first tile, the tiles laid together by their join marks alone.

    `tiles`: by name, the crosses and the join marks of each. The program's own reckoning of where it cut the
    drawing is not used.
    """
    placed = {min(tiles): (0.0, 0.0)}
    while len(placed) < len(tiles):
        before = len(placed)
        for name in sorted(set(tiles) - set(placed)):
            for other in sorted(placed):
                step = tile_shift(tiles[other][1], tiles[name][1], other, name, agree_mm)
                if step is not None:
                    placed[name] = (placed[other][0] + step[0], placed[other][1] + step[1])
                    break
        assert len(placed) > before, "a tile has no neighbour"
    return [(x + placed[name][0], y + placed[name][1]) for name, (crosses, _) in tiles.items() for x, y in crosses]
