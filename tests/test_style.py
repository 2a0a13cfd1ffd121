"""ruff has nothing to say."""

import pytest
from process import python


@pytest.mark.parametrize("arguments", [["check"], ["format", "--check"]])
def test_ruff_is_content(arguments):
    done = python("-m", "ruff", *arguments, "--no-cache", "--quiet", ".")
    assert done.returncode == 0, done.stdout + done.stderr
