"""``gwnet export``: what it prints, what it refuses, and the exit codes."""

import json

import pytest

from gwnet.cli import DONE, STOPPED, WRONG_USAGE
from gwnet.cli.export import _Format


@pytest.fixture
def gwnet_with_demo(gwnet_here, demo_store):
    return lambda *arguments: gwnet_here(*arguments, "--db", demo_store)


def test_an_export_is_written_and_named(gwnet_with_demo, tmp_path):
    ran = gwnet_with_demo("export", "geojson", "--out", "wells.geojson", "--well", "W-01", "--unit", "ft")
    wells = json.loads((tmp_path / "wells.geojson").read_text())["features"] if ran.code == DONE else []
    assert (ran.code, ran.out.strip(), len(wells)) == (DONE, "wells.geojson", 1), ran.err
    assert "ground_elevation_ft" in wells[0]["properties"]
    again = gwnet_with_demo("export", "geojson", "--out", "wells.geojson")
    assert again.code == STOPPED
    assert "--replace" in again.err
    assert gwnet_with_demo("export", "geojson", "--out", "wells.geojson", "--replace").code == DONE


def test_formats_are_known_by_name_and_offered(gwnet_here):
    ran = gwnet_here("export", "drawing", "--out", "x")
    assert ran.code == WRONG_USAGE
    assert "geojson" in ran.err
    assert [item.value for item in _Format().shell_complete(None, None, "geoj")] == ["geojson"]


@pytest.mark.slow
def test_everything_is_written_and_restored_with_the_same_levels(gwnet_with_demo, gwnet_here):
    ran = gwnet_with_demo("export", "everything", "--out", "all.zip")
    assert (ran.code, ran.out.strip()) == (DONE, "all.zip"), ran.err
    assert gwnet_here("restore", "all.zip", "--db", "again.sqlite").code == DONE
    asked = ("levels", "--well", "W-01", "--format", "csv")
    assert gwnet_here(*asked, "--db", "again.sqlite").out == gwnet_with_demo(*asked).out
    refused = gwnet_with_demo("export", "everything", "--out", "part.zip", "--well", "W-01")
    assert refused.code != DONE
    assert "does not take --well" in refused.err
