"""The build folder: plain sheets in, values or every fault out; rows added without touching the rest."""

from partkin.sheets.appending import append, append_all
from partkin.sheets.filling import fill, revise
from partkin.sheets.loading import Loaded, load, read
from partkin.sheets.own_list import Answers
from partkin.sheets.starting import write_from, write_new
from partkin.sheets.workbook import refuse_workbook

__all__ = [
    "Answers",
    "Loaded",
    "append",
    "append_all",
    "fill",
    "load",
    "read",
    "refuse_workbook",
    "revise",
    "write_from",
    "write_new",
]
