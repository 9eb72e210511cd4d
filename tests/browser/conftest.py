"""A headless Chromium without any network, one for the session; skipped with a reason where there is none."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

for folder in ("review", "browser"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / folder))

from chromium import start, wait_ready  # noqa: E402


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture
def show(browser: Any, tmp_path: Path) -> Callable[[bytes], Any]:
    """Open page bytes from disk, wait until it is ready, and hand back the browser."""

    def go(page: bytes) -> Any:
        path = tmp_path / "page.html"
        path.write_bytes(page)
        browser.get(path.as_uri())
        wait_ready(browser)
        return browser

    return go
