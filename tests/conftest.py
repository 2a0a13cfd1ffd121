"""What all tests share."""

import os
import tempfile

import lab
import pytest
from hypothesis import settings
from shipped import TABLE

import idkey

# What the person who runs the tests has set for the screens counts for nothing here, nor is it changed.
os.environ["IDKEY_SETTINGS"] = tempfile.mkdtemp(prefix="idkey-")
settings.register_profile("idkey", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("idkey")


@pytest.fixture(scope="session")
def shipped() -> idkey.TraitTable:
    """The table that comes with the package."""
    return TABLE


@pytest.fixture(scope="session")
def chromium():
    """One browser for all tests of a process that look at a page: a second one can't be driven beside it."""
    with lab.run_chromium() as browser:
        yield browser


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """What has a long form, a module with `LONG` in it, is part of the long run.

    Without CI set, and without Chromium, what needs it says so and is left out; in CI it must run.
    """
    can_look = os.environ.get("CI") or lab.chromium_path()
    for item in items:
        if hasattr(getattr(item, "module", None), "LONG"):
            item.add_marker("long")
        if not can_look and "chromium" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.skip(reason="needs Chromium (Debian: apt install chromium)"))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """With pytest-xdist a file is run by one process, and so are the tests that share a JupyterLab.

    There are two of those: what looks at a screen waits for half of its time.
    """
    from xdist.scheduler import LoadFileScheduling

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid):
            folder, file = "tests/browser/", super()._split_scope(nodeid)
            return f"{folder} {file > f'{folder}test_f'}" if folder in nodeid else file

    return Scheduling(config, log)
