"""What tests share."""

from __future__ import annotations

import pytest

from sweep.cad.needs import missing_library


@pytest.fixture(scope="session")
def cad_libraries() -> None:
    """Skips tests of solids where their libraries are missing, and says what to install."""
    missing = missing_library()
    if missing:
        pytest.skip(f"{missing.what}; {missing.remedy}")
