"""Who imports whom, and what the package shows at its top."""

import shutil
import tomllib

import pytest
from process import ROOT, python

import idkey
from idkey import errors

LINT = (
    "import sys\nfrom importlinter.cli import lint_imports\n"
    "sys.exit(lint_imports(no_cache=True, no_logo=True))\n"
)
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CONTRACTS = {contract["id"]: contract for contract in PROJECT["tool"]["importlinter"]["contracts"]}


# -- contracts -------------------------------------------------------------------------------------------


def test_the_contracts_hold():
    run = python("-c", LINT)
    assert run.returncode == 0, run.stdout + run.stderr
    assert f"{len(CONTRACTS)} kept, 0 broken" in run.stdout


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("idkey/model/match.py", "from idkey.views.key import key_document", "one-way"),
        ("idkey/newroom/__init__.py", "x = 1", "one-way"),
        ("idkey/table/schema.py", "def f():\n    import idkey.table.rows", "no-circle"),
        ("idkey/views/html.py", "def f():\n    import ipywidgets", "widgets-only"),
        ("idkey/views/html.py", "from matplotlib.figure import Figure", "drawing-only"),
        ("idkey/views/html.py", "import sqlalchemy", "book-only"),
        ("idkey/care/room.py", "import idkey.book.book", "one-way"),
        ("idkey/care/room.py", "import skimage", "photo-only"),
    ],
)
def test_the_contracts_can_be_broken(tmp_path, file, line, contract):
    shutil.copytree(ROOT / "idkey", tmp_path / "idkey", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / file).parent.mkdir(exist_ok=True)
    with (tmp_path / file).open("a", encoding="utf-8") as target:
        target.write(f"\n{line}\n")
    run = python("-c", LINT, cwd=tmp_path)
    assert run.returncode == 1, run.stdout + run.stderr
    assert f"{CONTRACTS[contract]['name']} BROKEN" in run.stdout


def test_only_the_printing_is_let_off_for_matplotlib():
    assert CONTRACTS["drawing-only"]["ignore_imports"] == ["idkey.views.print -> matplotlib"]
    assert all(name.startswith("idkey.widgets.") for name in CONTRACTS["widgets-only"]["ignore_imports"])


# -- what an import costs --------------------------------------------------------------------------------


def test_the_package_loads_neither_widgets_nor_drawing_before_they_are_asked_for():
    heavy = {
        "ipywidgets",
        "anywidget",
        "matplotlib",
        "IPython",
        "sklearn",
        "sqlalchemy",
        "segno",
        "skimage",
        "PIL",
    }
    told = f"print(*sorted({heavy} & {{*sys.modules}}), sep=',')"
    run = python("-c", f"import sys, idkey\n{told}\nidkey.load_table()\n{told}\nidkey.identify\n{told}")
    assert run.returncode == 0, run.stderr
    once_imported, once_loaded, asked_for = run.stdout.split("\n")[:3]
    assert (once_imported, once_loaded) == ("", "")
    assert "ipywidgets" in asked_for


# -- public names ----------------------------------------------------------------------------------------


def test_at_most_twenty_two_public_names_in_order_those_that_scripts_call_among_them():
    assert len(idkey.__all__) <= 22
    assert idkey.__all__ == sorted(set(idkey.__all__))
    fixed = {"CareSheet", "Identification", "NearestMatch", "TraitTable"}
    assert fixed | {"build_key", "care_for", "identify", "load_table"} <= {*idkey.__all__}
    with pytest.raises(AttributeError, match="has no attribute 'no_such_name'"):
        _ = idkey.no_such_name


@pytest.mark.parametrize("name", idkey.__all__)
def test_every_public_name_resolves_and_is_documented(name):
    found = getattr(idkey, name)
    assert callable(found)
    assert found.__name__ == name
    assert found.__doc__
    assert found.__module__.startswith("idkey.")


def test_every_error_is_an_idkey_error_and_a_value_error():
    kinds = [kind for n, kind in vars(errors).items() if n.endswith("Error") or n == "UnknownName"]
    assert len(kinds) >= 4
    assert all(issubclass(kind, errors.IdkeyError) and issubclass(kind, ValueError) for kind in kinds)
