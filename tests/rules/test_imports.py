"""Who may import what: the layers of pyproject.toml, and the libraries that only one place may know."""

import re
import tomllib

import pytest

from ..helpers import ROOT, imports_of, package_modules, run_python

#: A library, and the only files below ``gwnet/`` that may import it.
ONLY_IN = {
    "click": r"cli/.*",
    "reportlab": r"reporting/pdf/\w+\.py",
    "pikepdf": r"reporting/pdf/\w+\.py|figures/base/archive\.py",
    "openpyxl": r"(ingest|exchange)/.*",
    "alembic": r"store/revision\.py",
}


def test_the_layers_hold():
    ran = run_python(
        "-c",
        "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))",
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
    )
    assert ran.code == 0, ran.out + ran.err
    assert re.search(r"Contracts: \d+ kept, 0 broken", ran.out), ran.out


def test_every_package_and_module_is_in_a_layer():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    layers = next(contract["layers"] for contract in contracts if contract["type"] == "layers")
    named = {name.strip(" ()") for line in layers for name in line.split("|")}
    there = {
        path.stem for path in (ROOT / "gwnet").iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()
    }
    assert there - {"__init__", "__main__"} <= named


@pytest.mark.slow
@pytest.mark.parametrize("library", ONLY_IN)
def test_a_library_is_known_in_one_place_only(library):
    home = re.compile(ONLY_IN[library])
    users = [
        str(file.relative_to(ROOT / "gwnet"))
        for file in package_modules()
        if any(name.split(".")[0] == library for name in imports_of(file)[0])
    ]
    assert users, f"nothing imports {library}: is it still needed?"
    assert [user for user in users if not home.fullmatch(user)] == []


@pytest.mark.slow
def test_imports_are_absolute():
    relative = {str(file): lines for file in package_modules() if (lines := imports_of(file)[1])}
    assert relative == {}
