"""Write docs/reference/cli.md from the commands themselves, so that the page cannot fall behind.

Run ``python tools/cli_reference.py`` after changing a command; a test checks that the page is
current.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args, get_type_hints

from typer.models import ArgumentInfo, OptionInfo

from crossfall_app.cli.entry import every_command

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "cli.md"

_INTRO = """# Commands

`crossfall COMMAND --help` says the same at the keyboard.

A command finds its workspace by its argument `DIR` or `--workspace`, else by the variable
`CROSSFALL_WORKSPACE`, else in the folder you are in. Results go to the output and everything else
to the error stream, where a bar shows how far long work is. With `--json` the output is exactly one
JSON object.

| exit code | means |
|---|---|
| 0 | done |
| 1 | crossfall made a mistake of its own; the details are in `errors.log` in the workspace |
| 2 | the input cannot be used; one sentence says what, where, and what to do; nothing was changed |
| 3 | nothing feasible: there is work and none of it can be done, or a plan failed its check |
| 130 | stopped by you |

<!-- Written by tools/cli_reference.py from crossfall_app.cli -->
"""


def cli_page() -> str:
    """The whole page as Markdown."""
    shown = [(name, command) for name, command, is_hidden in every_command() if not is_hidden]
    return _INTRO + "".join(_section(name, command) for name, command in shown)


def _section(name: str, command: Callable[..., None]) -> str:
    hints = get_type_hints(command, include_extras=True)
    parameters = inspect.signature(command).parameters.values()
    known = [(each, *get_args(hints[each.name])) for each in parameters]
    arguments = [each for each in known if isinstance(each[2], ArgumentInfo)]
    options = [each for each in known if isinstance(each[2], OptionInfo)]
    usage = " ".join(["crossfall", name, *(str(each[2].metavar) for each in arguments)])
    rows = [(f"`{str(info.metavar).strip('[]')}`", info.help, "") for _, _, info in arguments]
    rows += [_option(*each) for each in options]
    lines = [
        f"\n## {name}\n\n{inspect.getdoc(command)}\n\n```\n{usage} [OPTIONS]\n```\n",
        "\n| | meaning | when left out |\n|---|---|---|\n",
    ]
    for row in rows:
        cells = (str(cell or "").replace("|", "\\|") for cell in row)
        lines.append("| " + " | ".join(cells) + " |\n")
    return "".join(lines)


def _option(parameter: inspect.Parameter, kind: Any, info: OptionInfo) -> tuple[str, str, str]:
    given = (info.default, *(info.param_decls or ()))
    names = [each for each in given if isinstance(each, str) and each.startswith("-")]
    names = names or ["--" + parameter.name.replace("_", "-")]
    told = ", ".join(f"`{each}`" for each in names)
    if kind is not bool:
        told += f" `{info.metavar or _KINDS.get(kind, 'TEXT')}`"
    default = parameter.default
    is_shown = default not in (None, False, "", inspect.Parameter.empty)
    return told, info.help or "", f"`{default}`" if is_shown else ""


_KINDS = {
    int: "N",
    int | None: "N",
    float: "X",
    float | None: "X",
    Path: "FILE",
    Path | None: "FILE",
}


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(cli_page())
