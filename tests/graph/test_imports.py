"""Nothing heavy is imported before it is needed."""

import subprocess
import sys

HEAVY = ("rdflib", "owlrl", "pyshacl", "pandas", "numpy", "scipy")
_RUN = """
import sys
{code}
print(" ".join(name for name in {names!r} if name in sys.modules))
"""


def loaded(code: str, *names: str) -> list[str]:
    ran = subprocess.run(
        [sys.executable, "-c", _RUN.format(code=code, names=names)], capture_output=True, text=True, check=True
    )
    return ran.stdout.split()


def test_importing_the_stage_imports_no_graph_library():
    assert loaded("import partkin.graph", *HEAVY, "pyoxigraph", "difflib", "subprocess") == []


def test_a_check_imports_the_store_alone():
    code = """
from partkin.graph import ask_check, compile_graph, export_turtle, to_build
from partkin.model.build import Build, Part
build = Build(parts=(Part("h", origin="host"), Part("d", origin="donor", takes_place_of="h")))
graph = compile_graph(build)
assert ask_check(graph, "d").host.part.part == "h"
assert to_build(graph) == build and export_turtle(build)
"""
    assert loaded(code, *HEAVY, "pyoxigraph") == ["pyoxigraph"]
