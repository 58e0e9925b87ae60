"""Packages that few need are extras; a command that lacks one says which."""

import subprocess
import sys
import tomllib
from pathlib import Path
from zipfile import ZipFile

import pytest

from partkin.cli.app import EXTRAS
from partkin.tables.reader import shipped

DEMO = shipped("data") / "demo"
PYPROJECT = Path(__file__).resolve().parents[2] / "pyproject.toml"
WITHOUT = """
import sys
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] == {package!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Missing())
sys.argv = ["partkin", *{words!r}]
from partkin.cli import main
main()
"""


def test_every_extra_of_the_project_is_known_to_the_command_line() -> None:
    extras = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    assert set(EXTRAS.values()) == set(extras) - {"all", "test", "lint"}
    listed = {row.split(">")[0].replace("-", "_") for name in set(EXTRAS.values()) for row in extras[name]}
    assert listed <= set(EXTRAS)
    assert extras["all"] == [f"partkin[{','.join(name for name in extras if name not in ('all', 'test', 'lint'))}]"]


@pytest.mark.parametrize(
    ("package", "words"),
    [
        ("uvicorn", ("page", "--in", "empty")),
        ("reportlab", ("template", "top-dask", "--in", str(DEMO), "-o", "a.pdf")),
        ("ezdxf", ("template", "top-dask", "--in", str(DEMO), "-o", "a.dxf")),
        ("python_calamine", ("doctor", "build.xlsx")),
    ],
)
def test_a_missing_package_is_named_with_the_command_that_installs_it(
    tmp_path: Path, package: str, words: tuple
) -> None:
    with ZipFile(tmp_path / "build.xlsx", "w") as workbook:
        workbook.writestr("xl/workbook.xml", "<workbook/>")
    code = WITHOUT.format(package=package, words=words)
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert done.returncode == 2, done.stderr
    assert f"python -m pip install 'partkin[{EXTRAS[package]}]'" in done.stderr
    assert "Traceback" not in done.stderr
