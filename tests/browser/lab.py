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
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import nbformat
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

WAIT = 60_000
NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
expect.set_options(timeout=20_000)
_LOCAL = ("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:", "about:")
SCREEN = ".idk.widget-vbox"
"""The identify screen among what a notebook shows."""


def chromium_path() -> str | None:
    """Return where Chromium is, or None."""
    return os.environ.get("IDKEY_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


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
        while not _answers(f"{url}/api"):
            assert process.poll() is None, "JupyterLab stopped while starting"
            assert time.monotonic() < end, "JupyterLab did not start within 60 s"
            time.sleep(0.2)
        yield Lab(url, root)
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


def _answers(url: str) -> bool:
    try:
        urllib.request.urlopen(url, timeout=2).close()
    except OSError:
        return False
    return True


@contextmanager
def run_chromium() -> Iterator[Browser]:
    """Start Chromium headless."""
    off = "gpu quic background-networking component-update sync"
    args = ["--no-sandbox", "--no-first-run", *(f"--disable-{what}" for what in off.split())]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), headless=True, args=args)
        yield browser
        browser.close()


@contextmanager
def open_page(browser: Browser) -> Iterator[Page]:
    """Open a page that must ask nothing of the world outside and log no error."""
    context = browser.new_context(viewport={"width": 1600, "height": 2000})
    page = context.new_page()
    page.set_default_timeout(WAIT)
    outside: list[str] = []
    errors: list[str] = []
    page.on("request", lambda r: None if r.url.startswith(_LOCAL) else outside.append(r.url))
    page.on("pageerror", lambda e: errors.append(str(e)))
    yield page
    context.close()
    assert not outside
    assert not errors


def set_theme(page: Page, theme: str) -> None:
    """Choose a theme in the menu, as a person does."""
    page.get_by_role("menuitem", name="Settings", exact=True).click()
    page.locator(".lm-Menu-item", has_text=re.compile("^Theme")).first.hover()
    page.locator(".lm-Menu-item", has_text=re.compile(f"^{theme}$")).first.click()
    light = str(theme.endswith("Light")).lower()
    page.locator(f"body[data-jp-theme-light={light}]").wait_for(state="attached")


def open_notebook(page: Page, lab: Lab, name: str, *, run: bool = True) -> None:
    """Open a notebook in a fresh workspace and run all of its cells."""
    page.goto(f"{lab.url}/lab/tree/{name}?reset")
    page.locator(".jp-Notebook").first.wait_for(timeout=WAIT)
    if not run:
        return
    until_idle(page)
    # If Lab asks for a kernel, its session still starting, the one it offers is taken.
    dialog = page.locator(".jp-Dialog")
    started = page.locator(".jp-Notebook .jp-InputPrompt").filter(has_text="*")
    done = page.locator(".idk.widget-vbox")
    for _ in range(3):
        page.get_by_role("menuitem", name="Run", exact=True).click()
        page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
        dialog.or_(started).or_(done).first.wait_for(timeout=WAIT)
        if not dialog.count():
            return
        dialog.get_by_role("button", name="Select", exact=True).click()
        dialog.wait_for(state="detached")


@contextmanager
def opened_once(chromium: Browser, lab: Lab, name: str, wanted: str) -> Iterator[Page]:
    """Open a notebook for all tests of a file, run it and wait for the screen and what is wanted in it."""
    with open_page(chromium) as page:
        open_notebook(page, lab, name)
        page.locator(f"{SCREEN} {wanted}").first.wait_for()
        yield page


def write_notebook(lab: Lab, name: str, cell: str) -> None:
    """Write a notebook of one cell."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell.strip(), id="c00")])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, lab.root / name)


def until_idle(page: Page) -> None:
    """Wait until the kernel has done all it was asked."""
    page.get_by_text(re.compile(r"\| Idle$")).first.wait_for(timeout=WAIT)


def answer(page: Page, words: str) -> None:
    """Click the state with these words, and wait until it stands among what was seen."""
    page.get_by_role("button", name=words, exact=True).first.click()
    expect(page.locator(f"{SCREEN} .idk-seen").get_by_text(words, exact=True).first).to_be_visible()


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
    """Assert that these texts stand out in the dark and the light theme, as WCAG 2.1 asks."""
    for theme in ("JupyterLab Dark", "JupyterLab Light"):
        set_theme(screen.page, theme)
        for selector in selectors:
            element = screen.locator(selector).first
            element.wait_for()
            assert element.evaluate(CONTRAST) >= 4.5, (theme, selector)


def scrolls_sideways(screen: Locator) -> bool:
    """Whether a screen is wider than its window."""
    return screen.evaluate("e => e.scrollWidth - e.clientWidth") > 1


# Contrast of the text with the nearest background that is not transparent (WCAG 2.1 relative luminance).
CONTRAST = """
element => {
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
}
"""
