"""Python in a process of its own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def python(*arguments, cwd=ROOT, path=None):
    """Run Python in a folder, with what stands in `path` (by default that folder) to import, and wait."""
    environment = {**os.environ, "PYTHONPATH": str(path or cwd), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, *map(str, arguments)]
    return subprocess.run(
        command, cwd=cwd, env=environment, capture_output=True, text=True, check=False, timeout=100
    )
