"""Sheets made once for all tests that look at them."""

from __future__ import annotations

import pytest

from audit.settings import Settings
from audit.training.lessons.make import Choice, from_practice
from audit.training.lessons.sheets import Sheet


@pytest.fixture(scope="session")
def sheets() -> tuple[Sheet, ...]:
    """Sheets of the shipped photos."""
    return from_practice(Choice(), Settings()).sheets
