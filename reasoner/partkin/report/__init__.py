"""Words: what was found, as text, JSON and HTML for people and programs.

In: verdicts, views and plans, as the model has them. Out: text; nothing is written to a file here.
cli, page and commands ask for one text each, by module.
"""
