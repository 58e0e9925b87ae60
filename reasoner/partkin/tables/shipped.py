"""Where the ontology and the data tables lie, in a wheel and in a checkout alike."""

from functools import cache
from pathlib import Path


@cache
def shipped(folder: str) -> Path:
    """The folder `ontology` or `data` as it travels with the program.

    Examples
    --------
    >>> (shipped("data") / "tables").is_dir()
    True
    """
    here = Path(__file__).resolve().parents[1]
    for root in (here / "_shipped", here.parent.parent):
        if (root / folder).is_dir():
            return root / folder
    raise FileNotFoundError(f"partkin was installed without its folder {folder!r}")
