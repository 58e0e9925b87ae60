"""Everything that can be said against a build as a graph; slow, and so only for those who ask for it."""

from __future__ import annotations

from partkin.model.build import Build
from partkin.model.problem import Problem


def contradictions(build: Build) -> tuple[Problem, ...]:
    """Return what contradicts itself in who is part of, takes the place of and supersedes whom (OWL RL)."""
    from partkin.graph.closure import contradictions as found

    return found(build)


def validate(build: Build) -> tuple[Problem, ...]:
    """Return every fault that the shapes and the vocabulary find in a build.

    Returns
    -------
    tuple of Problem
        In plain words, by sheet and row where the row is known; empty when there is none. Takes about a
        second; a check never calls it.
    """
    from partkin.graph.shapes import check_build

    shaped = check_build(build)
    # A ring is found both ways; the shapes' words for it are enough.
    seen = {(problem.sheet, problem.column) for problem in shaped}
    return (*shaped, *(one for one in contradictions(build) if (one.sheet, one.column) not in seen))
