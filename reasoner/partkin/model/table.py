"""The answer to a question put to the graph, as rows."""

from dataclasses import dataclass

Cell = str | int | float | bool | None


@dataclass(frozen=True)
class Table:
    """Columns and rows; a cell that is not known is None.

    Attributes
    ----------
    columns
        Names, in the order of the question. Triples come as subject, predicate and object; a yes or no as the
        one column answer.
    rows
        One tuple a row, a cell for each column. Things are named by their ids (`part/feature`), words as the
        sheets hold them, terms by their prefixed names; numbers are numbers.
    answer
        Of a question that has a yes or no; None for others.
    cut
        Whether there were more rows than the limit lets through.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    answer: bool | None = None
    cut: bool = False
