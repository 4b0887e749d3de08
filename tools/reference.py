"""Write docs/reference/settings.md from the policy, so that the page cannot fall behind.

Run ``python tools/reference.py`` after changing a setting; a test checks that the page is current.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from crossfall.model import Policy
from crossfall.model.policy.setting import SettingRow, settings_of

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "settings.md"

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


def _line(row: SettingRow) -> str:
    ground = row.evidence + (f": {row.source}" if row.source else "")
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
