"""The reference pages cannot fall behind the program."""

from __future__ import annotations

import importlib.util
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[1]


def test_the_pages_of_settings_and_rules_are_current():
    spec = importlib.util.spec_from_file_location("reference", _ROOT / "tools" / "reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.PAGE.read_text() == module.settings_page(), "run: python tools/reference.py"
    assert module.RULES_PAGE.read_text() == module.rules_page(), "run: python tools/reference.py"
