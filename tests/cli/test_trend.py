"""``gwnet trend`` on a small constructed record, from its files on."""

import csv
import io
import json

import pytest

from gwnet.cli import DONE, STOPPED, WRONG_USAGE

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n",
    "aquifers": "aquifer,confinement\nupper,unconfined\nlower,confined\n",
    "wells": "site,well,easting,northing,aquifer,total_depth\n"
    "MM,MW-1,451200,5400100,upper,30\nMM,MW-2,451300,5400100,upper,20\nMM,MW-3,451400,5400100,lower,20\n",
    "construction": "site,well,part,top_depth,bottom_depth\nMM,MW-2,screen,14,18\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground,accuracy\n"
    "MM,MW-1,2000-01-01,101.250,0.5,0.01\nMM,MW-2,2000-01-01,100,0.5,0.01\n",
}

COLUMNS = (
    "well,method,n,first,last,n_bounds,s,var_s,tau,z,p,p_adjusted,slope_m_per_year,slope_lower_m_per_year,"
    "slope_upper_m_per_year,direction,note"
)


@pytest.fixture
def record(tmp_path, gwnet_here):
    """Load a record in which MW-1 falls by 0.1 m a year and MW-2 falls dry; return what runs the command line."""
    rows = ["site,well,date,status,depth_to_water"]
    for k in range(9):
        rows += [f"MM,MW-1,{2010 + k}-{month}-15,static,{3 + 0.1 * k:.2f}" for month in ("03", "09")]
        rows.append(f"MM,MW-2,{2010 + k}-03-15," + (f"static,{12 + 0.97 * k:.2f}" if k < 6 else "dry,"))
    rows.append("MM,MW-1,2019-01-15,pumping,9.00")
    for name, text in (TABLES | {"level_events": "\n".join(rows) + "\n"}).items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert gwnet_here("init").code == DONE
    ran = gwnet_here("load", *(f"{name}.csv" for name in TABLES), "level_events.csv", "--by", "Ana")
    assert ran.code == DONE, ran.err
    return gwnet_here


def rows(ran):
    assert ran.code == DONE, ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


def test_trends_have_the_columns_that_scripts_rely_on(record):
    assert (
        record("trend", "--format", "csv").out.splitlines()[0]
        == COLUMNS + ",site,left_out,p_independent,wells_adjusted,course"
    )
    feet = record("trend", "--format", "csv", "--unit", "ft").out.splitlines()[0]
    assert feet == COLUMNS.replace("_m_per_year", "_ft_per_year") + ",site,left_out,p_independent,wells_adjusted,course"


def test_a_falling_well(record):
    """Two seasons of nine years, all falling: S = −2 ⋅ 36, var S = 2 ⋅ 9 ⋅ 8 ⋅ 23 / 18 (Kendall, 1975)."""
    found = rows(record("trend", "--well", "MW-1", "--format", "csv"))
    assert len(found) == 1
    row = found[0]
    assert (row["method"], row["n"], row["first"], row["last"]) == ("seasonal", "18", "2010-03-15", "2018-09-15")
    assert (row["s"], float(row["var_s"]), float(row["tau"])) == ("-72", 184.0, -1.0)
    assert float(row["slope_m_per_year"]) == pytest.approx(-0.1)
    assert row["direction"] == "falling"
    assert row["left_out"] == "1 pumping"
    yearly = rows(record("trend", "--well", "MW-1", "--method", "kendall", "--format", "csv"))[0]
    assert (yearly["method"], yearly["n"], yearly["s"]) == ("kendall", "9", "-36")


@pytest.mark.slow
def test_a_well_that_falls_dry_and_one_without_levels(record):
    found = {row["well"]: row for row in rows(record("trend", "--seasons", "12", "--format", "csv"))}
    assert list(found) == ["MW-1", "MW-2", "MW-3"]
    assert found["MW-2"]["n_bounds"] == "3"
    assert "bounds" in found["MW-2"]["note"]
    assert (found["MW-3"]["n"], found["MW-3"]["s"], found["MW-3"]["p"]) == ("0", "", "")


def test_wells_dates_and_times_restrict(record):
    assert [row["well"] for row in rows(record("trend", "--aquifer", "lower", "--format", "csv"))] == ["MW-3"]
    part = rows(record("trend", "--well", "MW-1", "--from", "2012-01-01", "--to", "2015-12-31", "--format", "csv"))[0]
    assert (part["first"], part["last"], part["n"]) == ("2012-03-15", "2015-09-15", "8")
    assert rows(record("trend", "--known-on", "2020-01-01T00:00Z", "--format", "csv")) == []
    assert [row["site"] for row in rows(record("trend", "--site", "MM", "--format", "csv"))] == ["MM"] * 3


def test_trends_as_json_and_as_a_table(record):
    found = json.loads(record("trend", "--format", "json").out)
    assert found[0]["s"] == -72
    assert found[2]["p"] is None
    text = record("trend", "--unit", "ft").out
    assert "[ft/year]" in text
    assert "falling" in text


@pytest.mark.parametrize("option", [("--well", "MW-9"), ("--aquifer", "deep"), ("--site", "X")])
def test_an_unknown_code_is_named(record, option):
    ran = record("trend", *option)
    assert ran.code == STOPPED
    assert option[1] in ran.err


@pytest.mark.parametrize("option", [("--method", "spearman"), ("--seasons", "6")])
def test_other_methods_and_seasons_are_wrong_usage(gwnet_here, option):
    assert gwnet_here("trend", *option).code == WRONG_USAGE


def test_every_value_with_its_correction(record):
    """Eighteen values that fall by 0.1 m a year and stay within one: S = −(153 − 9) (pairs of one year are tied)."""
    row = rows(record("trend", "--well", "MW-1", "--method", "all", "--format", "csv"))[0]
    assert (row["method"], row["n"], row["s"]) == ("all", "18", "-144")
    assert float(row["p_independent"]) < 1e-6
    assert float(row["slope_m_per_year"]) == pytest.approx(-0.1, abs=0.005)
    assert record("trend", "--pooled", "--method", "all").code == WRONG_USAGE


@pytest.mark.slow
def test_regression_is_a_method_that_warns_of_itself(record):
    row = rows(record("trend", "--well", "MW-1", "--method", "regression", "--format", "csv"))[0]
    assert (row["method"], row["n"], row["s"], row["direction"]) == ("regression", "18", "", "falling")
    assert "serial correlation not taken into account" in row["note"]
    assert record("trend", "--pooled", "--method", "regression").code == WRONG_USAGE
    refused = record("trend", "--well", "MW-1", "--method", "regression", "--figure", "trend.png")
    assert (refused.code, "Take seasonal, kendall or all" in refused.err) == (WRONG_USAGE, True)


def test_a_smooth_line_needs_a_figure(record, tmp_path):
    wrong = record("trend", "--smooth", "--map", "m.png")
    assert wrong.code == WRONG_USAGE
    assert "--figure and --multiples" in wrong.err
    done = record("trend", "--well", "MW-1", "--smooth", "--figure", "a.svg")
    assert done.code == DONE
    assert "LOWESS" in (tmp_path / "a.svg").read_text(encoding="utf-8")


@pytest.mark.slow
def test_pooled_trends_thresholds_steps_and_levels_left_out(record):
    pooled = rows(record("trend", "--pooled", "--format", "csv"))
    assert [(row["aquifer"], row["wells"]) for row in pooled] == [("lower", "0"), ("upper", "2")]
    shown = record("trend", "--pooled").out.split("-----")[0]
    assert shown.count("uncorrected") == 2
    assert shown.split().count("corrected") == 1
    assert rows(record("trend", "--thresholds", "--format", "csv")) == []
    assert "No threshold is in force" in record("trend", "--thresholds").out + record("trend", "--thresholds").err
    steps = rows(record("trend", "--steps", "--well", "MW-1", "--format", "csv"))
    assert [row["moment"] for row in steps] == ["most likely"]
    left = rows(record("trend", "--left-out", "--format", "csv"))
    assert [(row["well"], row["status"], row["reason"]) for row in left] == [("MW-1", "pumping", "pumping")]


def test_steps_are_counted_and_wells_judged_alone(record):
    found = rows(record("trend", "--changes", "--well", "MW-1", "--format", "csv"))
    assert [(row["well"], row["number"], row["note"]) for row in found] == [
        ("MW-1", "0", "too few years: 9 with a value, 10 needed")
    ]
    feet = record("trend", "--changes", "--format", "csv", "--unit", "ft").out.splitlines()[0]
    assert "shift_ft,shift_lower_ft,shift_upper_ft" in feet
    assert "other wells of aquifer" not in record("trend", "--alone", "--format", "csv").out
    for table in ("--changes", "--steps", "--pooled"):
        ran = record("trend", table, "--alone")
        assert ran.code == WRONG_USAGE
        assert "shares no serial correlation" in ran.err


def test_a_threshold_is_projected(record, tmp_path):
    """MW-1 falls by 0.1 m a year from a depth of 3 m in 2010: 97.45 m at the end of 2018, 97 m some years later."""
    text = "site,well,threshold,kind,water_elevation,valid_from\nMM,MW-1,warning,lower,97,2010-01-01\n"
    (tmp_path / "thresholds.csv").write_text(text, encoding="utf-8")
    assert record("load", "thresholds.csv", "--by", "Ana").code == DONE
    found = rows(record("trend", "--thresholds", "--format", "csv"))[0]
    assert found["state"] == "on this trend"
    assert found["reached_on"][:4] in ("2022", "2023")
    # days of real years, some of them leap years
    assert float(found["slope_m_per_year"]) == pytest.approx(-0.1, rel=1e-3)


@pytest.mark.slow
def test_approved_levels_alone(record):
    found = rows(record("trend", "--approved", "--well", "MW-1", "--format", "csv"))[0]
    assert found["n"] == "0"
    assert "18 provisional" in found["left_out"]


def test_two_tables_at_once_are_wrong_usage(record):
    ran = record("trend", "--pooled", "--steps")
    assert ran.code == WRONG_USAGE
    assert "one at a time" in ran.err


def test_a_summary_has_one_short_line_a_well(record):
    text = record("trend", "--summary").out
    lines = [line for line in text.splitlines() if line.startswith("MW-")]
    assert [line.split()[0] for line in lines] == ["MW-1", "MW-2", "MW-3"] or len(lines) == 3
    assert max(map(len, text.splitlines())) <= 190
    found = rows(record("trend", "--summary", "--format", "csv"))
    assert {row["well"]: row["direction"] for row in found}["MW-1"] == "falling"
    assert found[0]["rank"] == "1"
    assert record("trend", "--summary", "--steps").code == WRONG_USAGE
