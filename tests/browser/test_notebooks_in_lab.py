"""`trialkit lab` for real: the season's notebook by 'run all' in a browser, its controls moved."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request

import pytest

from trialkit.shipped import demo_folders

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SEASON = "oats-2024-no-frost"  # its log is the shorter one
ANSWER = ".widget-html [role=status]"
TOKEN = "for-this-test-only"
#: Nothing here takes this long, other work on the machine included.
PATIENCE_S = 120

pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
    pytest.mark.skipif(os.name == "nt", reason="processes are ended by group"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lab") / "trial"
    shutil.copytree(demo_folders()[SEASON], folder)
    return folder


@pytest.fixture(scope="module")
def lab(folder):
    """Start `trialkit lab` on the trial; return where it listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    home = folder.parent
    command = [
        *(sys.executable, "-c", "from trialkit.cli import main; main()", "lab", str(folder)),
        *("--no-browser", "--ip=127.0.0.1", f"--port={port}", "--ServerApp.port_retries=0"),
        *(f"--IdentityProvider.token={TOKEN}", "--allow-root"),
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]
    # Nothing of the user's own settings, and nothing left behind in them.
    own = {name: str(home / name) for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR",
           "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR", "JUPYTERLAB_WORKSPACES_DIR",
           "IPYTHONDIR")}  # fmt: skip
    with (home / "lab.log").open("w") as log:
        server = subprocess.Popen(
            command, env=os.environ | own, stdout=log, stderr=log, start_new_session=True
        )
        try:
            address = f"http://127.0.0.1:{port}"
            wait_until_up(f"{address}/api?token={TOKEN}", server, home / "lab.log")
            yield address
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(server.pid, signal.SIGKILL)
                server.wait()


def wait_until_up(url, server, log):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        assert server.poll() is None, log.read_text()
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except OSError:
            time.sleep(0.2)
    pytest.fail(log.read_text())


@pytest.fixture(scope="module")
def page(lab):
    """Open the season's notebook and run all of it; return the browser's page."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1400, "height": 1000})
        page.set_default_timeout(PATIENCE_S * 1000)
        page.goto(f"{lab}/lab/tree/notebooks/05-season-report.ipynb?reset&token={TOKEN}")
        page.wait_for_selector(".jp-Notebook:visible")
        # Before there is a kernel, JupyterLab would ask which one to take.
        page.get_by_text("| Idle").wait_for()
        page.click(".lm-MenuBar-itemLabel:text-is('Run')")
        page.click(".lm-Menu-itemLabel:text-is('Run All Cells')")
        # The last cell of all.
        page.locator(".tk-table:has-text('random seed')").wait_for(state="attached")
        yield page
        browser.close()


# One test, so that JupyterLab is started once, however the tests are shared out to processes.
def test_the_season_s_notebook_from_top_to_bottom(page, folder):
    the_notebooks_lie_beside_the_trial(page, folder)
    the_verdict_and_the_pictures_are_seen(page)
    no_cell_stopped(page)
    a_price_typed_changes_the_answer_and_the_picture(page)
    a_slider_moved_by_key_moves_the_number(page)
    the_button_brings_the_report_s_numbers_back(page)


def the_notebooks_lie_beside_the_trial(page, folder):
    names = [path.name for path in sorted((folder / "notebooks").glob("*.ipynb"))]
    assert "05-season-report.ipynb" in names
    shown = page.locator(".jp-DirListing-itemName").all_inner_texts()
    assert [name.strip() for name in shown] == names


def the_verdict_and_the_pictures_are_seen(page):
    verdict = page.locator(".tk-verdict")
    verdict.scroll_into_view_if_needed()
    assert "whether dressed paid" in verdict.text_content()
    widths = page.eval_on_selector_all(
        ".tk-picture img", "all => all.map(image => image.naturalWidth)"
    )
    assert len(widths) >= 8
    assert min(widths) > 50


def no_cell_stopped(page):
    outputs = page.locator("[data-mime-type='application/vnd.jupyter.error']")
    assert outputs.all_inner_texts() == []
    assert "Error displaying widget" not in page.locator(".jp-Notebook").text_content()


def chance(page):
    return int(re.search(r"chance it paid (\d+) in 100", page.locator(ANSWER).text_content())[1])


def a_price_typed_changes_the_answer_and_the_picture(page):
    price = page.get_by_label("Price of grain, AUD/t")
    price.scroll_into_view_if_needed()
    picture = page.locator(f"{ANSWER} img")
    before, drawn = chance(page), picture.get_attribute("src")
    reported = re.search(r"(\d+) in 100", page.locator(".tk-chance b").first.text_content())[1]
    assert before == int(reported)
    price.fill("200")
    page.keyboard.press("Enter")
    page.locator(f"{ANSWER}:has-text('Grain at 200 AUD/t')").wait_for()
    assert chance(page) < before
    assert picture.get_attribute("src") != drawn
    assert "Your price is 200" in picture.get_attribute("alt")


def a_slider_moved_by_key_moves_the_number(page):
    rate = page.get_by_label("Rate, % of the trial's")
    page.locator(".widget-hbox", has=rate).locator("[role=slider]").press("ArrowRight")
    page.locator(f"{ANSWER}:has-text('Only the cost follows the rate')").wait_for()
    assert rate.input_value() == "105"


def the_button_brings_the_report_s_numbers_back(page):
    page.get_by_role("button", name="As given").press("Enter")
    page.locator(ANSWER).filter(has_not_text="Only the cost follows").wait_for()
    assert "Grain at 310 AUD/t" in page.locator(ANSWER).text_content()
    assert page.get_by_label("Rate, % of the trial's").input_value() == "100"
