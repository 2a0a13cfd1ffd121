"""A browser and a JupyterLab for the tests of this folder."""

import os
import shutil
from pathlib import Path

import lab as lab_module
import pytest

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"


def pytest_collection_modifyitems(items):
    """Without CI set, and without Chromium, these tests say so and are left out; in CI they must run."""
    if os.environ.get("CI") or lab_module.chromium_path():
        return
    here = str(Path(__file__).parent)
    for item in items:
        if str(item.path).startswith(here):
            item.add_marker(pytest.mark.skip(reason="needs Chromium (Debian: apt install chromium)"))


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    home = tmp_path_factory.mktemp("lab")
    shutil.copytree(NOTEBOOKS, home / "notebooks")
    with lab_module.run_lab(home / "notebooks", home / "home") as running:
        yield running


@pytest.fixture(scope="session")
def chromium():
    with lab_module.run_chromium() as browser:
        yield browser


@pytest.fixture
def page(chromium):
    """A page that must ask nothing of the world outside and log no error."""
    context = chromium.new_context(viewport={"width": 1500, "height": 2200})
    page = context.new_page()
    page.set_default_timeout(lab_module.WAIT)
    outside, errors = [], []
    page.on("request", lambda r: None if _is_local(r.url) else outside.append(r.url))
    page.on("pageerror", lambda e: errors.append(str(e)))
    yield page
    context.close()
    assert not outside
    assert not errors


def _is_local(url):
    return url.startswith(("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:", "about:"))
