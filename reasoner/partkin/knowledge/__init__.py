"""The graph of a build: compiled from the sheets, completed by rules, asked by queries.

The only place that knows a triple store. Nothing heavy is imported before it is needed: a check needs
pyoxigraph alone; rdflib, pyshacl and owlrl come in only with `validate`, `contradictions` and
`read_turtle`.
"""

from partkin.knowledge.asking import ask_check
from partkin.knowledge.examining import contradictions, validate
from partkin.knowledge.graph import Knowledge, compile_graph, to_build
from partkin.knowledge.incoming import read_turtle
from partkin.knowledge.questions import ask, list_queries
from partkin.knowledge.turtle import export_turtle

__all__ = [
    "Knowledge",
    "ask",
    "ask_check",
    "compile_graph",
    "contradictions",
    "export_turtle",
    "list_queries",
    "read_turtle",
    "to_build",
    "validate",
]
