"""The lower bounds of libraries in pyproject.toml are true: what the code uses is there from the bound on."""

import ast
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

from ..helpers import ROOT, package_modules

#: Classes of click that take a type in brackets, and the first version in which they do: with click 8.3.3 the brackets
#: are a TypeError when the module is imported, with 8.4.0 they are not (both were installed and tried).
GENERIC_SINCE = {"ParamType": Version("8.4")}


@pytest.fixture(scope="module")
def lowest():
    """Give the lowest version that each needed library may have."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = [Requirement(line) for line in project["dependencies"]]
    return {one.name: Version(part.version) for one in needed for part in one.specifier if part.operator == ">="}


def bracketed_click_classes():
    """Return the names of the classes of click that a class is derived from with a type in brackets."""
    found = set()
    for file in package_modules():
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            for base in node.bases if isinstance(node, ast.ClassDef) else []:
                inner = base.value if isinstance(base, ast.Subscript) else None
                if isinstance(inner, ast.Attribute) and ast.unparse(inner.value) == "click":
                    found.add(inner.attr)
    return found


def test_every_needed_library_has_a_lower_bound(lowest):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert {Requirement(line).name for line in project["dependencies"]} == set(lowest)


@pytest.mark.slow
def test_click_is_new_enough_for_the_types_in_brackets(lowest):
    used = bracketed_click_classes()
    assert used <= set(GENERIC_SINCE)
    assert {name: lowest["click"] for name in used if lowest["click"] < GENERIC_SINCE[name]} == {}
