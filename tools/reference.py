"""Write docs/reference/settings.md and rules.md from the program, so that they cannot fall behind.

Run ``python tools/reference.py`` after changing a setting or a rule; a test checks that both pages
are current.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from crossfall.judgement.calls import CALLS
from crossfall.judgement.causes import CAUSES
from crossfall.judgement.rulebase import Clause
from crossfall.model import Policy
from crossfall.model.policy.setting import SettingRow, settings_of

_REFERENCE = Path(__file__).resolve().parents[1] / "docs" / "reference"
PAGE, RULES_PAGE = _REFERENCE / "settings.md", _REFERENCE / "rules.md"

_INTRO = """# Settings

Every threshold, rate and specification, with its unit and what it rests on: *published* (seen in
text), *common practice* (no source), *recalled* (from memory, to be verified) or *default* (ours:
replace it by your own figure).
A changed policy is a new version, and every result names the version it was made with.

<!-- Written by tools/reference.py from crossfall.model.policy -->
"""

_HEAD = "| setting | value | unit | meaning | rests on |\n|---|---|---|---|---|\n"


def settings_page() -> str:
    """The whole page as Markdown."""
    parts = [_INTRO]
    room = ""
    for row in settings_of(Policy()):
        if row.path.split(".")[0] != room:
            room = row.path.split(".")[0]
            parts.append(f"\n## {room}\n\n{_HEAD}")
        parts.append(_line(row))
    return "".join(parts)


def rules_page() -> str:
    """Every rule with its clauses, its words and what it rests on, as Markdown."""
    call_rows = [
        (
            f"`{rule.id}`",
            _clauses(rule.when),
            rule.treatment.label,
            rule.text,
            _ground(rule.evidence, rule.source),
        )
        for rule in CALLS
    ]
    cause_rows = [
        (
            f"`{rule.id}`",
            ", ".join(treatment.label for treatment in rule.treatments),
            _clauses(rule.when) or "always",
            rule.sentence,
            _ground(rule.evidence, rule.source),
        )
        for rule in CAUSES
    ]
    return "".join(
        (
            _RULES_INTRO.format(n_calls=len(CALLS), n_causes=len(CAUSES)),
            "\n## Calls\n\n| rule | when | calls for | says | rests on |\n|---|---|---|---|---|\n",
            *map(_row, call_rows),
            "\n## Causes, in the order they are tried\n\n",
            "| rule | of | when | says | rests on |\n|---|---|---|---|---|\n",
            *map(_row, cause_rows),
        )
    )


_RULES_INTRO = """# Rules

What each road needs is found by {n_calls} calls, and why by {n_causes} causes. Figures are those of
the [settings](settings.md) as they are delivered; a policy of your own changes them. A fact that
nobody knows makes no clause true; potholes nobody counted are taken as many, and a rough ride in
which nobody measured anything as washboard. [How they work together](../methods/condition.md).

<!-- Written by tools/reference.py from crossfall.judgement -->
"""


def _clauses(when: tuple[Clause, ...]) -> str:
    call = Policy().needs.call
    told = []
    for fact, relation, setting in when:
        if isinstance(setting, str):
            told.append(f"`{fact}` {relation} {getattr(call, setting):g} (`{setting}`)")
        else:
            # Flags are 0 or 1
            told.append(f"`{fact}`" if relation == ">" else f"not `{fact}`")
    return " and ".join(told)


def _ground(evidence: str, source: str) -> str:
    return evidence + (f": {source}" if source else "")


def _row(cells: tuple[str, ...]) -> str:
    shown = (cell.replace("|", "\\|").replace("<", "&lt;").replace("\n", " ") for cell in cells)
    return "| " + " | ".join(shown) + " |\n"


def _line(row: SettingRow) -> str:
    ground = _ground(row.evidence, row.source)
    cells = (f"`{row.path}`", _shown(row.value), row.unit, row.doc, ground)
    return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |\n"


def _shown(value: Any) -> str:
    if isinstance(value, float | int | str | bool):
        return f"`{value}`"
    if isinstance(value, dict | tuple | list):
        return f"{len(value)} entries" if value else "none"
    return f"`{type(value).__name__}`"


if __name__ == "__main__":
    PAGE.write_text(settings_page())
    RULES_PAGE.write_text(rules_page())
