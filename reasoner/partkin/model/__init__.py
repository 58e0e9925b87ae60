"""Frozen values and nothing else: the words that the stages speak to each other.

Named tuples load quicker; what is changed by `replace`, or has rows of a sheet, is a frozen dataclass.
"""
