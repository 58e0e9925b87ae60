"""Many measured parts in a folder, and which of them go on a host.

Comes in: build folders, exported Turtle, tables of features. Goes out: the parts that go on or may go on, best first.
`storing` keeps them, `index` finds the few that may go on by distances between two holes, `joining` lays those on.
Only `partkin.commands.stocking` and the command line call it; it needs pyarrow (the extra `stock`).
"""
