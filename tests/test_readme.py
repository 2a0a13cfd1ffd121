"""README's command to open the notebooks, as it stands there."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def test_what_is_done_in_the_notebooks_leaves_git_clean_and_stays(tmp_path):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    command = re.search(r"^python3 -m venv .*jupyter lab (\S+)$", readme, re.MULTILINE)
    (copying,) = re.findall(r'python -c "([^"]+)"', command[0])
    shutil.copytree(ROOT / "notebooks", tmp_path / "notebooks")
    shutil.copy(ROOT / ".gitignore", tmp_path)

    def git(*words):
        run = subprocess.run(["git", "-C", tmp_path, *words], check=True, capture_output=True, text=True)
        return run.stdout

    git("init", "-q")
    git("add", "-A")
    before = git("status", "--porcelain")
    for text in (None, "done by hand"):
        subprocess.run([sys.executable, "-c", copying], cwd=tmp_path, check=True)
        opened = tmp_path / command[1]
        assert text is None or opened.read_text(encoding="utf-8") == text
        opened.write_text("done by hand", encoding="utf-8")
        assert git("status", "--porcelain") == before
