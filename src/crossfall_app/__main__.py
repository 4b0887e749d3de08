"""``python -m crossfall_app`` is the same as ``crossfall``."""

from __future__ import annotations

from crossfall_app.cli import main

if __name__ == "__main__":
    main()
