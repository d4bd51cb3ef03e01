"""Levels as CF-1.11 netCDF: a checker, rules that it does not check, an independent reader, and broken copies."""

import shutil
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from scipy.io import netcdf_file

import gwnet
from gwnet.exchange import netcdf

from .time_series import small  # noqa: F401 (a fixture)


@pytest.fixture(scope="module")
def written(small, tmp_path_factory):  # noqa: F811
    return small.export("netcdf", tmp_path_factory.mktemp("netcdf") / "levels.nc")


def opened(path):
    """Return a file as xarray reads it, with the place of the series of each observation."""
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("netCDF4")
    with xarray.open_dataset(path, engine="netcdf4") as data:
        data.load()
    sizes = data["row_size"].to_numpy()
    return data, np.repeat(np.arange(len(sizes)), sizes)


def checked(path):
    """Return what a checker of CF says of a file."""
    pytest.importorskip("compliance_checker")
    command = [sys.executable, "-c", "import sys; from cchecker import main; sys.exit(main())"]
    tool = shutil.which("compliance-checker", path=f"{sys.prefix}/bin") or shutil.which("compliance-checker")
    command = [tool] if tool else command
    # that check stops inside the tool at every contiguous ragged array
    options = ["--test=cf:1.11", "--criteria=strict", "-s", "check_domain_variables", str(path)]
    return subprocess.run([*command, *options], capture_output=True, text=True, check=False, timeout=300)


@pytest.mark.slow
def test_a_checker_of_the_conventions_finds_nothing(written):
    done = checked(written)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "All tests passed!" in done.stdout


def copy_changed(path, target, change):
    """Copy a file and change the copy in place."""
    shutil.copy(path, target)
    with netcdf_file(target, "a", mmap=False) as file:
        change(file)
    return target


def test_the_checker_refuses_a_broken_copy(written, tmp_path):
    def change(file):
        file.variables["time"].units = b"fortnights"
        file.variables["latitude"].standard_name = b"latitudinal"

    done = checked(copy_changed(written, tmp_path / "broken.nc", change))
    assert done.returncode != 0 or "All tests passed!" not in done.stdout
    assert "latitudinal" in done.stdout


def broken_rules(path):
    """Return what a file breaks of the rules of CF-1.11, chapter 9, that the checker does not look at."""
    with netcdf_file(path, "r", mmap=False) as file:
        found, variables = [], file.variables
        if sum(getattr(one, "cf_role", b"") == b"timeseries_id" for one in variables.values()) != 1:
            found.append("cf_role")
        sizes = variables["row_size"]
        if getattr(sizes, "sample_dimension", b"") != b"obs":
            found.append("sample_dimension")
        # the classic form has a length of 0 as the unlimited dimension, which is read as None
        if int(sizes[:].sum()) != (file.dimensions["obs"] or 0):
            found.append("sum of row_size")
        ends = np.cumsum(sizes[:])[:-1]
        if any((np.diff(part) <= 0).any() for part in np.split(variables["time"][:], ends)):
            found.append("time")
        if file.featureType != b"timeSeries":
            found.append("featureType")
    return found


def test_the_rules_that_the_checker_leaves_out_hold(written):
    assert broken_rules(written) == []


def shorten(file):
    file.variables["row_size"][0] -= 1


def turn(file):
    file.variables["time"][0] = 4e9


def reset(name, attribute):
    return lambda file: setattr(file.variables[name], attribute, b"x")


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        (reset("timeseries_id", "cf_role"), "cf_role"),
        (reset("row_size", "sample_dimension"), "sample_dimension"),
        (shorten, "sum of row_size"),
        (turn, "time"),
        (lambda file: setattr(file, "featureType", b"point"), "featureType"),
    ],
)
def test_our_own_rules_see_a_broken_copy(written, tmp_path, change, rule):
    assert rule in broken_rules(copy_changed(written, tmp_path / "broken.nc", change))


def test_another_reader_finds_the_levels_of_the_record(written, small):  # noqa: F811
    data, series = opened(written)
    table = small.levels()
    wells = data["well"].to_numpy()[series]
    for name, column in (("depth_to_water", "depth_to_water_m"), ("groundwater_elevation", "water_elevation_m")):
        values = data[name].to_numpy()
        known = ~np.isnan(values)
        times = pd.DatetimeIndex(data["time"].to_numpy()[known])
        found = sorted(zip(wells[known], times.strftime("%FT%T"), np.round(values[known], 6), strict=True))
        plain = table[table["bound"].eq("") & table[column].notna()]
        stamps = plain["measured_at_utc"].dt.strftime("%FT%T")
        assert found == sorted(zip(plain["well"], stamps, plain[column].round(6), strict=True))
        assert len(found) == 6
    bounds = data["level_bound"].to_numpy()
    limits = data["level_limit"].to_numpy()[(bounds > 0) & ~np.isnan(data["level_limit"].to_numpy())]
    bounded = table[table["bound"].ne("")]
    assert np.isin(bounded["bound_elevation_m"].round(6), limits.round(6)).all()
    assert (bounds > 0).sum() == 2 * len(bounded)


def test_texts_places_and_datums_are_those_of_the_record(written, small):  # noqa: F811
    data, _ = opened(written)
    assert set(data["well"].to_numpy()) == {"A <1>", "B-2"}
    assert sorted(set(data["measuring_point_elevation"].to_numpy()[~np.isnan(data["measuring_point_elevation"])])) == [
        20.1,
        20.6,
        20.8,
    ]
    assert np.allclose(data["longitude"], 9.0, atol=0.01)  # the central meridian of zone 32 is 9 degrees east
    assert data.attrs["Conventions"] == "CF-1.11"
    assert "(state " in data.attrs["history"]
    assert np.unique(data["level_qc"].to_numpy()).tolist() == [0, 1, 3, 4]


def test_a_part_without_levels_is_a_valid_file(small, tmp_path):  # noqa: F811
    path = small.export("netcdf", tmp_path / "none.nc", start="1999-01-01", end="1999-12-31")
    assert broken_rules(path) == []
    with netcdf_file(path, "r", mmap=False) as file:
        assert not file.dimensions["obs"]
    assert netcdf.write_netcdf.__doc__


@pytest.mark.slow
def test_heads_of_loggers_are_in_it_with_their_uncertainty(demo_record, tmp_path):
    with gwnet.open(demo_record) as net:
        heads = net.loggers.heads(start="2025-10-01", end="2025-12-31")
        path = net.export("netcdf", tmp_path / "demo.nc", start="2025-10-01", end="2025-12-31")
    assert broken_rules(path) == []
    data, series = opened(path)
    logged = data["instrument"].to_numpy()[series] != ""
    for name, column in (("groundwater_elevation", "water_elevation_m"), ("elevation_uncertainty", "uncertainty_m")):
        known = heads["water_elevation_m"].notna()
        usable = logged & ~np.isnan(data["groundwater_elevation"].to_numpy())
        assert usable.sum() == known.sum() > 1_000
        assert np.allclose(np.sort(data[name].to_numpy()[usable]), np.sort(heads.loc[known, column]), atol=1e-9)
