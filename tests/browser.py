"""A headless Chromium as a person's browser, of desktop or phone size, without a network. Skips where there is none."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

DESKTOP, PHONE = (1280, 900), (390, 844)
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
)  # fmt: skip


@contextmanager
def browser(profile: Path, size: tuple[int, int] = DESKTOP) -> Iterator[Any]:
    """A selenium driver with a fresh profile in the folder `profile`, its window as large as `size`."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    driver_path = shutil.which("chromedriver")
    if chromium is None or driver_path is None:
        pytest.skip("no Chromium with chromedriver on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={profile}", f"--window-size={size[0]},{size[1]}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(executable_path=driver_path, log_output=os.devnull)
    driver = webdriver.Chrome(options=options, service=service)
    try:
        resize(driver, size)
        yield driver
    finally:
        driver.quit()


def resize(driver: Any, size: tuple[int, int]) -> None:
    """Make the page's viewport that large; a phone's also takes touches."""
    width, height = size
    phone = width < 600
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 2 if phone else 1, "mobile": phone},
    )
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": phone})


def offline(driver: Any, cut: bool = True) -> None:
    """Cut the network, or bring it back."""
    driver.execute_cdp_cmd("Network.enable", {})
    driver.execute_cdp_cmd(
        "Network.emulateNetworkConditions",
        {"offline": cut, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1},
    )


def complaints(driver: Any) -> list[str]:
    """What the page wrote to the console as warning or error."""
    return [e["message"] for e in driver.get_log("browser") if e["level"] in ("WARNING", "SEVERE")]
