"""Faults of what was typed, gathered so that all are told at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

from partkin.model.problem import FaultyInput, Problem

Given = ParamSpec("Given")
Answer = TypeVar("Answer")


class Faults:
    """The faults of one command, in the order in which they were found.

    Examples
    --------
    >>> faults = Faults("record")
    >>> faults.add("unit", "ell is no unit", "Say mm")
    >>> faults.raise_any()
    Traceback (most recent call last):
    partkin.model.problem.FaultyInput: record::unit: ell is no unit. Say mm
    """

    def __init__(self, command: str) -> None:
        self._command = command
        self._found: dict[Problem, None] = {}

    def __bool__(self) -> bool:
        """Whether there is any."""
        return bool(self._found)

    def add(self, where: str, what: str, mend: str) -> None:
        """Note one."""
        self._found[Problem(self._command, 0, where, what, mend)] = None

    def kept(self, call: Callable[Given, Answer], *args: Given.args, **rest: Given.kwargs) -> Answer | None:
        """Return what a call gives; None where it is refused, and its faults are noted."""
        try:
            return call(*args, **rest)
        except FaultyInput as fault:
            self._found.update(dict.fromkeys(fault.problems))
            return None

    def raise_any(self) -> None:
        """Raise FaultyInput with all of them, if there are any."""
        if self._found:
            raise FaultyInput(tuple(self._found))
