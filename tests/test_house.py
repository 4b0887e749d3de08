"""The house checks itself: contracts, sizes, exports, and nothing unfinished."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import crossfall

_ROOT = Path(__file__).resolve().parents[1]
_SOURCES = sorted((_ROOT / "src").rglob("*.py"))
_ENGINE = [path for path in _SOURCES if "crossfall_app" not in path.parts]


def test_every_import_goes_down():
    run = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=_ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout


@pytest.mark.parametrize("path", _SOURCES, ids=lambda path: str(path.relative_to(_ROOT / "src")))
def test_a_module_is_one_topic(path):
    if "migrations" in path.parts:
        pytest.skip("written by Django")
    text = path.read_text()
    assert len(text.splitlines()) <= 520, "over 500 lines: would each line know its room?"
    assert ast.get_docstring(ast.parse(text)), "a module begins by telling its story"


def test_the_engine_says_what_it_exports():
    for found in pkgutil.walk_packages(crossfall.__path__, "crossfall."):
        module = importlib.import_module(found.name)
        exported = getattr(module, "__all__", None)
        if exported is None:
            continue
        for name in exported:
            assert hasattr(module, name), f"{found.name} does not have {name}"


@pytest.mark.parametrize("path", _ENGINE, ids=lambda path: str(path.relative_to(_ROOT / "src")))
def test_public_functions_are_documented(path):
    tree = ast.parse(path.read_text())
    bare = [
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert not bare, f"no docstring: {', '.join(bare)}"


@pytest.mark.parametrize("path", _ENGINE, ids=lambda path: str(path.relative_to(_ROOT / "src")))
def test_the_engine_reads_no_clock(path):
    calls = {
        f"{node.func.value.id}.{node.func.attr}"
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
    }
    assert not calls & {"date.today", "datetime.now", "datetime.today", "datetime.utcnow"}
