"""Which build of the page in the cab this is, and what it is made of."""

from __future__ import annotations

import hashlib
from functools import lru_cache

from crossfall_app.web import built
from crossfall_app.web.built import built_url

SHELL_FILES = ("cab.js", "cab.css", "mark.svg")
"""Built files that the page needs to start without signal."""


@lru_cache(maxsize=4)
def _release_of(urls: tuple[str, ...]) -> str:
    return hashlib.sha256("\n".join(urls).encode()).hexdigest()[:12]


def release() -> str:
    """A short name that changes with every change of the page: the hash of its files' names."""
    return _release_of(tuple(shell_urls()))


def shell_urls() -> list[str]:
    """Addresses that the service worker keeps, the page itself last."""
    fonts = sorted(
        f"{built_url('mark.svg').rpartition('/')[0]}/{each.name}"
        for each in built.BUILT.glob("*latin-wght-normal*.woff2")
    )
    return [*(built_url(name) for name in SHELL_FILES), built_url("cab-worker.js"), *fonts]
