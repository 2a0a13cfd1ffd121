"""ruff has nothing to say."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("arguments", [["check"], ["format", "--check"]])
def test_ruff_is_content(arguments):
    command = [sys.executable, "-m", "ruff", *arguments, "--no-cache", "--quiet", str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
