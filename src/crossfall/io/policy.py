"""The policy as a file: every setting with its unit, range and evidence, in TOML.

A file may hold all settings or only those that differ. An unknown key, a value
of another kind or one out of its range refuses the file whole.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.toml import read_toml, toml_text, write_text
from crossfall.io.written import noun_of, plain
from crossfall.model import Policy
from crossfall.model.policy.setting import SettingRow, settings_of


def read_policy(path: str | Path, current: Policy | None = None) -> Policy:
    """The settings of a file laid over ``current``, or over the defaults.

    Lists replace the ones they name; in tables of named things, such as materials, the named
    ones change and the others stay.

    Raises
    ------
    InputError
        If ``version`` is missing, or a setting is unknown, of another kind or out of its range.
    """
    path = Path(path)
    given = read_toml(path)
    version = given.get("version")
    if not isinstance(version, str) or not version.strip():
        raise InputError(f"{path.name}, version is missing; give a changed policy a new one")
    problems: list[Problem] = []
    policy = noun_of(Policy, given, path.name, problems, base=current or Policy())
    refuse(problems)
    assert policy is not None
    return policy


def write_policy(policy: Policy, path: str | Path, *, only_changed: bool = False) -> Path:
    """Write a policy; with ``only_changed`` just the settings that differ from the defaults.

    Above each setting stands what it means, its unit and range, and what it rests on.

    Raises
    ------
    InputError
        If the folder is not there.
    """
    path = Path(path)
    write_text(path, policy_text(policy, only_changed=only_changed))
    return path


def policy_text(policy: Policy, *, only_changed: bool = False) -> str:
    """What :func:`write_policy` writes.

    Examples
    --------
    >>> print(policy_text(Policy(version="2026 spring"), only_changed=True))
    version = "2026 spring"
    <BLANKLINE>
    """
    content = plain(policy)
    if only_changed:
        usual = plain(replace(Policy(), version=policy.version))
        content = {"version": policy.version} | _differing(content, usual)
    about = {row.path: row for row in settings_of(policy)}
    return toml_text(content, lambda key: _words(about[key]) if key in about else "")


def _differing(content: dict[str, Any], usual: dict[str, Any]) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for key, value in content.items():
        if value == usual.get(key):
            continue
        if isinstance(value, dict) and isinstance(usual.get(key), dict):
            kept[key] = _differing(value, usual[key])
        else:
            kept[key] = value
    return kept


def _words(row: SettingRow) -> str:
    """``Wet enough to ... [mm] 0 to 10; default``."""
    unit = f" [{row.unit}]" if row.unit else ""
    span = ""
    if row.low is not None or row.high is not None:
        span = f" {'' if row.low is None else f'{row.low:g}'} to " + (
            "" if row.high is None else f"{row.high:g}"
        )
    rests = row.evidence + (f": {row.source}" if row.source else "")
    return " ".join(f"{row.doc}{unit}{span}; {rests}".split())
