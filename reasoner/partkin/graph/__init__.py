"""The graph of a build: compiled from the sheets, completed by rules, asked by queries.

The only place that knows a triple store. Nothing heavy is imported before it is needed: a check needs
pyoxigraph alone; rdflib, pyshacl and owlrl come in only with `validate`, `contradictions` and
`read_turtle`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from partkin.graph.asking import ask_check, known_of
from partkin.graph.graph import Knowledge, compile_graph, graph_of, to_build

if TYPE_CHECKING:
    from partkin.graph.closure import contradictions, validate
    from partkin.graph.incoming import read_turtle
    from partkin.graph.questions import ask, ask_server, list_queries
    from partkin.graph.statements import export_turtle

__all__ = [
    "Knowledge",
    "ask",
    "ask_check",
    "ask_server",
    "compile_graph",
    "contradictions",
    "export_turtle",
    "graph_of",
    "known_of",
    "list_queries",
    "read_turtle",
    "to_build",
    "validate",
]
# What a check has no need of.
_ELSEWHERE = {
    "ask": "questions", "ask_server": "questions", "contradictions": "closure", "export_turtle": "statements",
    "list_queries": "questions", "read_turtle": "incoming", "validate": "closure",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a module only when something of it is asked for."""
    if name in _ELSEWHERE:
        return getattr(import_module(f"{__name__}.{_ELSEWHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
