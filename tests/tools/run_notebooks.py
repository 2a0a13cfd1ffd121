"""Run the notebooks and keep only what a reader needs: ``python tests/tools/run_notebooks.py``.

The live widget and its state are taken out; the static picture beside it stays.
"""

from __future__ import annotations

from pathlib import Path

import nbformat
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
WIDGET = "application/vnd.jupyter.widget-view+json"


def run(path: Path) -> None:
    """Run one notebook in place."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": path.parent}}
    ).execute()
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    for cell in notebook.cells:
        cell.metadata = {}
        for output in cell.get("outputs", []):
            output.get("data", {}).pop(WIDGET, None)
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for found in sorted(FOLDER.glob("*.ipynb")):
        run(found)
