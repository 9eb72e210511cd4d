"""A headless Chromium without any network, one for the session; skipped with a reason where there is none."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

for folder in ("review", "browser"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / folder))

from chromium import start, wait_ready  # noqa: E402
from pages import SOURCE, page_of, settle  # noqa: E402
from seabed import sites  # noqa: E402


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
        browser.get("about:blank")  # the page before stores what is left of its view
        browser.execute_cdp_cmd(
            "Storage.clearDataForOrigin", {"origin": "file://", "storageTypes": "local_storage"}
        )
        browser.get(path.as_uri())
        wait_ready(browser)
        return browser

    return go


@pytest.fixture(scope="session")
def table() -> pd.DataFrame:
    """Three hundred invented sites."""
    return sites(SOURCE, 300)


@pytest.fixture
def page(show: Callable[[bytes], Any], table: pd.DataFrame) -> Any:
    """The page of those sites, with nothing stored."""
    return show(page_of(table))


@pytest.fixture
def phone(page: Any) -> Iterator[Any]:
    """The same at 375 x 740 with a finger."""
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 375, "height": 740, "deviceScaleFactor": 2, "mobile": True},
    )
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    settle(page)
    yield page
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
