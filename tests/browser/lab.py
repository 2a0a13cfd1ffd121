"""A JupyterLab of our own for one test session, and Debian's Chromium to look at it with."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import nbformat
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

WAIT = 60_000
WIDE, NARROW = {"width": 1600, "height": 2000}, {"width": 700, "height": 2200}
NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
EVIL = '<img src=x onerror="window.ran=1"><script>window.ran=1</script> & "quoted" \'so\''
expect.set_options(timeout=WAIT)
# What anywidget says where a machine is so busy that a widget loads for longer than two seconds; it loads on.
SLOW = "[anywidget] Failed to initialize model."
_LOCAL = ("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:", "about:")


def chromium_path() -> str | None:
    """Return where Chromium is, or None."""
    return os.environ.get("IDKEY_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def run_chromium() -> Iterator[Browser]:
    """Start Chromium, in which nothing goes out of itself."""
    off = "gpu quic background-networking component-update sync"
    args = ["--no-sandbox", "--no-first-run", *(f"--disable-{what}" for what in off.split())]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), headless=True, args=args)
        yield browser
        browser.close()


@dataclass
class Lab:
    """A running JupyterLab."""

    url: str
    root: Path


@contextmanager
def run_lab(home: Path) -> Iterator[Lab]:
    """Start JupyterLab on a free loopback port, on a copy of the notebooks, and stop it afterwards."""
    root = home / "notebooks"
    shutil.copytree(NOTEBOOKS, root)
    shutil.copytree(NOTEBOOKS.with_name("images_demo"), home / "images_demo")
    # Settings and workspaces stand below the first of these.
    folders = {f"JUPYTER_{name}_DIR": str(home / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")}
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    for extension, wanted in (
        ("notebook-extension/tracker", {"windowingMode": "none"}),
        ("apputils-extension/notification", {"fetchNews": "false", "checkForUpdates": False}),
    ):
        path = home / f"config/lab/user-settings/@jupyterlab/{extension}.jupyterlab-settings"
        path.parent.mkdir(parents=True)
        path.write_text(json.dumps(wanted))
    options = f"--no-browser --port={port} --ip=127.0.0.1 --IdentityProvider.token= --ServerApp.password="
    command = [sys.executable, "-m", "jupyter", "lab", *options.split(), "--allow-root"]
    command.append(f"--notebook-dir={root}")
    log = (home / "lab.log").open("w")
    process = subprocess.Popen(command, env=os.environ | folders, stdout=log, stderr=subprocess.STDOUT)
    url = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + 60
        while True:
            assert process.poll() is None, "JupyterLab stopped while starting"
            assert time.monotonic() < end, "JupyterLab did not start within 60 s"
            with suppress(OSError):
                urllib.request.urlopen(f"{url}/api", timeout=2).close()
                break
            time.sleep(0.2)
        yield Lab(url, root)
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


@contextmanager
def open_page(lab: Lab, browser: Browser) -> Iterator[Page]:
    """Open JupyterLab in Chromium, in a page that must ask nothing of the world outside and log no error."""
    wrong: list[str] = []
    context = browser.new_context(viewport=WIDE, reduced_motion="reduce", has_touch=True)
    page = context.new_page()
    page.set_default_timeout(WAIT)
    page.on("request", lambda r: None if r.url.startswith(_LOCAL) else wrong.append(r.url))
    page.on("pageerror", lambda error: wrong.append(str(error)) if SLOW not in str(error) else None)
    page.on("dialog", lambda dialog: (wrong.append(dialog.message), dialog.dismiss()))
    # Lab asks for a kernel when a session is slow to start: the one it offers is taken.
    asked = page.locator(".jp-Dialog").get_by_role("button", name="Select", exact=True)
    page.add_locator_handler(asked, lambda select: select.click())
    page.goto(f"{lab.url}/lab?reset")
    page.locator(".jp-DirListing-content").wait_for()
    yield page
    context.close()
    assert not wrong, wrong


def choose_in_menu(page: Page, menu: str, *words: str) -> None:
    """Go through the menus of JupyterLab."""
    page.get_by_role("menuitem", name=menu, exact=True).click()
    for item in words:
        page.locator(".lm-Menu-item", has_text=re.compile(f"^{item}")).first.click()


def open_notebook(page: Page, name: str) -> Locator:
    """Open a notebook from the list of files, or bring it to the front."""
    page.locator(".jp-DirListing-item", has_text=name).dblclick()
    page.locator(".lm-TabBar-tab.jp-mod-current", has_text=name).wait_for()
    until_idle(page)
    return page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)")


def write_notebook(page: Page, lab: Lab, name: str) -> None:
    """Write a notebook of one blank cell into the list of files."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("", id="c00")])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, lab.root / name)
    page.get_by_role("button", name="Refresh the file browser").click()


def run(notebook: Locator, number: int, code: str = "") -> Locator:
    """Run a code cell, with what is typed into it before; return the screen that it shows."""
    cell = notebook.locator(".jp-CodeCell").nth(number)
    cell.locator(".jp-InputArea-editor").click()
    notebook.page.keyboard.insert_text(code)
    notebook.page.keyboard.press("Shift+Enter")
    return cell.locator(".idk.widget-vbox").first


def show(notebook: Locator, code: str) -> Locator:
    """Run a line of code in the blank cell at the end, below which Lab puts the next."""
    return run(notebook, notebook.locator(".jp-CodeCell").count() - 1, code)


def until_idle(page: Page) -> None:
    """Wait until the kernel has done all it was asked."""
    expect(page.locator("#jp-main-statusbar")).to_contain_text("| Idle")


def press(part: Locator, words: str) -> None:
    """Click a button."""
    part.get_by_role("button", name=words, exact=True).first.click()


def says(part: Locator, words: str) -> None:
    """Wait until a line with these words is seen."""
    # Among lines alone: to look through every element of a page takes a quarter of a second.
    expect(part.locator("p, li, summary", has_text=words).locator("visible=true").first).to_be_visible()


def until_it_answers(screen: Locator) -> None:
    """Wait out the moment in which a question that has just come takes no answer."""
    fresh = "e => [...e.querySelectorAll('.idk-choice, .idk-skip')].some(c => c.getAnimations().length)"
    while screen.evaluate(fresh):
        screen.page.wait_for_timeout(50)


def answer(screen: Locator, words: str) -> None:
    """Click the state with these words, and wait until it stands among what was seen."""
    press(screen.locator(".idk-states"), words)
    expect(screen.locator(".idk-seen")).to_contain_text(f": {words}")


def choose(page: Page, option: str) -> None:
    """Open the menu that has the focus and go down to an option.

    JupyterLab keeps arrows and letters for its cells while a menu is shut, so it is opened first.
    """
    options = page.evaluate("[...document.activeElement.options].map(o => o.value)")
    at = page.evaluate("document.activeElement.selectedIndex")
    page.keyboard.press("Space")
    for _ in range(options.index(option) - at):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")


def tab_to(page: Page, wanted: str, *, backwards: bool = False) -> None:
    """Press Tab until the focus is on an element of this tag, or with this label, or with these words."""
    for _ in range(60):
        found = page.evaluate(
            "(e => [e.tagName, e.innerText, e.labels?.[0]?.innerText])(document.activeElement)"
        )
        if wanted in found:
            return
        page.keyboard.press("Shift+Tab" if backwards else "Tab")
    raise AssertionError(f"the keyboard did not come to {wanted}: last on {found}")


def reads_in_both_themes(screen: Locator, *selectors: str) -> None:
    """Assert that these texts stand out in the theme chosen and in the other, as WCAG 2.1 asks."""
    page, body = screen.page, screen.page.locator("body")
    for last in (False, True):
        light = body.get_attribute("data-jp-theme-light")
        for selector in selectors:
            screen.locator(selector).locator("visible=true").first.wait_for()
            assert screen.evaluate(CONTRAST, selector) >= 4.5, (light, selector)
        if not last:
            choose_in_menu(page, "Settings", "Theme", f"JupyterLab {'Dark' if light == 'true' else 'Light'}")
            expect(body).not_to_have_attribute("data-jp-theme-light", light)


def scrolls_sideways(screen: Locator) -> bool:
    """Whether a screen is wider than its window."""
    return screen.evaluate("e => e.scrollWidth - e.clientWidth") > 1


# Least contrast of the texts seen with the nearest background that is not transparent (WCAG 2.1, luminance).
CONTRAST = """
(screen, selector) => Math.min(...[...screen.querySelectorAll(selector)].filter(e =>
    e.checkVisibility() && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())).map(element => {
  const rgb = c => c.match(/[\\d.]+/g).map(Number);
  const lum = ([r, g, b]) => {
    const f = v => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b);
  };
  let node = element, back = [255, 255, 255];
  while (node) {
    const c = rgb(getComputedStyle(node).backgroundColor);
    if (c.length < 4 || c[3] > 0) { back = c; break; }
    node = node.parentElement;
  }
  const over = (c, b) => c.length < 4 ? c : c.slice(0, 3).map((v, i) => v * c[3] + b[i] * (1 - c[3]));
  const [a, b] = [lum(over(rgb(getComputedStyle(element).color), back)), lum(back)];
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
}))
"""
