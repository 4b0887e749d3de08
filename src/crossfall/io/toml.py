"""TOML in and out: read whole or refused, written beside its place and moved there complete."""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from crossfall.errors import InputError

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
_WIDTH = 96

Comment = Callable[[str], str]
"""From a dotted key to the words that stand above it, or nothing."""


def read_toml(path: Path) -> dict[str, Any]:
    """Everything a TOML file says.

    Raises
    ------
    InputError
        If it is absent or not TOML; the message has the line.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise InputError(f"{path.name} does not exist") from None
    except IsADirectoryError:
        raise InputError(f"{path.name} is a folder; expected a TOML file") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path.name} is not TOML: {error}") from None


def toml_text(content: Mapping[str, Any], comment: Comment | None = None) -> str:
    """TOML of nested tables, lists of tables, text, figures, truths and dates.

    Examples
    --------
    >>> print(toml_text({"version": "2", "gate": {"rain_mm": 3.0}, "pit": [{"id": "p"}]}))
    version = "2"
    <BLANKLINE>
    [gate]
    rain_mm = 3.0
    <BLANKLINE>
    [[pit]]
    id = "p"
    <BLANKLINE>
    """
    lines: list[str] = []
    _tables(content, "", lines, comment or (lambda key: ""))
    return "\n".join(lines).lstrip("\n") + "\n"


def write_text(path: Path, text: str) -> None:
    """Write a file whole: an interruption leaves the old one.

    Raises
    ------
    InputError
        If the folder is not there.
    """
    if not path.parent.is_dir():
        raise InputError(f"folder {path.parent.name!r} for {path.name} does not exist")
    beside = path.with_name(f".{path.name}.part")
    beside.write_text(text, encoding="utf-8", newline="\n")
    os.replace(beside, path)


def _tables(content: Mapping[str, Any], path: str, lines: list[str], comment: Comment) -> None:
    inner: list[tuple[str, Any]] = []
    for key, value in content.items():
        dotted = f"{path}.{_key(key)}" if path else _key(key)
        if isinstance(value, Mapping) or _is_list_of_tables(value):
            inner.append((dotted, value))
            continue
        if words := comment(dotted):
            lines += [f"# {line}" for line in words.splitlines()]
        lines.append(f"{_key(key)} = {_value(value)}")
    for dotted, value in inner:
        if isinstance(value, Mapping):
            parts = value.values()
            if not value or not all(isinstance(p, Mapping) or _is_list_of_tables(p) for p in parts):
                lines += ["", f"[{dotted}]"]
            _tables(value, dotted, lines, comment)
            continue
        for entry in value:
            lines += ["", f"[[{dotted}]]"]
            _tables(entry, dotted, lines, comment)


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _quoted(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise InputError(f"{value} cannot be written; expected a finite figure")
        return repr(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        flat = "[" + ", ".join(_value(each) for each in value) + "]"
        if len(flat) <= _WIDTH:
            return flat
        return "[\n" + "".join(f"  {_value(each)},\n" for each in value) + "]"
    raise InputError(f"{value!r} cannot be written as TOML")


def _quoted(text: str) -> str:
    out = []
    for letter in text:
        if letter in _ESCAPES:
            out.append(_ESCAPES[letter])
        elif ord(letter) < 0x20 or ord(letter) == 0x7F:
            out.append(f"\\u{ord(letter):04x}")
        else:
            out.append(letter)
    return '"' + "".join(out) + '"'
