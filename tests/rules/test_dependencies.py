"""What the package imports is declared, and what is declared is imported."""

import re
import sys
import tomllib

import pytest

from ..helpers import ROOT, imports_of, package_modules

#: Distributions by the module that they bring, where the names differ.
_BRINGS = {"PIL": "pillow", "fontTools": "fonttools"}
#: Declared and imported by others: time zones where the system has none.
_DATA = {"tzdata"}


def declared(extra=None):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = project["dependencies"] if extra is None else project["optional-dependencies"][extra]
    return {re.match(r"[\w-]+", text)[0].lower() for text in wanted}


def imported():
    """Return the distributions that the package imports anywhere."""
    names = {name.split(".")[0] for file in package_modules() for name in imports_of(file)[0]}
    own = {name for name in names if name != "gwnet" and name not in sys.stdlib_module_names}
    return {_BRINGS.get(name, name).lower() for name in own}


@pytest.mark.slow
def test_every_import_is_a_declared_dependency():
    assert imported() - declared() - declared("postgres") == set()


@pytest.mark.slow
def test_every_declared_dependency_is_imported():
    assert declared() - imported() == _DATA
