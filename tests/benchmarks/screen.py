"""How long the identify screen takes: ``python tests/benchmarks/screen.py [--browser]``.

First the Python time of a click, up to the moment the outcome is sent and until the handler is done; 30
clicks along three paths, the first ones included. With --browser also the time from a click in Chromium on a
running JupyterLab to the changed outcome text.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

import idkey
from idkey.widgets import base

PATHS = (0, 1, 2)
CLICKS = 10

# Presses a state by its place among those shown, and waits until the outcome has changed.
CLICK = """
async place => {
  const screen = document.querySelector('.idk.widget-vbox');
  const shown = [...screen.querySelectorAll('button.idk-answer')].filter(b => b.offsetParent);
  const target = shown.length ? shown[place % shown.length]
    : [...screen.querySelectorAll('button')].find(b => b.innerText === "Can't see it");
  if (target.disabled) return null;
  const began = performance.now();
  const seen = new Promise(done => {
    const watch = new MutationObserver(() => { watch.disconnect(); done(performance.now() - began); });
    watch.observe(screen.querySelector('.idk-stands'), {childList: true, subtree: true, characterData: true});
    setTimeout(() => { watch.disconnect(); done(null); }, 3000);
  });
  target.click();
  return await seen;
}
"""


def python_times() -> tuple[list[float], list[float]]:
    """Seconds from a click to the outcome being sent, and to the end of the handler."""
    effects, totals = [], []
    for path in PATHS:
        screen = idkey.identify()
        sent: list[float] = []
        screen._outcome.observe(lambda _change, sent=sent: sent.append(time.perf_counter()), names="value")
        for click in range(CLICKS):
            asked = screen._asked
            if asked is None:
                screen._restart.click()
                continue
            states = [c for c in screen._states.children if c.state]
            button = states[(path + click * path) % len(states)].button if states else screen._skip
            sent.clear()
            began = time.perf_counter()
            button.click()
            totals.append(time.perf_counter() - began)
            if sent:
                effects.append(sent[0] - began)
    return effects, totals


def browser_times() -> list[float]:
    """Seconds from a click in the browser to the changed outcome."""
    import shutil

    import lab as lab_module

    notebooks = Path(__file__).resolve().parents[2] / "notebooks"
    found = []
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        shutil.copytree(notebooks, home / "notebooks")
        with (
            lab_module.run_lab(home / "notebooks", home / "home") as lab,
            lab_module.run_chromium() as chromium,
        ):
            page = chromium.new_page(viewport={"width": 1600, "height": 1500})
            lab_module.open_notebook(page, lab, "identify.ipynb")
            page.locator(".idk.widget-vbox h3").first.wait_for()
            lab_module.until_idle(page)
            for path in PATHS:
                for click in range(CLICKS):
                    taken = page.evaluate(CLICK, path + click * path)
                    if taken is None:
                        break
                    found.append(taken / 1000)
                    page.wait_for_timeout(500)
                page.get_by_role("button", name="Start again", exact=True).click()
                page.wait_for_timeout(500)
    return found


def report(what: str, seconds: list[float]) -> None:
    """Print the median and the slowest."""
    median, slowest = statistics.median(seconds) * 1000, max(seconds) * 1000
    print(f"{what:<52} {len(seconds):>3} clicks   median {median:6.1f} ms   slowest {slowest:6.1f} ms")


if __name__ == "__main__":
    base.RAISE = True
    effects, totals = python_times()
    report("Python, click to outcome sent", effects)
    report("Python, click to end of handler", totals)
    if "--browser" in sys.argv:
        report("Chromium and JupyterLab, click to changed outcome", browser_times())
