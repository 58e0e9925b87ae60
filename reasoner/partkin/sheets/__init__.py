"""The build folder: plain sheets in, values or every fault out; rows added without touching the rest."""

from partkin.model.columns import COLUMNS, SHEETS, Column, Sheet, describe
from partkin.sheets.appending import append, append_all, append_rows
from partkin.sheets.filling import fill
from partkin.sheets.loading import Loaded, load, read
from partkin.sheets.number import NotANumber, Number, parse_number
from partkin.sheets.own_list import Answers
from partkin.sheets.starting import Begun, write_from, write_new
from partkin.sheets.workbook import refuse_workbook

__all__ = [
    "Answers",
    "Begun",
    "COLUMNS",
    "SHEETS",
    "Column",
    "Loaded",
    "NotANumber",
    "Number",
    "Sheet",
    "append",
    "append_all",
    "append_rows",
    "describe",
    "fill",
    "load",
    "parse_number",
    "read",
    "refuse_workbook",
    "write_from",
    "write_new",
]
