"""The build folder: plain sheets in, values or every fault out; rows added without touching the rest.

In: a folder, a workbook, or somebody's own list. Out: a `Build`, or every fault as a `Problem`; files written whole.
Every room above may ask, each module by its name, so that a check loads nothing of what writes.
"""
