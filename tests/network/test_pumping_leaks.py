"""Readings of pumping tests are among the levels that are listed, and no result is worked out from them."""

import datetime as dt

import pandas as pd
import pytest

from gwnet.analysis.pumping.readings import TEST_STATUS
from gwnet.network import Network, init
from gwnet.store.contract import STATUSES

FIRST = dt.datetime(2026, 4, 1, 8, tzinfo=dt.UTC)
WELLS = {"PW": (0, 0), "O1": (60, 10), "O2": (10, 90), "O3": (-80, 30), "O4": (40, -70)}
DAY = dt.date(2024, 3, 12)


def tables():
    """Return a network of five wells with quarterly levels over eight years, and a threshold."""
    wells = "".join(f"S,{code},{500000 + x},{5300000 + y},upper,100,30\n" for code, (x, y) in WELLS.items())
    points = "".join(f"S,{code},2010-01-01,100.5,0.5\n" for code in WELLS)
    lines = []
    for year in range(2016, 2024):
        for month in (2, 5, 8, 11):
            for place, (code, (x, y)) in enumerate(WELLS.items()):
                depth = 5 + 0.001 * x + 0.002 * y + 0.02 * (year - 2016) + 0.1 * (month == 8) + 0.003 * place
                lines.append(f"S,{code},{year}-{month:02d}-12,10:0{place},{depth:.3f}\n")
    lines += [f"S,{code},{DAY},09:0{place},5.2\n" for place, code in enumerate(WELLS)]
    return {
        "sites": "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n",
        "aquifers": "aquifer,confinement\nupper,confined\n",
        "wells": f"site,well,easting,northing,aquifer,ground_elevation,total_depth\n{wells}",
        "measuring_points": f"site,well,valid_from,elevation,height_above_ground\n{points}",
        "level_events": f"site,well,date,time,depth_to_water\n{''.join(lines)}",
        "thresholds": "site,well,threshold,kind,water_elevation,consecutive\nS,O1,low,lower,95.0,1\n",
    }


def test_tables():
    """Return a test on the day of the newest levels that draws every well far below its threshold."""
    readings = [
        f"S,PT-1,{code},{DAY}T{hour:02d}:30,{5.2 + (hour > 9) * (2.0 + 0.1 * hour):.3f}\n"
        for code in WELLS
        for hour in range(8, 20)
    ]
    return {
        "pumping_tests": f"site,test,well,kind,starts_at,stops_at\nS,PT-1,PW,constant rate,{DAY}T09:30,{DAY}T18:00\n",
        "pumping_rates": "site,test,from,rate\nS,PT-1,0,12\n",
        "pumping_readings": f"site,test,well,measured_at,depth_to_water\n{''.join(readings)}",
    }


test_tables.__test__ = False


def made(folder, contents):
    folder.mkdir()
    for name, text in contents.items():
        (folder / f"{name}.csv").write_text(text)
    address = folder.parent / f"{folder.name}.sqlite"
    init(address)
    with Network(address) as net:
        net.load([folder], by="Ana", now_utc=FIRST)
    return address


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Give the same network twice: without a pumping test, and with one."""
    folder = tmp_path_factory.mktemp("leaks")
    addresses = made(folder / "without", tables()), made(folder / "with", tables() | test_tables())
    nets = [Network(address) for address in addresses]
    yield nets
    for net in nets:
        net.close()


@pytest.mark.slow
def test_readings_of_a_test_are_listed_under_a_status_of_their_own(both):
    without, with_test = (net.levels() for net in both)
    listed = with_test[with_test["status"] == TEST_STATUS]
    assert len(listed) == 12 * len(WELLS)
    assert TEST_STATUS not in STATUSES
    assert not listed["usable"].any()
    assert set(listed["unusable_reason"]) == {TEST_STATUS}
    assert listed["water_elevation_m"].notna().all()
    assert listed["uncertainty_m"].notna().all()
    rest = with_test[with_test["status"] != TEST_STATUS].reset_index(drop=True)
    pd.testing.assert_frame_equal(rest, without)
    one = both[1].levels(["O1"], start=DAY, end=DAY)
    assert (one["status"] == TEST_STATUS).sum() == 12


def results(net):
    """Return everything that is worked out from levels, as text or frames."""
    drawn = net.map("upper", DAY, method="triangulation")
    yield "trends", net.trends()
    yield "trend summary", net.trends(method="kendall")
    yield "thresholds", net.trends.thresholds()
    yield "seasons", net.seasons()
    yield "map", pd.DataFrame(drawn.control)
    yield "gradient", net.gradients(["PW", "O1", "O2", "O3"], DAY).summary()
    yield "series", net.levels.series("O1").to_frame()


@pytest.mark.slow
def test_no_map_trend_season_threshold_or_gradient_takes_them(both):
    for (name, without), (_, with_test) in zip(results(both[0]), results(both[1]), strict=True):
        pd.testing.assert_frame_equal(without, with_test, obj=name)


@pytest.mark.slow
def test_levels_extremes_and_thresholds_of_reports_are_the_same(both, tmp_path):
    written = []
    for number, net in enumerate(both):
        net.report("quarterly", "2024-Q1", tmp_path / str(number))
        names = ("levels_of_period", "levels_to_date", "thresholds", "map_control_upper_2024-03-12")
        files = {name: next((tmp_path / str(number)).glob(f"*_{name}.csv")) for name in names}
        written.append({name: path.read_bytes() for name, path in files.items()})
    assert written[0] == written[1]


def test_a_static_level_recorded_during_a_test_is_a_finding(tmp_path):
    contents = tables() | test_tables()
    contents["level_events"] += f"S,O1,{DAY},12:00,7.4\n"
    with Network(made(tmp_path / "late", contents)) as net:
        found = net.checks()
    [row] = found[found["rule"] == "static level during a pumping test"].to_dict("records")
    assert (row["well"], row["severity"]) == ("O1", "serious")
    assert "150 min after the start of test PT-1" in row["message"]
