"""A browser and a JupyterLab for the tests of this folder."""

import os
from pathlib import Path

import lab as lab_module
import pytest


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
    with lab_module.run_lab(tmp_path_factory.mktemp("lab")) as running:
        yield running


@pytest.fixture(scope="session")
def chromium():
    with lab_module.run_chromium() as browser:
        yield browser


@pytest.fixture
def page(chromium):
    """A page of its own for one test; see `lab.open_page`."""
    with lab_module.open_page(chromium) as page:
        yield page
