"""A question of the user's own, answered in a process of its own that can be stopped.

Reads one JSON object from standard input (quads, sparql, base, rows_at_most, megabytes), writes one to
standard output. The store has no way to stop a question that has begun; a process has.
"""

from __future__ import annotations

import json
import sys
from itertools import islice
from typing import Any

from partkin.graph.backwards import cell_of
from partkin.graph.names import PREFIXES
from partkin.graph.terms import tokens


def answer(store: Any, sparql: str, base: str, rows_at_most: int) -> dict[str, Any]:
    """Return columns, rows, answer and cut of a question, or its fault, as JSON can hold them."""
    import pyoxigraph

    # Asked of graphs that it names itself, a question sees those alone; else all of them as one.
    names_graphs = any(token.kind == "word" and token.text.upper() == "FROM" for token in tokens(sparql))
    try:
        found: Any = store.query(sparql, prefixes=PREFIXES, use_default_graph_as_union=not names_graphs)
        if isinstance(found, pyoxigraph.QueryBoolean):
            return {"columns": ["answer"], "rows": [[bool(found)]], "answer": bool(found), "cut": False}
        if isinstance(found, pyoxigraph.QuerySolutions):
            columns = [variable.value for variable in found.variables]
            solutions = ([cell_of(term, base) for term in solution] for solution in found)
        else:
            columns = ["subject", "predicate", "object"]
            solutions = ([cell_of(term, base) for term in (one.subject, one.predicate, one.object)] for one in found)
        rows = list(islice(solutions, rows_at_most + 1))
    except (SyntaxError, ValueError, RuntimeError, OSError) as fault:
        return {"fault": str(fault)}
    return {"columns": columns, "rows": rows[:rows_at_most], "answer": None, "cut": len(rows) > rows_at_most}


def _limit_memory(megabytes: int) -> None:
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))


def main() -> None:
    """Answer the one question on standard input."""
    import pyoxigraph

    asked = json.load(sys.stdin)
    _limit_memory(asked["megabytes"])
    store = pyoxigraph.Store()
    store.bulk_load(asked["quads"].encode(), format=pyoxigraph.RdfFormat.N_QUADS)
    json.dump(answer(store, asked["sparql"], asked["base"], asked["rows_at_most"]), sys.stdout)


if __name__ == "__main__":
    main()
