"""Which build of the page in the cab this is, and what it is made of."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from crossfall_app.web import built
from crossfall_app.web.built import built_url

ICONS = {180: "cab-icon-180.png", 192: "cab-icon-192.png", 512: "cab-icon-512.png"}
"""Icons in points, for phones that draw no SVG on their first screen."""
SHELL_FILES = ("cab.js", "cab.css", "mark.svg", ICONS[180], ICONS[192])
"""Built files that the page needs to start without signal."""


_PAGE = Path(__file__).parent / "templates" / "field" / "cab.html"


@lru_cache(maxsize=4)
def _release_of(urls: tuple[str, ...]) -> str:
    page = _PAGE.read_text(encoding="utf-8")
    return hashlib.sha256("\n".join([*urls, page]).encode()).hexdigest()[:12]


def release() -> str:
    """A short name that changes with every change of the page: the hash of its text and its
    files' names."""
    return _release_of(tuple(shell_urls()))


def shell_urls() -> list[str]:
    """Addresses that the service worker keeps, the page itself last."""
    fonts = sorted(
        f"{built_url('mark.svg').rpartition('/')[0]}/{each.name}"
        for each in built.BUILT.glob("*latin-wght-normal*.woff2")
    )
    return [*(built_url(name) for name in SHELL_FILES), built_url("cab-worker.js"), *fonts]
