"""Modules are tested in the folder of tests of their own layer, not only from afar."""

import ast

import pytest

from ..helpers import ROOT

#: Packages, and the folder of tests that imports each of their modules.
TESTED = {
    "gwnet/analysis": "analysis",
    "gwnet/exchange": "exchange",
    "gwnet/hydro": "hydro",
    "gwnet/ingest/loggers": "ingest",
    "gwnet/ingest/readers": "ingest",
    "gwnet/ingest/tables": "ingest",
    "gwnet/reporting/annex": "reporting",
    "gwnet/reporting/definition": "reporting",
    "gwnet/reporting/sections": "reporting",
    "gwnet/store": "store",
}


def has_code(file):
    """Return whether a module holds more than a docstring and imports."""
    body = ast.parse(file.read_text(encoding="utf-8")).body
    return not all(isinstance(part, ast.Import | ast.ImportFrom | ast.Expr) for part in body)


def imported(folder):
    """Return every dotted name that the tests of a folder import."""
    names = set()
    for file in (ROOT / "tests" / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


@pytest.mark.parametrize("package", TESTED)
def test_every_module_is_imported_by_a_test_of_its_layer(package):
    files = [file for file in sorted((ROOT / package).rglob("*.py")) if has_code(file)]
    modules = {".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for file in files}
    assert modules
    assert modules - imported(TESTED[package]) == set()
