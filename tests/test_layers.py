"""Who imports whom, and what the package shows at its top."""

import ast
import os
import shutil
import subprocess
import sys
import tomllib
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import idkey
from idkey.errors import IdkeyError

ROOT = Path(__file__).resolve().parents[1]
LINT = (
    "import sys\nfrom importlinter.cli import lint_imports\n"
    "sys.exit(lint_imports(no_cache=True, no_logo=True))\n"
)
CONTRACTS = {
    c["id"]: c
    for c in tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
}


def python(code: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(cwd), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )


# -- contracts -------------------------------------------------------------------------------------------


def test_the_contracts_hold():
    run = python(LINT, ROOT)
    assert run.returncode == 0, run.stdout + run.stderr
    assert f"{len(CONTRACTS)} kept, 0 broken" in run.stdout


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("idkey/table/schema.py", "import idkey.model.key", "one-way"),
        ("idkey/model/match.py", "from idkey.views.key import key_document", "one-way"),
        ("idkey/errors.py", "from idkey.table.schema import Trait", "one-way"),
        ("idkey/views/html.py", "import idkey.widgets.identify", "one-way"),
        ("idkey/newroom/__init__.py", "x = 1", "one-way"),
        ("idkey/care/needs.py", "import ipywidgets", "widgets-only"),
        ("idkey/views/html.py", "def f():\n    import ipywidgets", "widgets-only"),
        ("idkey/views/html.py", "from matplotlib.figure import Figure", "drawing-only"),
        ("idkey/widgets/identify.py", "import matplotlib", "drawing-only"),
    ],
)
def test_the_contracts_can_be_broken(tmp_path, file, line, contract):
    shutil.copytree(ROOT / "idkey", tmp_path / "idkey", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / file).parent.mkdir(exist_ok=True)
    with (tmp_path / file).open("a", encoding="utf-8") as target:
        target.write(f"\n{line}\n")
    run = python(LINT, tmp_path)
    assert run.returncode == 1, run.stdout + run.stderr
    assert f"{CONTRACTS[contract]['name']} BROKEN" in run.stdout


def test_only_the_printing_is_let_off_for_matplotlib():
    for exception in CONTRACTS["drawing-only"]["ignore_imports"]:
        assert exception == "idkey.views.print -> matplotlib"
    for exception in CONTRACTS["widgets-only"]["ignore_imports"]:
        assert exception.startswith("idkey.widgets.")


# -- circles ---------------------------------------------------------------------------------------------


def imports_of(root: Path) -> dict[str, set[str]]:
    """Return the modules that each module imports, wherever in it: in a function or for types alone, too."""
    modules = {
        ".".join(path.relative_to(root).with_suffix("").parts).removesuffix(".__init__"): path
        for path in (root / "idkey").rglob("*.py")
    }
    graph: dict[str, set[str]] = {}
    for module, path in modules.items():
        names: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names.update(alias.name for alias in node.names)
            elif isinstance(node, ast.ImportFrom):
                names.update(f"{node.module}.{alias.name}" for alias in node.names)
                names.add(str(node.module))
        graph[module] = {name for name in names if name in modules} - {module, "idkey"}
    return graph


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Return the modules of one circle; empty where there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_no_two_modules_import_each_other_and_there_is_no_longer_circle():
    graph = imports_of(ROOT)
    assert len(graph) > 40
    assert circle({module: names for module, names in graph.items() if module != "idkey"}) == []


def test_a_circle_is_seen(tmp_path):
    for name, line in {"a": "def f():\n    import idkey.b", "b": "from idkey import a"}.items():
        (tmp_path / "idkey").mkdir(exist_ok=True)
        (tmp_path / "idkey" / f"{name}.py").write_text(line, encoding="utf-8")
    assert set(circle(imports_of(tmp_path))) == {"idkey.a", "idkey.b"}


# -- what an import costs --------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["import idkey", "import idkey; idkey.load_table()"])
def test_the_package_loads_neither_widgets_nor_drawing(code):
    heavy = "ipywidgets", "anywidget", "matplotlib", "IPython"
    run = python(f"{code}\nimport sys\nprint(sorted(set({heavy}) & set(sys.modules)))", ROOT)
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == "[]"


def test_the_check_above_sees_what_is_loaded():
    run = python("import idkey\nidkey.identify\nimport sys\nprint('ipywidgets' in sys.modules)", ROOT)
    assert run.stdout.strip() == "True", run.stderr


# -- public names ----------------------------------------------------------------------------------------


def test_at_most_twenty_two_public_names_in_order():
    assert len(idkey.__all__) <= 22
    assert idkey.__all__ == sorted(set(idkey.__all__))


@pytest.mark.parametrize("name", idkey.__all__)
def test_every_public_name_resolves_and_is_documented(name):
    found = getattr(idkey, name)
    assert callable(found)
    assert found.__name__ == name
    assert found.__doc__
    assert found.__module__.startswith("idkey.")


def test_the_fixed_names_are_there():
    # The names that other people's scripts call.
    fixed = {
        "Identification",
        "CareSheet",
        "NearestMatch",
        "TraitTable",
        "build_key",
        "care_for",
        "identify",
        "load_table",
    }
    assert fixed <= set(idkey.__all__)


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="has no attribute 'no_such_name'"):
        _ = idkey.no_such_name


def test_every_error_is_an_idkey_error_and_a_value_error():
    from idkey import errors

    kinds = [getattr(errors, n) for n in errors.__all__ if n.endswith("Error") or n == "UnknownName"]
    assert len(kinds) >= 4
    assert all(issubclass(k, IdkeyError) and issubclass(k, ValueError) for k in kinds)
