"""Workbooks for tests, written by hand: the few parts of .xlsx and .ods that a reader needs."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

Cell = str | float | bool | datetime.date | None
Tabs = Mapping[str, Sequence[Sequence[Cell]]]
_XML = '<?xml version="1.0" encoding="UTF-8"?>'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_DOC = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACK = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_FIRST_DAY = datetime.date(1899, 12, 30)


def write_xlsx(path: Path, tabs: Tabs) -> Path:
    """Write a workbook of Office Open XML (ECMA-376)."""
    numbers = range(1, len(tabs) + 1)
    sheets = "".join(f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="rId{n}"/>' for n, name in enumerate(tabs, 1))
    links = "".join(
        f'<Relationship Id="rId{n}" Type="{_DOC}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    links += f'<Relationship Id="rId0" Type="{_DOC}/styles" Target="styles.xml"/>'
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{_TYPE}.worksheet+xml"/>' for n in numbers
    )
    parts = {
        "[Content_Types].xml": f'{_XML}<Types xmlns="{_PACK}/content-types"><Default Extension="rels" '
        f'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" '
        f'ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/>{types}</Types>',
        "_rels/.rels": f'{_XML}<Relationships xmlns="{_PACK}/relationships"><Relationship Id="r" '
        f'Type="{_DOC}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{_XML}<workbook xmlns="{_MAIN}" xmlns:r="{_DOC}"><sheets>{sheets}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{_XML}<Relationships xmlns="{_PACK}/relationships">{links}</Relationships>',
        "xl/styles.xml": f'{_XML}<styleSheet xmlns="{_MAIN}"><cellXfs count="2"><xf numFmtId="0"/>'
        f'<xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
    }
    for n, rows in enumerate(tabs.values(), 1):
        data = "".join(
            f'<row r="{r}">{"".join(_xlsx_cell(cell, r, c) for c, cell in enumerate(row))}</row>'
            for r, row in enumerate(rows, 1)
        )
        whole = f'<worksheet xmlns="{_MAIN}"><sheetData>{data}</sheetData></worksheet>'
        parts[f"xl/worksheets/sheet{n}.xml"] = f"{_XML}{whole}"
    return _zipped(path, parts)


def _xlsx_cell(cell: Cell, row: int, place: int) -> str:
    at = f"{chr(65 + place)}{row}"
    if cell is None or cell == "":
        return ""
    if isinstance(cell, bool):
        return f'<c r="{at}" t="b"><v>{int(cell)}</v></c>'
    if isinstance(cell, datetime.date):
        return f'<c r="{at}" s="1"><v>{(cell - _FIRST_DAY).days}</v></c>'
    if isinstance(cell, int | float):
        return f'<c r="{at}"><v>{cell!r}</v></c>'
    return f'<c r="{at}" t="inlineStr"><is><t xml:space="preserve">{escape(cell)}</t></is></c>'


def write_ods(path: Path, tabs: Tabs) -> Path:
    """Write a workbook of OpenDocument (ISO/IEC 26300)."""
    names = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
        for short, long in (("office", "office"), ("table", "table"), ("text", "text"), ("manifest", "manifest"))
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    tables = "".join(
        f"<table:table table:name={quoteattr(name)}>"
        + "".join(f"<table:table-row>{''.join(map(_ods_cell, row)) or _ods_cell('')}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in tabs.items()
    )
    return _zipped(path, {
        "mimetype": kind,
        "META-INF/manifest.xml": f'{_XML}<manifest:manifest{names}><manifest:file-entry manifest:full-path="/" '
        f'manifest:media-type="{kind}"/></manifest:manifest>',
        "content.xml": f"{_XML}<office:document-content{names}><office:body><office:spreadsheet>{tables}"
        "</office:spreadsheet></office:body></office:document-content>",
    })  # fmt: skip


def _ods_cell(cell: Cell) -> str:
    if cell is None or cell == "":
        return "<table:table-cell/>"
    if isinstance(cell, bool):
        kind = f'boolean" office:boolean-value="{str(cell).lower()}'
    elif isinstance(cell, datetime.date):
        kind = f'date" office:date-value="{cell.isoformat()}'
    elif isinstance(cell, int | float):
        kind = f'float" office:value="{cell!r}'
    else:
        kind = "string"
    return f'<table:table-cell office:value-type="{kind}"><text:p>{escape(str(cell))}</text:p></table:table-cell>'


def _zipped(path: Path, parts: Mapping[str, str]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return path


WRITERS = {".xlsx": write_xlsx, ".ods": write_ods}
