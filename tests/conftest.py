"""What all tests share."""

import pytest
from hypothesis import settings
from shipped import TABLE

import idkey

settings.register_profile("idkey", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("idkey")


@pytest.fixture(scope="session")
def shipped() -> idkey.TraitTable:
    """The table that comes with the package."""
    return TABLE
