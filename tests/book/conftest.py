"""What the tests of the book share: each of them holds for a file and for a server."""

import os

import pytest
from killed import server
from postgres import BIN, Cluster

import idkey


@pytest.fixture(scope="session")
def cluster():
    """A PostgreSQL server; where there is none, what needs it is left out, but not in CI."""
    if not BIN.is_dir() and not os.environ.get("CI"):
        pytest.skip("no PostgreSQL on this machine (Debian: apt install postgresql)")
    running = Cluster()
    yield running
    running.remove()


@pytest.fixture(scope="session")
def desks():
    """Desks that are programs of their own; see `killed` and `desks`."""
    with server("book.desks", "desk") as running:
        yield running


@pytest.fixture(params=["file", "server"])
def address(request, tmp_path):
    """Where an empty book can be begun."""
    if request.param == "file":
        return tmp_path / "fish_room.sqlite"
    return request.getfixturevalue("cluster").place()


@pytest.fixture
def book(address):
    with idkey.open_book(address) as opened:
        yield opened
