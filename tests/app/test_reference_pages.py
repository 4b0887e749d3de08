"""The reference pages say what the program does."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

from typer.testing import CliRunner

from crossfall_app.cli.entry import build, every_command
from crossfall_app.workspace import Config, create_workspace

_ROOT = Path(__file__).resolve().parents[2]


def test_the_page_of_commands_is_current():
    tool = runpy.run_path(str(_ROOT / "tools" / "cli_reference.py"))
    assert tool["PAGE"].read_text() == tool["cli_page"](), "run: python tools/cli_reference.py"


def test_every_command_has_its_section():
    page = (_ROOT / "docs" / "reference" / "cli.md").read_text()
    for name, command, is_hidden in every_command():
        assert (f"\n## {name}\n" in page) is not is_hidden
        assert len(command.__doc__.strip().splitlines()[0]) <= 62, "it stands on one line of --help"


def test_no_line_of_the_help_is_cut_off():
    told = CliRunner().invoke(build(), ["--help"], terminal_width=79)
    assert "hazard" in told.output
    assert "..." not in told.output.split("Commands:")[1]


def test_the_page_of_the_workspace_names_every_file_and_key(tmp_path):
    page = (_ROOT / "docs" / "reference" / "workspace.md").read_text()
    create_workspace(tmp_path / "w", Config())
    for file in (tmp_path / "w").iterdir():
        assert file.name in page
    for key in re.findall(r"^(\w+) =", Config().as_toml(), flags=re.MULTILINE):
        assert f"`{key}`" in page
    sources = [path.read_text() for path in (_ROOT / "src").rglob("*.py")]
    named = set(re.findall(r"\"(CROSSFALL_[A-Z_]+)\"", "".join(sources)))
    assert named
    assert [each for each in named if each not in page] == []
