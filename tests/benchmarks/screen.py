"""How long the identify screen takes: ``python tests/benchmarks/screen.py [--browser]``.

First the Python time of a click, up to the moment the outcome is sent and until the handler is done; 30
clicks along three paths, the first ones included. With --browser also the time from a click in Chromium on a
running JupyterLab to the changed outcome text.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
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


def python_times() -> Iterator[tuple[float, float]]:
    """Yield for each click the seconds until the outcome is sent, and until the handler is done."""
    for path in PATHS:
        screen = idkey.identify()
        sent: list[float] = []
        screen._outcome.observe(lambda _change, sent=sent: sent.append(time.perf_counter()), names="value")
        for click in range(CLICKS):
            states = [c for c in screen._states.children if c.state]
            button = states[(path + click * path) % len(states)].button if states else screen._skip
            if screen._asked is None:
                screen._restart.click()
                continue
            sent.clear()
            began = time.perf_counter()
            button.click()
            yield (sent or [time.perf_counter()])[0] - began, time.perf_counter() - began


def browser_times() -> Iterator[float]:
    """Yield for each click in the browser the seconds until the outcome has changed."""
    import lab

    home = Path(tempfile.mkdtemp())
    with lab.run_lab(home) as running, lab.run_chromium() as chromium:
        page = chromium.new_page(viewport={"width": 1600, "height": 1500})
        lab.open_notebook(page, running, "identify.ipynb")
        page.locator(".idk.widget-vbox h3").first.wait_for()
        lab.until_idle(page)
        for path in PATHS:
            for click in range(CLICKS):
                taken = page.evaluate(CLICK, path + click * path)
                if taken is None:
                    break
                yield taken / 1000
                page.wait_for_timeout(500)
            page.get_by_role("button", name="Start again", exact=True).click()
            page.wait_for_timeout(500)
    shutil.rmtree(home)


def report(what: str, seconds: list[float]) -> None:
    """Print the median and the slowest."""
    median, slowest = statistics.median(seconds) * 1000, max(seconds) * 1000
    print(f"{what:<52} {len(seconds):>3} clicks   median {median:6.1f} ms   slowest {slowest:6.1f} ms")


if __name__ == "__main__":
    base.RAISE = True
    effects, totals = zip(*python_times(), strict=True)
    report("Python, click to outcome sent", effects)
    report("Python, click to end of handler", totals)
    if "--browser" in sys.argv:
        report("Chromium and JupyterLab, click to changed outcome", list(browser_times()))
