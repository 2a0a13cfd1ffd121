"""The wheel holds the table and the style sheet, and works from where it is unpacked."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import idkey

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build with the backend itself: no network, no isolation, and nothing written into the project."""
    folder = tmp_path_factory.mktemp("wheel")
    run = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (made,) = folder.glob("*.whl")
    return made


def names(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_wheel_is_pure_python(wheel):
    assert wheel.name.startswith("idkey-")
    assert wheel.name.endswith("-py3-none-any.whl")


@pytest.mark.parametrize(
    "path",
    [
        "idkey/traits/taxa.csv",
        "idkey/traits/traits.csv",
        "idkey/traits/care.csv",
        "idkey/traits/evidence.csv",
        "idkey/traits/sources.bib",
        "idkey/traits/datapackage.json",
        "idkey/views/art/pictures.csv",
        "idkey/views/art/side-deep.svg",
        "idkey/views/print.css",
        "idkey/views/print.html",
        "idkey/views/style.css",
    ],
)
def test_the_wheel_holds(wheel, path):
    assert path in names(wheel)


def test_the_wheel_holds_every_module(wheel):
    modules = {p.relative_to(ROOT).as_posix() for p in (ROOT / "idkey").rglob("*.py")}
    assert modules
    assert modules <= names(wheel)


def test_the_wheel_holds_nothing_else(wheel):
    others = {n for n in names(wheel) if not n.startswith("idkey/") and ".dist-info/" not in n}
    assert others == set()
    assert not [n for n in names(wheel) if "__pycache__" in n or "/tests/" in n]


def test_the_table_in_the_wheel_is_the_table(wheel):
    with zipfile.ZipFile(wheel) as archive:
        for file in (ROOT / "traits").iterdir():
            assert archive.read(f"idkey/traits/{file.name}") == file.read_bytes()


def test_the_unpacked_wheel_loads_its_own_table(wheel, tmp_path):
    site, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    elsewhere.mkdir()
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    code = (
        "import idkey, idkey.table.layout as f; "
        "print(len(idkey.load_table())); print(idkey.__file__); print(f.shipped_folder())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        cwd=elsewhere,
        env={**os.environ, "PYTHONPATH": str(site)},
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )
    assert run.returncode == 0, run.stderr
    count, module, folder = run.stdout.splitlines()
    assert int(count) == len(idkey.load_table())
    assert Path(module) == site / "idkey" / "__init__.py"
    assert Path(folder) == site / "idkey" / "traits"
