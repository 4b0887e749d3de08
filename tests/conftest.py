"""What every test may ask for."""

from __future__ import annotations

from pathlib import Path

import pytest

_SHARED_DATA = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of real networks and benchmarks, where it is present."""
    if not _SHARED_DATA.is_dir():
        pytest.skip("the reference data folder ../shared/data is absent")
    return _SHARED_DATA
