"""The notebooks in JupyterLab in a real browser, run from the menu as a keeper would.

All of them on a shelf of one culture, and the first one on the demo; the others run on the demo without a browser, as
every cell of every notebook does. LEAVENBENCH_BROWSER=all opens all of them on the demo, too.
Needs Chromium (on Debian: ``apt-get install chromium``); without one it says so and is passed over.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from leavenbench.lab import lab_command, prepare_lab

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), ""
)
pytestmark = pytest.mark.skipif(
    not CHROMIUM, reason="no Chromium on this machine: the notebook was not looked at in it"
)

#: The notebooks, the words by which each is known to be open, and the pictures that plain calls draw on either shelf.
NOTEBOOKS = [
    ("start_here", "Start here", {"the demo": 4, "her own": 4}),
    ("trust_the_warning", "How far can the warning", {"the demo": 3, "her own": 3}),
    ("feeding_round", "The feeding round", {"the demo": 3, "her own": 3}),
    ("safety_net", "The safety net", {"the demo": 1, "her own": 1}),
    ("sluggish_starter", "The sluggish starter", {"the demo": 1, "her own": 1}),
    ("compare_cultures", "Cultures side by side", {"the demo": 4, "her own": 0}),  # one culture is none to compare
    ("annual_report", "The year on paper", {"the demo": 8, "her own": 5}),
    ("plan_measurements", "Planning measurements", {"the demo": 3, "her own": 3}),
]
OPENED = [
    (*told, whose)
    for told in NOTEBOOKS
    for whose in ("the demo", "her own")
    if whose == "her own" or told is NOTEBOOKS[0] or os.environ.get("LEAVENBENCH_BROWSER") == "all"
]


def one_culture(folder):
    """Fill a fresh collection with one culture's log, as typed: eight rounds, the last ones weaker."""
    from leavenbench.records.template import new_collection

    new_collection(folder)
    hours = np.array([0, 1.5, 3, 4, 5, 6, 8, 24])
    refeeds, readings = [], []
    for number in range(8):
        for step in range(3):
            name, strength = f"{number + 1}-{step + 1}", 0.93 ** max(number - 3, 0)
            refeeds.append(f"{name},Alba,2024-{number + 1:02d}-{10 + step} 08:15")
            height = 42 + 55 / (1 + np.exp(-1.4 * strength * (hours - 4.2 / strength)))
            ph = 5.9 - 2.0 / (1 + np.exp(-1.0 * strength * (hours - 5.5 / strength)))
            jitter = 0.6 * np.sin(11 * hours + number + 3 * step)
            readings += [f"{name},{h:g},{x:.0f},{p:.2f}" for h, x, p in zip(hours, height + jitter, ph, strict=True)]
    (folder / "refeeds.csv").write_text("refeed,culture,fed_at\n" + "\n".join(refeeds) + "\n", encoding="utf-8")
    (folder / "readings.csv").write_text("refeed,elapsed,height,ph\n" + "\n".join(readings) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def addresses(tmp_path_factory):
    """Give the address of JupyterLab on the demo, and on her own shelf of one culture."""
    own = one_culture(tmp_path_factory.mktemp("keeper") / "our shelf")
    with _opened(None, tmp_path_factory.mktemp("lab")) as demo, _opened(own, tmp_path_factory.mktemp("lab")) as hers:
        yield {"the demo": demo, "her own": hers}


@contextmanager
def _opened(folder, place):
    home, _ = prepare_lab(folder, place / "home")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = place / "lab.log"
    command = [*lab_command(home), "--no-browser", f"--ServerApp.port={port}", "--allow-root"]
    own = {
        name: str(place / name.lower()) for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR")
    }
    whole = Path(own["JUPYTER_CONFIG_DIR"]) / "lab/user-settings/@jupyterlab/notebook-extension"
    whole.mkdir(parents=True)
    # else the browser forgets the cells, and the pictures, that are scrolled out of sight
    (whole / "tracker.jupyterlab-settings").write_text('{"windowingMode": "none"}', encoding="utf-8")
    server = subprocess.Popen(command, cwd=home, env={**os.environ, **own}, stderr=log.open("w"))
    try:
        yield _address(log, port)
    finally:
        server.terminate()
        server.wait(30)


def _address(log, port):
    for _ in range(240):
        found = re.search(rf"http://127\.0\.0\.1:{port}/lab\S*", log.read_text())
        with socket.socket() as asking:
            if found and asking.connect_ex(("127.0.0.1", port)) == 0:
                return found.group()
        time.sleep(0.25)
    raise AssertionError(log.read_text())


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        launched = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield launched
        launched.close()


@pytest.fixture
def page(browser):
    opened = browser.new_page(viewport={"width": 1400, "height": 1000})
    yield opened
    opened.close()


@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(("notebook", "heading", "pictures", "whose"), OPENED)
def test_run_all_cells_from_the_menu(notebook, heading, pictures, whose, addresses, page):
    # a workspace of its own, else the notebooks before it are opened beside it
    address = addresses[whose].replace("/lab/tree", f"/lab/workspaces/{notebook}/tree")
    page.goto(address.replace("start_here", notebook))
    page.get_by_role("heading", name=heading).wait_for(timeout=60_000)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_text("Run All Cells", exact=True).click()
    # The last cell is done when its pick list stands there.
    page.locator(".widget-dropdown select").wait_for(timeout=120_000)
    drawn = "document.querySelectorAll('.jp-OutputArea-output img').length"
    page.wait_for_function(f"{drawn} >= {pictures[whose]}", timeout=60_000)
    assert page.locator(".jp-RenderedText[data-mime-type='application/vnd.jupyter.stderr']").count() == 0
    assert page.get_by_text("Traceback").count() == 0
    assert page.get_by_text("Jupyter news").count() == 0
    before = page.locator(".jp-OutputArea-output img").count()
    page.locator(".widget-dropdown select").select_option(index=1)
    page.wait_for_function(f"{drawn} > {before}", timeout=60_000)
    if looked_at := os.environ.get("LEAVENBENCH_SCREENSHOTS"):
        _photograph(page, looked_at, f"{notebook} {whose}")


def _photograph(page, folder, whose):
    """Save what the browser shows, for a person to look at."""
    for number, picture in enumerate(page.locator(".jp-Cell").all()):
        picture.scroll_into_view_if_needed()
        picture.screenshot(path=f"{folder}/{whose.replace(' ', '_')}_{number:02d}.png")
