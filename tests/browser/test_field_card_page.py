"""The field card as a browser shows and prints it: one file, nothing fetched, two pages."""

from __future__ import annotations

import shutil
from io import BytesIO

import pypdf
import pytest
from shapely.geometry import box

from trialkit.design import Wishes, plan_trial
from trialkit.report.field_card import field_card

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """Return the card as opened from the file, and what was asked for meanwhile."""
    field = box(85.0, -38.504, 85.007, -38.5)  # at sea: 610 m by 444 m
    plan = plan_trial(field, ["untreated", "dressed"], 6, Wishes(12, 9), seed=1)
    path = tmp_path_factory.mktemp("card") / "field-card.html"
    path.write_text(field_card(plan, trial="Invented", season=2026, control="untreated"))
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1000, "height": 900})
        seen = []
        page.on("request", lambda request: seen.append(request.url))
        page.on("console", lambda message: seen.append(message.text))
        page.goto(path.as_uri(), wait_until="load")
        yield page, [url for url in seen if not url.startswith("data:")], path
        browser.close()


def test_nothing_is_fetched_and_the_map_is_drawn(opened):
    page, seen, path = opened
    assert seen == [path.as_uri()]
    assert page.evaluate("document.images[0].naturalWidth") > 500


def test_the_page_never_scrolls_sideways(opened):
    page, _, _ = opened
    for width in (1000, 700, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_twelve_strips_print_on_two_pages(opened):
    page, _, _ = opened
    printed = pypdf.PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) == 2
    assert "Sowing order" in printed.pages[1].extract_text()
