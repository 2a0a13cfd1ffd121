"""How large and how quick the file for a phone is: ``python tests/benchmarks/pocket.py``.

Nothing here is collected by pytest and no time is asserted. Chromium is slowed to a quarter of its speed, as
its own tools do it. First screen: from the start of the navigation until the first question was painted. An
answer: from the press until the first sentence and the next question were painted, and until all was, names
and drawings included. On a machine that is busy with other things the time of the page's own thread says
more, which Chromium counts beside it (its slowing included); of an answer that is all of it.
"""

import statistics
import sys
import tempfile
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
import lab

import idkey

SLOWER, OPENED, ANSWERS = 4, 5, 12
# Each asks for the frame before the page does, so that its time is taken before the page goes on.
FIRST = """window.firstScreen = new Promise((done) => {
  const look = () => requestAnimationFrame(() => {
    if (!document.getElementById("question")?.textContent) look();
    else setTimeout(() => done(performance.now()));
  });
  look();
});"""
PAINTED = "new Promise(done => requestAnimationFrame(() => setTimeout(() => done(performance.now()))))"
PRESS = f"""async () => {{
  const painted = {PAINTED}, before = performance.now();
  const button = document.querySelector("#states button");
  if (button) button.click();
  else {{ document.getElementById("from").value = "12"; document.getElementById("take").click(); }}
  const worked = performance.now() - before, first = await painted - before;
  return [worked, first, await {PAINTED} - before];
}}"""


def busy_ms(tools):
    """Return how long the page's thread has worked, ms."""
    figures = {m["name"]: m["value"] for m in tools.send("Performance.getMetrics")["metrics"]}
    return 1000 * figures["TaskDuration"]


def main():
    with tempfile.TemporaryDirectory() as folder, lab.run_chromium() as browser:
        path = Path(folder) / "pocket.html"
        idkey.pocket(idkey.load_table(), path)
        print(f"size: {path.stat().st_size / 1e6:.2f} MB")
        firsts, worked, painted, whole, first_busy, answer_busy = [], [], [], [], [], []
        for _ in range(OPENED):
            page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
            tools = page.context.new_cdp_session(page)
            tools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
            tools.send("Performance.enable", {"timeDomain": "threadTicks"})
            page.add_init_script(FIRST)
            page.goto(path.as_uri())
            firsts.append(page.evaluate("firstScreen"))
            page.evaluate(PAINTED)
            busy = [busy_ms(tools)]
            for _ in range(ANSWERS):
                if page.evaluate("trait === null"):
                    break
                work, paint, all_of_it = page.evaluate(PRESS)
                worked.append(work)
                busy.append(busy_ms(tools))
                painted.append(paint)
                whole.append(all_of_it)
            first_busy.append(busy[0])
            answer_busy += [later - before for before, later in pairwise(busy)]
            page.context.close()
    measured = {
        "first screen": firsts,
        "an answer, worked out": worked,
        "an answer, painted": painted,
        "an answer, all of it": whole,
        "first screen, thread": first_busy,
        "an answer, thread": answer_busy,
    }
    for what, times in measured.items():
        best, worst = min(times), max(times)
        print(f"{what}: median {statistics.median(times):.0f} ms ({best:.0f} to {worst:.0f}) of {len(times)}")


if __name__ == "__main__":
    main()
