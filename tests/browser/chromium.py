"""Starting a headless Chromium that reaches no network, and waiting for the page."""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from typing import Any

import pytest

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=1400,950",
)  # fmt: skip


def start(folder: Path, *extra: str) -> Any:
    """Start a browser with a fresh profile."""
    binary = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if binary is None or driver is None:
        pytest.skip("no chromium with chromedriver on this machine")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = binary
    for flag in (*FLAGS, f"--user-data-dir={folder}", *extra):
        options.add_argument(flag)
    options.add_experimental_option("prefs", {"download.default_directory": str(folder)})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=Service(driver))


def wait_ready(driver: Any, seconds: float = 15.0) -> None:
    end = time.monotonic() + seconds
    while not driver.execute_script("return document.body.dataset.ready"):
        assert time.monotonic() < end, driver.find_element("id", "status").text
        time.sleep(0.05)
