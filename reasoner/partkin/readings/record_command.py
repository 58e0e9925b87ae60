"""The record command that answers each question, as a person types it."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.model.positions import Suspect
from partkin.model.verdict import Unknown
from partkin.model.words import SIDES
from partkin.sheets import in_folder


def record_command(part: str, quantity: str, one: str, other: str, instrument: str | None, folder: str) -> str:
    """The command that takes a reading down.

    Examples
    --------
    >>> record_command("top", "centres", "a", "f", "steel rule", ".")
    'partkin record top a f VALUE --instrument "steel rule"'
    """
    words = ["partkin record", part, one, *([other] if other else []), "VALUE"]
    if quantity != "centres":
        words.append(f"--quantity {quantity}")
    if instrument is not None:
        words.append(f'--instrument "{instrument}"' if " " in instrument else f"--instrument {instrument}")
    return " ".join(words) + in_folder(folder)


def alike(asked: Unknown, among: Sequence[Unknown]) -> tuple[str, ...]:
    """Return the features that may be told at once what is asked of one, where it is asked of each of them, in order.

    Examples
    --------
    >>> asks = [Unknown("", "", "top", "fastener", name) for name in "abc"]
    >>> alike(asks[1], asks), alike(Unknown("", "", "top", "angle", "a"), asks)
    (('a', 'b', 'c'), ())
    """
    if asked.quantity not in ("fastener", "float"):
        return ()
    same = (one.from_feature for one in among if (one.part, one.quantity) == (asked.part, asked.quantity))
    return tuple(feature for feature in same if feature is not None)


def side_commands(one: Suspect | Unknown, folder: str, corrects: str = "") -> list[str]:
    """What takes down either answer to a left-or-right question.

    Examples
    --------
    >>> side_commands(Unknown("which way round it is", "", "top", "left of", "c", "a b"), ".")
    ['left:  partkin record top c --left-of a b', 'right: partkin record top c --right-of a b']
    """
    of = f"partkin record {one.part} {one.from_feature}"
    more = (f" --corrects {corrects}" if corrects else "") + in_folder(folder)
    return [f"{f'{way}:':<6} {of} --{way}-of {one.to_feature}{more}" for way in ("left", "right")]


def correcting(one: Suspect | Unknown, reading: str, folder: str) -> list[str]:
    """What corrects a reading that the others contradict.

    Examples
    --------
    >>> correcting(Unknown("reading r3", "", "top", "centres", "a", "b"), "r3", ".")
    ['partkin record top VALUE --corrects r3']
    """
    if one.quantity in SIDES:
        return side_commands(one, folder, reading)
    return [f"partkin record {one.part} VALUE --corrects {reading}{in_folder(folder)}"]
