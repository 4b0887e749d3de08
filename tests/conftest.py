"""What every test may ask for."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

# The same draws everywhere: what passed here passes on the machine that decides
settings.register_profile("steady", derandomize=True)
settings.load_profile("steady")

_SHARED_DATA = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of real networks and benchmarks, where it is present."""
    if not _SHARED_DATA.is_dir():
        pytest.skip("the reference data folder ../shared/data is absent")
    return _SHARED_DATA
