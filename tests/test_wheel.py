"""The wheel holds the package and the table, nothing else, and works from where it is unpacked."""

import zipfile
from pathlib import Path

import pytest
from process import ROOT, python

import idkey


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build with the backend itself: no network, no isolation, and nothing written into the project."""
    folder = tmp_path_factory.mktemp("wheel")
    run = python("-m", "hatchling", "build", "-t", "wheel", "-d", folder)
    assert run.returncode == 0, run.stdout + run.stderr
    (made,) = folder.glob("*.whl")
    return made


def test_a_pure_wheel_holds_every_file_of_the_package_and_the_table_as_it_is_and_nothing_else(wheel):
    assert wheel.name.startswith("idkey-")
    assert wheel.name.endswith("-py3-none-any.whl")
    files = [*(ROOT / "idkey").rglob("*.*"), *(ROOT / "traits").iterdir()]
    wanted = {path.relative_to(ROOT).as_posix(): path.read_bytes() for path in files if path.suffix != ".pyc"}
    wanted = {name if name.startswith("idkey/") else f"idkey/{name}": data for name, data in wanted.items()}
    assert {"idkey/traits/taxa.csv", "idkey/views/style.css", "idkey/table/fields.csv"} <= wanted.keys()
    with zipfile.ZipFile(wheel) as archive:
        held = {name: archive.read(name) for name in archive.namelist() if ".dist-info/" not in name}
    assert held == wanted


def test_the_unpacked_wheel_loads_its_own_table(wheel, tmp_path):
    site, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    elsewhere.mkdir()
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    code = "import idkey; t = idkey.load_table(); print(len(t), idkey.__file__, t.origin.folder, sep='\\n')"
    run = python("-c", code, cwd=elsewhere, path=site)
    assert run.returncode == 0, run.stderr
    count, module, folder = run.stdout.splitlines()
    assert int(count) == len(idkey.load_table())
    assert Path(module) == site / "idkey" / "__init__.py"
    assert Path(folder) == site / "idkey" / "traits"
