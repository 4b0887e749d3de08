"""The reference pages cannot fall behind the program."""

from __future__ import annotations

import importlib.util
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[1]


def test_the_settings_page_is_current():
    spec = importlib.util.spec_from_file_location("reference", _ROOT / "tools" / "reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.PAGE.read_text() == module.settings_page(), "run: python tools/reference.py"
