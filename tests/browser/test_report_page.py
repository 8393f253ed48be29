"""The season report as a browser shows it: one file, nothing fetched, the answer in sight."""

from __future__ import annotations

import shutil

import pytest

from trialkit.report.render import render
from trialkit.shipped import demo_trials

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
WINDOW = {"width": 1280, "height": 900}
#: A4 less the margins of the style sheet, in pixels of 1/96 inch.
A4_PX = {"width": 680, "height": 1024}

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    # The first demo trial, as `trialkit demo` copies it out.
    out = tmp_path_factory.mktemp("report") / "report.html"
    return render(next(iter(demo_trials().values())), out)


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def opened(browser, report):
    """Return the page as opened from the file, with what happened meanwhile."""
    page = browser.new_page(viewport=WINDOW)
    seen = {"requests": [], "failed": [], "console": [], "errors": []}
    page.on("request", lambda request: seen["requests"].append(request.url))
    page.on("requestfailed", lambda request: seen["failed"].append(request.url))
    page.on("console", lambda message: seen["console"].append(message.text))
    page.on("pageerror", lambda error: seen["errors"].append(str(error)))
    page.goto(report.as_uri(), wait_until="load")
    page.wait_for_timeout(300)
    yield page, seen
    page.close()


def test_nothing_is_fetched_and_nothing_goes_wrong(opened, report):
    _, seen = opened
    assert seen["failed"] == seen["errors"] == seen["console"] == []
    outside = [url for url in seen["requests"] if not url.startswith(("data:", "file:"))]
    assert outside == []
    assert [url for url in seen["requests"] if url.startswith("file:")] == [report.as_uri()]


def box(page, selector):
    found = page.locator(selector).first.bounding_box()
    assert found is not None, selector
    return found


@pytest.mark.parametrize(
    "selector",
    [
        ".tk-verdict",
        ".tk-evidence",
        ".tk-answers",
        ".tk-chance b",
        ".tk-main .tk-picture img",
        ".tk-where .tk-picture img",
        ".tk-left-out p",
    ],
)
def test_the_answer_is_in_sight_without_scrolling(opened, selector):
    page, _ = opened
    found = box(page, selector)
    assert found["width"] > 10
    assert found["height"] > 10
    assert found["x"] >= 0
    assert found["x"] + found["width"] <= WINDOW["width"]
    assert found["y"] >= 0
    assert found["y"] + found["height"] <= WINDOW["height"]


def test_the_verdict_is_words_and_the_chance_a_number(opened):
    page, _ = opened
    assert "paid" in page.locator(".tk-verdict").inner_text()
    assert "in 100" in page.locator(".tk-chance b").first.inner_text()


def test_every_picture_is_really_drawn(opened):
    page, _ = opened
    widths = page.eval_on_selector_all("img", "all => all.map(image => image.naturalWidth)")
    assert len(widths) >= 6
    assert min(widths) > 50


def test_the_page_never_scrolls_sideways(opened):
    page, _ = opened
    for width in (1280, 800, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size(WINDOW)


def test_the_first_page_fits_on_a4(opened):
    page, _ = opened
    page.emulate_media(media="print")
    page.set_viewport_size(A4_PX)
    found = box(page, ".tk-front")
    page.emulate_media(media="screen")
    page.set_viewport_size(WINDOW)
    assert found["height"] <= A4_PX["height"]
