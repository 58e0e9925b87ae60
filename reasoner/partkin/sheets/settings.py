"""build.toml: the few settings of a build."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from partkin.model.build import Settings
from partkin.model.columns import NUMBER_SETTINGS, SETTING_MEANINGS, SETTINGS
from partkin.sheets.cells import GREATEST_NUMBER, LONGEST_NAME
from partkin.sheets.dialect import UTF8_MARK
from partkin.sheets.findings import ProblemList

LARGEST_TOML_BYTES = 1024 * 1024
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 1.0
LEAST_SAME, MOST_SAME = 0.01, 0.99
MOST_SCATTER_MM = 5.0
_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")
_CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)


def read_settings(content: bytes, findings: ProblemList) -> Settings:
    """Read build.toml; what is wrong is noted, and the defaults stand in for it."""
    text = _decode(content, findings)
    if text is None:
        return Settings()
    try:
        toml = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = _AT_LINE.search(str(error))
        what = _AT_LINE.sub("", str(error)).rstrip(".")
        what = f"this is not TOML: {what[:1].lower()}{what[1:]}"
        row = int(line[1]) if line else text.count("\n") + 1
        findings.fault(SETTINGS, row, "", what, 'Write lines such as name = "my build" below [build]')
        return Settings()
    except (RecursionError, ValueError):
        what = "this is not TOML that can be read"
        findings.fault(SETTINGS, 0, "", what, "Write only the lines of [build]")
        return Settings()
    settings = _from_toml(toml, text, findings)
    findings.currency = settings.currency
    return settings


def _decode(content: bytes, findings: ProblemList) -> str | None:
    if len(content) > LARGEST_TOML_BYTES:
        findings.fault(SETTINGS, 0, "", "the file is larger than 1 MB", "Write only the lines of [build]")
        return None
    try:
        return content.removeprefix(UTF8_MARK).decode("utf-8")
    except UnicodeDecodeError:
        findings.fault(SETTINGS, 0, "", "this is not text in UTF-8", "Save it as UTF-8")
        return None


def _shown(key: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in key)[:40]


def _line_of(key: str, text: str) -> int:
    match = re.search(rf"^[ \t]*(?:build\.)?[\"']?{re.escape(key)}[\"']?[ \t]*=", text, re.MULTILINE)
    return text.count("\n", 0, match.start()) + 1 if match else 0


def _from_toml(toml: dict[str, Any], text: str, findings: ProblemList) -> Settings:
    build = toml.get("build", {})
    for key in toml:
        if key == "build":
            continue
        known = key in SETTING_MEANINGS and not isinstance(toml[key], dict)
        mend = "Put it below a line [build]" if known else "Only the lines of [build] are read"
        findings.warn(SETTINGS, _line_of(key, text), _shown(key), "this is kept but not read", mend)
    if not isinstance(build, dict):
        what = "build is not a table"
        findings.fault(SETTINGS, _line_of("build", text), "build", what, "Begin with a line [build]")
        return Settings()
    read: dict[str, Any] = {}
    for key, value in build.items():
        row = _line_of(key, text)
        if key not in SETTING_MEANINGS:
            near = findings.meant(key, tuple(SETTING_MEANINGS))
            mend = f"{near}These are read: {', '.join(SETTING_MEANINGS)}"
            findings.warn(SETTINGS, row, _shown(key), "this is kept but not read", mend)
        elif wrong := _wrong(key, value):
            findings.fault(SETTINGS, row, key, *wrong)
        else:
            read[key] = float(value) if key in NUMBER_SETTINGS else value
    return Settings(**read)


def _wrong(key: str, value: Any) -> tuple[str, str] | None:
    if key == "name":
        if isinstance(value, str) and value.strip() and len(value) <= LONGEST_NAME and value.isprintable():
            return None
        return "the name is not a line of text", 'Write name = "my build"'
    if key == "currency":
        if isinstance(value, str) and _CURRENCY.fullmatch(value):
            return None
        return "the currency is not three capital letters", 'Write its ISO 4217 code, such as "EUR"'
    if key == "adapt_host":
        if isinstance(value, bool):
            return None
        return "adapt_host is neither true nor false", "Write true or false, without quotation marks"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= GREATEST_NUMBER:
        return f"{key} is not a number that can be used", "Write a number, without quotation marks"
    if key == "confidence" and not LEAST_CONFIDENCE < value < MOST_CONFIDENCE:
        return f"a confidence of {value:g} is not between 0.5 and 1", "Write a number such as 0.95"
    if key == "same_drawing" and not LEAST_SAME <= value <= MOST_SAME:
        return f"a same_drawing of {value:g} is not from 0.01 to 0.99", "Write a number such as 0.7"
    if key == "scatter_mm" and not 0.0 <= value <= MOST_SCATTER_MM:
        return f"a scatter_mm of {value:g} is not from 0 to 5", "Write a number such as 0.1"
    if key == "labour_rate" and value < 0.0:
        return f"a labour rate of {value:g} cannot be", "Write what an hour is worth, 0 or more"
    return None
