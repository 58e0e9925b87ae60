"""Writes docs/terms.md and docs/rules.md from the ontology folder: python -m partkin.commands.documenting [FOLDER]"""

from __future__ import annotations

import sys
from pathlib import Path


def pages() -> dict[str, str]:
    """Return the pages by file name."""
    from partkin.graph.graph import query_files, rule_files
    from partkin.graph.terms import terms
    from partkin.report.terms import rules_page, terms_page

    return {"terms.md": terms_page(terms()), "rules.md": rules_page(rule_files(), query_files().values())}


def main() -> None:
    """Write the pages into a folder; docs when none is named."""
    from partkin.sheets import write_text

    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "docs")
    for name, text in pages().items():
        write_text(folder / name, text)
        print((folder / name).as_posix())


if __name__ == "__main__":
    main()
