"""What the tests of all screens share."""

import logging

import pytest

import idkey
from idkey.widgets import base


@pytest.fixture(autouse=True)
def _errors_are_raised(monkeypatch, caplog):
    # A callback that fails must fail the test: outside a notebook traitlets only logs it.
    monkeypatch.setattr(base, "RAISE", True)
    # Nobody taps as fast as a test.
    monkeypatch.setattr(base, "SETTLING", 0.0)
    yield
    assert not [r for r in caplog.records if r.levelno >= logging.WARNING], caplog.text


@pytest.fixture
def book(tmp_path):
    """A book that nothing is in yet."""
    with idkey.open_book(tmp_path / "room.sqlite") as book:
        yield book
