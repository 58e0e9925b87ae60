"""Readings: what was typed, what to read next and what its values mean, what to ask a seller.

In: words as a person types them, or what was found out of a donor. Out: rows for the sheets, or readings worth taking.
commands and the pipeline ask; nothing here writes.
"""
