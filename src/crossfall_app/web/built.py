"""Where the built scripts and styles are: names with a hash, looked up in the build's manifest."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

from django.templatetags.static import static

from crossfall.errors import WorkspaceError

BUILT = Path(__file__).resolve().parents[1] / "static" / "built"


def built_url(name: str) -> str:
    """Address of a built file by its plain name: ``morning.js``, ``office.css``.

    Raises
    ------
    WorkspaceError
        If the pages were never built, or this one was not.
    """
    files = _manifest()
    if name not in files:
        raise WorkspaceError(f"the built pages hold no {name!r}; run: python hatch_build.py")
    return str(static(f"built/{files[name]}"))


@lru_cache(maxsize=1)
def _manifest() -> dict[str, str]:
    try:
        content = json.loads((BUILT / "manifest.json").read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise WorkspaceError("the pages are not built; run: python hatch_build.py") from error
    files: dict[str, str] = content["files"]
    return files
