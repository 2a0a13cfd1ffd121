"""One JupyterLab, one browser and one page for the tests of this folder."""

from pathlib import Path

import lab as lab_module
import pytest


def pytest_collection_modifyitems(items):
    """Mark the tests of this folder."""
    here = str(Path(__file__).parent)
    for item in items:
        if str(item.path).startswith(here):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    with lab_module.run_lab(tmp_path_factory.mktemp("lab")) as running:
        yield running


@pytest.fixture(scope="session")
def page(lab, chromium):
    with lab_module.open_page(lab, chromium) as page:
        yield page


@pytest.fixture(scope="session")
def _blank(page, lab):
    lab_module.write_notebook(page, lab, "scratch.ipynb")


@pytest.fixture(scope="module")
def scratch(page, _blank):
    """A notebook that began as one blank cell, for what the shipped ones don't show; see `lab.show`."""
    return lab_module.open_notebook(page, "scratch.ipynb")


@pytest.fixture(autouse=True)
def _wide(page):
    page.set_viewport_size(lab_module.WIDE)
