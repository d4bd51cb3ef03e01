"""The command line starts without the heavy libraries."""

import json

import pytest

from gwnet import network
from gwnet.cli import COMMANDS

from ..helpers import run_python

HEAVY = {"numpy", "scipy", "pandas", "sqlalchemy", "alembic", "matplotlib", "geopandas", "shapely", "reportlab"}


def loaded_after(code, cwd):
    """Return the names of the modules that a fresh process has loaded after running some code."""
    ran = run_python("-c", f"{code}\nimport json, sys\nprint(json.dumps(sorted(sys.modules)))", cwd=cwd)
    assert ran.code == 0, ran.err
    return set(json.loads(ran.out.splitlines()[-1]))


def test_help_loads_no_heavy_library_and_no_command(tmp_path):
    loaded = loaded_after("from gwnet.cli import main\nassert main(['--help']) == 0", tmp_path)
    assert "click" in loaded
    assert loaded & HEAVY == set()
    ours = {name for name in loaded if name.split(".")[0] == "gwnet"}
    assert ours == {"gwnet", "gwnet.cli", "gwnet.cli.lazy", "gwnet.errors", "gwnet.version"}


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command_loads_no_heavy_library(name, tmp_path):
    loaded = loaded_after(f"from gwnet.cli import main\nassert main([{name!r}, '--help']) == 0", tmp_path)
    assert loaded & HEAVY == set()


def test_a_mistyped_option_loads_no_heavy_library(tmp_path):
    loaded = loaded_after("from gwnet.cli import main\nassert main(['levels', '--wel', 'X']) == 2", tmp_path)
    assert loaded & HEAVY == set()


def test_importing_the_package_loads_no_heavy_library(tmp_path):
    assert loaded_after("import gwnet, gwnet.errors, gwnet.units", tmp_path) & HEAVY == set()


@pytest.mark.slow
def test_opening_a_record_loads_no_drawing_and_no_other_database(tmp_path):
    network.init(tmp_path / "a.sqlite")  # migrations know every database
    code = "import gwnet\nnet = gwnet.open('a.sqlite')\nnet.wells()\nnet.close()"
    loaded = loaded_after(code, tmp_path)
    assert loaded & {"matplotlib", "reportlab", "geopandas", "pikepdf", "sqlalchemy.dialects.postgresql"} == set()
