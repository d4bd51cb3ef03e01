"""The Data Package, against the validator of its standard; every fault that it is to find is found."""

import json
import shutil

import frictionless
import pandas as pd
import pytest

import gwnet
from gwnet.exchange.datapackage import GIVEN, WORKED_OUT


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def package(net, tmp_path_factory):
    return net.export("datapackage", tmp_path_factory.mktemp("package") / "package", wells=["N1-U", "W-01", "P-1"])


def faults(package):
    """Return the codes of what the validator finds."""
    found = frictionless.validate(str(package / "datapackage.json"))
    return {error[0] for error in found.flatten(["type"])}


@pytest.mark.slow
def test_the_validator_finds_no_fault(package):
    assert faults(package) == set()
    described = json.loads((package / "datapackage.json").read_text())
    paths = {resource["path"] for resource in described["resources"]}
    assert {f"{GIVEN}/wells.csv", f"{GIVEN}/level_events.csv", f"{WORKED_OUT}/levels.csv"} <= paths
    wells = next(resource for resource in described["resources"] if resource["name"] == "wells")
    assert wells["schema"]["primaryKey"] == ["site", "well"]
    ground = next(field for field in wells["schema"]["fields"] if field["name"] == "ground_elevation_m")
    assert (ground["type"], ground["unit"]) == ("number", "m")
    assert "ground" in ground["description"]


def test_another_reader_finds_the_levels_that_are_printed(package, net):
    read = frictionless.Package(str(package / "datapackage.json")).get_resource("levels").read_rows()
    levels = net.levels(["N1-U", "W-01", "P-1"])
    assert [row["water_elevation_m"] is not None for row in read] == levels["water_elevation_m"].notna().tolist()
    for row, (_, level) in zip(read, levels.iterrows(), strict=True):
        assert row["well"] == level["well"]
        assert row["usable"] == level["usable"]
        if row["water_elevation_m"] is not None:
            assert float(row["water_elevation_m"]) == level["water_elevation_m"]
        assert pd.Timestamp(row["measured_at_utc"], tz="UTC") == level["measured_at_utc"]


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("construction.csv", ",W-01,", ",W-99,", "foreign-key"),
        ("construction.csv", ",casing,", ",chimney,", "constraint-error"),
        ("wells.csv", ",W-01,", ",N1-U,", "primary-key"),
        ("thresholds.csv", ",W-01,", ",W-01,", None),
    ],
)
def test_the_validator_finds_what_is_wrong(file, old, new, fault, package, tmp_path):
    damaged = shutil.copytree(package, tmp_path / "damaged")
    path = damaged / GIVEN / file
    if fault is None:
        path = damaged / WORKED_OUT / "levels.csv"
        cells = path.read_text().split("\n")
        cells[1] = cells[1].replace(",static,", ",static,x", 1)
        path.write_text("\n".join(cells))
        assert faults(damaged)
        return
    text = path.read_bytes().decode()
    assert old in text
    path.write_bytes(text.replace(old, new).encode())
    assert fault in faults(damaged)
