"""Reads drawings back for the tests: SVG and HTML as trees, PDF as vectors, text boxes as a browser lays them."""

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
