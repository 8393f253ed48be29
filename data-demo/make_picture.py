"""Make `first-page.png` for the project's README: the demo's season report as a browser shows it.

Needs Chromium on the machine and the `test` extra.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from trialkit.report.render import render
from trialkit.shipped import demo_trials

HERE = Path(__file__).parent


def main() -> None:
    """Render the report of the first demo trial and photograph its first page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        report = render(next(iter(demo_trials().values())), Path(folder) / "report.html")
        browser = driver.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(report.as_uri())
        page.locator(".tk-front").screenshot(path=HERE / "first-page.png")
        browser.close()


if __name__ == "__main__":
    main()
