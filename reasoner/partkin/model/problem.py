"""A fault in what the user gave, as a value."""

from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One fault of a sheet, and how to mend it.

    `row` counts as a spreadsheet does (the header is row 1); 0: the sheet as a whole.
    `warning`: said on standard error, and the work goes on.
    """

    sheet: str
    row: int
    column: str
    what: str
    mend: str
    warning: bool = False

    def __str__(self) -> str:
        """Render as `sheet:row:column: what. mend`."""
        if not self.row and not self.column:
            return f"{self.sheet}: {self.what}. {self.mend}"
        where = f"{self.sheet}:{self.row}:{self.column}" if self.row else f"{self.sheet}::{self.column}"
        return f"{where}: {self.what}. {self.mend}"


class FaultyInput(Exception):
    """Raised at the edge of the program when the sheets hold faults; carries every one of them."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems
