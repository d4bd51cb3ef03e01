"""Modules are tested in the folder of tests of their own layer, not only from afar."""

import ast

import pytest

from ..helpers import ROOT

#: Packages, and the folder of tests that imports each of their modules.
TESTED = {"gwnet/ingest/tables": "ingest", "gwnet/ingest/readers": "ingest", "gwnet/store": "store"}

#: Modules that hold no code of their own.
EMPTY = {"gwnet.ingest.tables", "gwnet.store", "gwnet.store.fetch", "gwnet.store.models", "gwnet.store.save"}


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
    files = sorted((ROOT / package).rglob("*.py"))
    modules = {".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for file in files}
    assert len(modules) > 2
    assert modules - EMPTY - imported(TESTED[package]) == set()
