"""One Playwright for all tests of a process: a second one beside it cannot be started."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

from tests.outside.chromium import absent


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """Playwright itself, which starts browsers."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        absent("the Python package playwright")
    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def chromium_program() -> str:
    """Debian's Chromium."""
    places = ("chromium", "chromium-browser", "google-chrome")
    found = next((p for p in map(shutil.which, places) if p), None)
    if found is None:
        absent("the program chromium")
    return str(found)
