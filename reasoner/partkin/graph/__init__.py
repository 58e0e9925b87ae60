"""The graph of a build: compiled from the sheets, completed by rules, asked by queries.

The only place that knows a triple store. Nothing heavy is imported before it is needed: a check needs
pyoxigraph alone; rdflib, pyshacl and owlrl come in only with `validate`, `contradictions` and
`read_turtle`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from partkin.graph.asking import ask_check, known_of
from partkin.graph.graph import Knowledge, compile_graph, graph_of, to_build
from partkin.model.lazily import lazily

if TYPE_CHECKING:
    from partkin.graph.closure import contradictions, validate
    from partkin.graph.incoming import read_turtle
    from partkin.graph.questions import ask, ask_server, list_queries
    from partkin.graph.statements import export_turtle

__all__ = [
    "Knowledge", "ask", "ask_check", "ask_server", "compile_graph", "contradictions", "export_turtle", "graph_of",
    "known_of", "list_queries", "read_turtle", "to_build", "validate",
]  # fmt: skip
# What a check has no need of.
__getattr__ = lazily(__name__, {
    "closure": ("contradictions", "validate"), "incoming": ("read_turtle",), "statements": ("export_turtle",),
    "questions": ("ask", "ask_server", "list_queries"),
})  # fmt: skip
