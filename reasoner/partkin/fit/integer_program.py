"""One way to HiGHS for every room that minimises over whole numbers.

In: columns with their costs and bounds, rows of weights by column. Out: the values, and what no solution can go below.
HiGHS is loaded by the first solution, not by this module.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

INFINITE = float("inf")
OPTIONS: dict[str, Any] = {
    "output_flag": False,
    "parallel": "off",
    "random_seed": 0,
    "mip_rel_gap": 1e-9,
    "mip_abs_gap": 1e-6,
    "mip_feasibility_tolerance": 1e-7,
}


@dataclass(frozen=True)
class IntegerSolution:
    """Values by column (None: there is no solution, or none was found within the limits).

    `bound`: no solution of the program as it stands costs less. `nodes`: how many branches it took.
    """

    values: list[float] | None
    bound: float
    nodes: int


class IntegerProgram:
    """A program that may grow by rows; its relaxation starts from where it was solved last."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        self.whole: list[int] = []
        self.rows: list[tuple[float, float, list[int], list[float]]] = []
        self.offset = 0.0
        self._relaxed: Any = None
        self._passed_on = 0

    def column(self, cost: float = 0.0, lower: float = 0.0, upper: float = 1.0, whole: bool = True) -> int:
        """Add a variable; return its column."""
        if whole:
            self.whole.append(len(self.cost))
        self.cost.append(cost)
        self.lower.append(lower)
        self.upper.append(upper)
        return len(self.cost) - 1

    def row(self, weights: Mapping[int, float], low: float = -INFINITE, high: float = 0.0) -> None:
        """Ask that the weighted sum of some columns lies between two values."""
        self.rows.append((low, high, list(weights), list(weights.values())))

    def fix(self, columns: Iterable[int], value: float) -> None:
        """Give some columns a value for good."""
        for column in sorted(columns):
            self.lower[column] = self.upper[column] = value
            if self._relaxed is not None:
                self._relaxed.changeColBounds(column, value, value)

    def start_afresh(self) -> None:
        """Forget where the relaxation was solved last."""
        self._relaxed = None

    def solve_relaxed(self) -> IntegerSolution:
        """Solve with fractions allowed."""
        if self._relaxed is None:
            self._relaxed, self._passed_on = self._loaded(), len(self.rows)
        for low, high, columns, weights in self.rows[self._passed_on :]:
            self._relaxed.addRow(low, high, len(columns), columns, weights)
        self._passed_on = len(self.rows)
        self._relaxed.run()
        return _solution(self._relaxed, self._relaxed.getInfo().objective_function_value)

    def solve(self, most_nodes: int) -> IntegerSolution:
        """Solve in whole numbers with at most so many branches.

        A fresh solver each time: HiGHS 1.16 was seen to report a wrong objective when integrality is set on a model
        whose relaxation it has just solved.

        Raises
        ------
        ArithmeticError
            HiGHS contradicts itself about what its solution costs.
        """
        import highspy

        solver = self._loaded()
        solver.changeColsIntegrality(len(self.whole), self.whole, [highspy.HighsVarType.kInteger] * len(self.whole))
        solver.setOptionValue("mip_max_nodes", most_nodes)
        solver.run()
        if not self._agrees(solver):
            solver.clearSolver()
            solver.setOptionValue("presolve", "off")
            solver.run()
            if not self._agrees(solver):
                raise ArithmeticError("HiGHS contradicts itself about the cost of its own solution")
        return _solution(solver, solver.getInfo().mip_dual_bound)

    def _agrees(self, solver: Any) -> bool:
        """Whether the objective that HiGHS reports is what its solution, if there is one, costs."""
        found = _solution(solver, 0.0)
        if found.values is None:
            return True
        own = self.offset + sum(c * v for c, v in zip(self.cost, found.values, strict=True))
        return bool(abs(solver.getInfo().objective_function_value - own) <= 1e-5 * max(1.0, abs(own)))

    def _loaded(self) -> Any:
        solver, count = _quiet_solver(), len(self.cost)
        solver.addVars(count, self.lower, self.upper)
        solver.changeColsCost(count, list(range(count)), self.cost)
        solver.changeObjectiveOffset(self.offset)
        starts: list[int] = []
        columns: list[int] = []
        weights: list[float] = []
        for _, _, of_row, with_weights in self.rows:
            starts.append(len(columns))
            columns += of_row
            weights += with_weights
        lows, highs = [row[0] for row in self.rows], [row[1] for row in self.rows]
        solver.addRows(len(self.rows), lows, highs, len(columns), starts, columns, weights)
        return solver


def _solution(solver: Any, bound: float) -> IntegerSolution:
    info = solver.getInfo()
    values = list(solver.getSolution().col_value) if info.primal_solution_status == 2 else None
    return IntegerSolution(values, float(bound), max(0, int(info.mip_node_count)))


def _quiet_solver() -> Any:
    """Make a solver that prints nothing: the class's own start prints a banner on standard output."""
    import highspy

    class Quiet(highspy.Highs):
        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()
            for option, value in OPTIONS.items():
                self.setOptionValue(option, value)

    return Quiet()
