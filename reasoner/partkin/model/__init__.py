"""Frozen dataclasses and nothing else: the words that the stages speak to each other."""
