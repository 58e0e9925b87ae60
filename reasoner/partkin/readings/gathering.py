"""Faults of what was typed, gathered so that all are told at once, and named as a command or a form does."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import ParamSpec, TypeVar

from partkin.model.problem import FaultyInput, Problem, refuse_any

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
        refuse_any(self._found)


@dataclass(frozen=True)
class TypedInto:
    """`labels`: of a form's fields, by name; none: the words are those of `partkin record`.

    Examples
    --------
    >>> TypedInto().put("unit", "cm", "mm"), TypedInto({"unit": "Unit"}).put("unit", "cm", "mm")
    ('Say --unit cm or --unit mm', 'Put cm or mm into "Unit"')
    >>> TypedInto().write("from", "value"), TypedInto({"from": "From", "value": "Value"}).write("from", "value")
    ('Write: partkin record PART FEATURE VALUE', 'Fill in "From" and "Value"')
    """

    labels: Mapping[str, str] = field(default_factory=dict)

    def place(self, name: str) -> str:
        """Name the place of one word."""
        return f'"{self.labels[name]}"' if self.labels else f"--{name}"

    def put(self, name: str, *values: str) -> str:
        """Ask for one of these values there."""
        if self.labels:
            return f"Put {' or '.join(values)} into {self.place(name)}"
        return f"Say {' or '.join(f'{self.place(name)} {value}' for value in values)}"

    def leave(self, name: str) -> str:
        """Ask for nothing there."""
        return f"leave {self.place(name)} {'empty' if self.labels else 'out'}"

    def beside(self, side: str) -> str:
        """Ask for a feature and the two that a line runs through."""
        if self.labels:
            return f"Fill in {self.place('from')}, and two names with a blank between in {self.place('to')}"
        return f"Write: partkin record PART FEATURE --{side.replace(' ', '-')} A B"

    def write(self, *names: str) -> str:
        """Ask for the words that a quantity takes."""
        if self.labels:
            *most, last = map(self.place, names)
            return f"Fill in {', '.join(most)}{' and ' if most else ''}{last}"
        words = {1: ("VALUE",), 2: ("FEATURE", "VALUE"), 3: ("FROM", "TO", "VALUE")}[len(names)]
        return f"Write: partkin record PART {' '.join(words)}"
