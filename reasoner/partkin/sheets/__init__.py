"""The build folder: plain sheets in, values or every fault out; rows added without touching the rest.

In: a folder, a workbook, or somebody's own list. Out: a `Build`, or every fault as a `Problem`; files written whole.
Every room above may ask; a check loads nothing of what writes.
"""

from typing import TYPE_CHECKING

from partkin.model.lazily import lazily

if TYPE_CHECKING:
    from partkin.sheets.changing import append_all, fill, revise
    from partkin.sheets.files import content_of, in_folder, refuse_onto_a_build, write_bytes, write_text
    from partkin.sheets.loading import Loaded, load, read
    from partkin.sheets.offering import read_listings
    from partkin.sheets.own_list import Answers
    from partkin.sheets.starting import write_from, write_new
    from partkin.sheets.values import cells_of

__all__ = [
    "Answers", "Loaded", "append_all", "cells_of", "content_of", "fill", "in_folder", "load", "read", "read_listings",
    "refuse_onto_a_build", "revise", "write_bytes", "write_from", "write_new", "write_text",
]  # fmt: skip
__getattr__ = lazily(__name__, {
    "changing": ("append_all", "fill", "revise"), "loading": ("Loaded", "load", "read"), "own_list": ("Answers",),
    "files": ("content_of", "in_folder", "refuse_onto_a_build", "write_bytes", "write_text"),
    "offering": ("read_listings",), "starting": ("write_from", "write_new"), "values": ("cells_of",),
})  # fmt: skip
