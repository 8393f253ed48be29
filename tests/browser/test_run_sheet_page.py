"""The run sheets as a browser shows them: nothing fetched, never wider than the screen."""

from __future__ import annotations

import shutil

import pytest

from trialkit.shipped import copy_demo
from trialkit.sowing_papers import make_run_sheets
from trialkit.trial.laying_out import lay_out_folder

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


def test_nothing_is_fetched_and_nothing_scrolls_sideways(tmp_path):
    folder = tmp_path / "plan"
    copy_demo(folder, "oats-2025-to-plan")
    lay_out_folder(folder)
    sheets = make_run_sheets(folder).written
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        page, seen = browser.new_page(), []
        page.on("request", lambda request: seen.append(request.url))
        page.on("console", lambda message: seen.append(message.text))
        for sheet in sheets:
            page.goto(sheet.as_uri(), wait_until="load")
            for width in (1000, 700, 390):
                page.set_viewport_size({"width": width, "height": 900})
                assert page.evaluate("document.documentElement.scrollWidth") <= width
        browser.close()
    assert seen == [sheet.as_uri() for sheet in sheets]
