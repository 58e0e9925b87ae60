"""The README's first commands, and its worked check by hand. Its other figures: tests/documentation/test_figures.py."""

import re
from pathlib import Path

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_set_up_comes_first() -> None:
    """The first two shell blocks are one command each: set up and demo, set up and test."""
    blocks = re.findall(r"^```sh\n(.*?)^```", README, re.M | re.S)
    assert all(len(block.strip().splitlines()) == 1 for block in blocks[:2])
    assert blocks[0].strip().endswith("partkin demo") and "pytest" in blocks[1]


def test_what_is_worked_out_by_hand_is_what_the_check_prints() -> None:
    """The markers there are worked out of the sheets, by no code of the check."""
    (printed,) = re.findall(r"^```console\n(.*?)^```", README, re.M | re.S)
    by_hand = {name: float(shown) for name, shown in re.findall(r"<!--([^>]*)-->([\d.]+)<!--/-->", README)}
    donor, host = re.search(r"\(donor ([\d.]+), host ([\d.]+) mm\)", printed).groups()
    needed, play = re.search(r"stands ([\d.]+) mm further .*?allows ([\d.]+) mm", printed, re.S).groups()
    assert (by_hand["h to e"], by_hand["P1 to F5"]) == (float(donor), float(host))
    assert (by_hand["needed"], by_hand["both"]) == (float(needed), float(play))
    allowed = dict(re.findall(r"^  [x-] \w+ +(\w) +[\d.]+ +([\d.]+)", printed, re.M))
    assert (by_hand["screw"], by_hand["peg"]) == (float(allowed["e"]), float(allowed["h"]))
