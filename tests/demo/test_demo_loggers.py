"""Loggers of the demo network: what was planted in their exports is found, and their heads are the true ones.

All data are invented; the truths stand in `EXPECTED.toml`. The exports are read once more here by a reader of these
tests' own, which shares nothing with the package.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections import Counter
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.correction_history import IN_DOUBT, OUT_REASONS
from gwnet.analysis.loggers.findings import list_findings
from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.analysis.loggers.status import summarize_status
from gwnet.analysis.maps.site_maps import SetRule, control_of, map_of
from gwnet.hydro.loggers.barometric import clark_efficiency
from gwnet.network import Network
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot

from .reading import FOLDER

TRUTHS = tomllib.loads((FOLDER / "EXPECTED.toml").read_text(encoding="utf-8"))
PLAN = tomllib.loads((FOLDER / "demo.toml").read_text(encoding="utf-8"))
LOGGERS = {truth["instrument"]: truth for truth in TRUTHS["logger"]}
FAULTS = {truth["fault"]: truth for truth in TRUTHS["logger_fault"]}
IN_WELLS = [truth for truth in TRUTHS["logger"] if truth["well"]]
#: Between the loading of the exports and what a person then decided.
BEFORE = PLAN["correction"][0]["recorded_at"] - dt.timedelta(hours=1)
LAST_DAY = dt.date.fromisoformat(TRUTHS["last_round"]["date"])


@pytest.fixture(scope="module")
def network(demo_record):
    with Network(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def adjusted(network):
    with network.store.reading() as connection:
        return {one.instrument: one for one in work_out_heads(Snapshot(connection))}


@pytest.fixture(scope="module")
def unadjusted(network):
    with network.store.reading() as connection:
        return {one.instrument: one for one in work_out_heads(Snapshot(connection, BEFORE))}


@pytest.fixture(scope="module")
def found(network):
    with network.store.reading() as connection:
        return list_findings(Snapshot(connection, BEFORE))


def naive(moment):
    return np.datetime64(moment.astimezone(dt.UTC).replace(tzinfo=None), "us")


def errors(one, truth):
    """Return how far heads stand off the true ones, and their half-widths, where both are there [m]."""
    pairs = []
    for head in truth["head"]:
        place = int(np.searchsorted(one.time_utc, naive(head["at_utc"])))
        if place < len(one) and one.time_utc[place] == naive(head["at_utc"]):
            pairs.append((one.water_elevation_m[place] - head["water_elevation_m"], one.uncertainty_m[place]))
    return np.array(pairs)


# The exports, read by a reader of our own


def stamps_of(path):
    """Return the times in UTC and the first value of an export, by the rules of its shape."""
    content = path.read_bytes()
    text = content.decode(
        "utf-8-sig" if content.startswith(b"\xef\xbb\xbf") else "utf-8" if path.suffix == ".txt" else "latin-1"
    )
    rows = []
    for line in text.splitlines():
        if path.suffix == ".txt" and line[:1].isdigit():
            _, when, value, *_ = line.split("\t")
            day, clock = when.split(" ")
            local = dt.datetime.fromisoformat(day) + dt.timedelta(hours=int(clock[:2]))
            rows.append((local, float(value)))
        elif path.suffix == ".csv" and line[2:3] == "." and line[:2].isdigit():
            when, value, _ = line.split(";")
            local = dt.datetime.strptime(when, "%d.%m.%Y %H:%M")  # noqa: DTZ007 (the zone is added below)
            rows.append((local - dt.timedelta(hours=1), float(value.replace(",", ".").replace("n/a", "nan"))))
        elif path.suffix == ".csv" and line[:4].isdigit():
            day, clock, value, _, remark = line.split(",")
            if not remark:
                rows.append((dt.datetime.fromisoformat(f"{day}T{clock}"), float(value)))
    if path.suffix == ".txt":
        rows = [
            (when, value) for when, value in zip(_rising([when for when, _ in rows]), [v for _, v in rows], strict=True)
        ]
    return rows


def _rising(local):
    """Return wall-clock times of the zone as UTC; an hour that comes twice is told by its order."""
    zone, made = ZoneInfo("Europe/Berlin"), []
    for when in local:
        utc = when.replace(tzinfo=zone).astimezone(dt.UTC).replace(tzinfo=None)
        if made and utc <= made[-1]:
            utc = when.replace(tzinfo=zone, fold=1).astimezone(dt.UTC).replace(tzinfo=None)
        made.append(utc)
    return made


@pytest.mark.parametrize("truth", TRUTHS["logger"], ids=lambda truth: truth["instrument"])
def test_the_exports_hold_what_was_planted(truth):
    seen = {}
    for download in truth["download"]:
        rows = stamps_of(FOLDER / download["file"])
        assert len(rows) == download["samples"]
        times = [when for when, _ in rows]
        assert times == sorted(times)
        assert (times[0], times[-1]) == (naive(download["first_utc"]), naive(download["last_utc"]))
        again = [when for when in times if when in seen]
        assert len(again) == download["already_there"]
        assert all(np.isnan(value) or seen[when] == value for when, value in rows if when in seen)
        seen |= dict(rows)
    assert sum(not np.isnan(value) for value in seen.values()) == truth["samples"]


def test_the_exports_show_the_ways_in_which_loggers_write():
    texts = {path.name: path.read_bytes() for path in (FOLDER / "loggers").iterdir()}
    assert Counter(name.split(".")[-1] for name in texts) == {"csv": 19, "txt": 6}
    assert b"\xb0C" in texts["BARO-1_air_2024-11-19.csv"]
    assert texts["LG-5_W-14_2025-05-20.csv"].startswith(b"\xef\xbb\xbf")
    assert b"Recording started" in texts["LG-5_W-14_2025-05-20.csv"]
    assert b" 24:00\t" in texts["LG-6_W-03_2025-05-20.txt"]
    assert texts["LG-6_W-03_2025-05-20.txt"].count(b"2024-10-27 02:00") == 2


# Loading by the public route


def test_every_sample_of_the_exports_is_on_record_once(network):
    table = network.loggers.downloads()
    assert len(network.loggers.conflicts()) == 0
    assert {f"loggers/{name}" for name in table["file"]} == {d["file"] for t in TRUTHS["logger"] for d in t["download"]}
    levels = table[table["quantity"].isin(["absolute pressure", "water column", "air pressure"])].set_index("file")
    for truth in TRUTHS["logger"]:
        for download in truth["download"]:
            row = levels.loc[download["file"].removeprefix("loggers/")]
            assert (row["instrument"], row["rows"], row["same"]) == (
                truth["instrument"],
                download["samples"],
                download["already_there"],
            )
            assert row["added"] + row["same"] + row["missing"] == download["samples"]
    with network.store.reading() as connection:
        series = fetch_samples.series(connection)
    level = series[series["quantity"].isin(["absolute pressure", "water column", "air pressure"])]
    assert level.set_index("instrument")["sample_count"].to_dict() == {i: t["samples"] for i, t in LOGGERS.items()}


# What is noticed before anybody has looked


def about(found, rule, truth):
    return found[(found["rule"] == rule) & (found["instrument"] == truth["instrument"])]


@pytest.mark.slow
def test_the_clock_on_the_wrong_zone_is_noticed(found):
    truth = FAULTS["clock on the wrong zone"]
    (row,) = about(found, "clock", truth).itertuples()
    assert row.start_utc == pd.Timestamp(truth["first_stamp_utc"])
    assert row.end_utc == pd.Timestamp(truth["last_stamp_utc"])
    assert f"--seconds {truth['add_s']} " in row.suggestion


def test_the_slipped_cable_is_noticed_and_confirmed_by_manual_readings(found):
    truth = FAULTS["slipped cable"]
    (row,) = about(found, "slipped cable", truth).itertuples()
    assert abs(row.start_utc - pd.Timestamp(truth["at_utc"])) <= pd.Timedelta(hours=truth["tolerance_h"])
    amount = float(row.suggestion.split("--amount ")[1].split()[0])
    assert amount == pytest.approx(-truth["sensor_level_step_m"], abs=truth["tolerance_m"])


def test_the_battery_gap_is_noticed(network, found):
    truth = FAULTS["battery gap"]
    (row,) = about(found, "gap", truth).itertuples()
    assert (row.start_utc, row.end_utc) == (
        pd.Timestamp(truth["last_before_utc"]),
        pd.Timestamp(truth["first_after_utc"]),
    )
    with network.store.reading() as connection:
        series = fetch_samples.series(connection).set_index(["instrument", "quantity"])
        number = int(series.loc[(truth["instrument"], "battery"), "series_id"])
        _, volts = fetch_samples.samples(connection, number)
    assert volts.min() == truth["lowest_battery_v"]


def test_the_spell_at_the_bottom_is_noticed(found):
    truth = FAULTS["bottomed out"]
    (row,) = about(found, "bottomed out", truth).itertuples()
    for edge in ("start_utc", "end_utc"):
        assert abs(getattr(row, edge) - pd.Timestamp(truth[edge])) <= pd.Timedelta(hours=truth["tolerance_h"])


def test_the_spikes_are_noticed_and_no_other_sample(found):
    truth = FAULTS["spikes"]
    assert about(found, "spike", truth)["start_utc"].tolist() == [pd.Timestamp(moment) for moment in truth["at_utc"]]
    assert set(found.loc[found["rule"] == "spike", "instrument"]) == {truth["instrument"]}


def test_the_reading_with_the_borrowed_tape_does_not_fit_its_logger(found):
    rows = found[(found["rule"] == "manual reading") & (found["well"] == "N3-U")]
    assert len(rows) == 1
    assert "2024-11-19T09:48" in rows["message"].iloc[0]


def test_nothing_is_noticed_where_nothing_is_wrong(found):
    sound = {"LG-3", "LG-1"}  # a drift shows in the status; the missing air of two hours is the barometer's
    assert set(found.loc[found["instrument"].isin(sound), "rule"]) <= {"no air pressure"}
    assert len(found) <= 16


@pytest.mark.slow
def test_the_drift_is_stated_in_the_status(network):
    truth = FAULTS["drift"]
    with network.store.reading() as connection:
        table = summarize_status(Snapshot(connection, BEFORE)).set_index("instrument")
    assert table.loc[truth["instrument"], "drift_m_per_year"] == pytest.approx(
        truth["m_per_year"], abs=truth["tolerance_m_per_year"]
    )
    for instrument in ("LG-2", "LG-3"):
        assert abs(table.loc[instrument, "drift_m_per_year"]) < truth["tolerance_m_per_year"]


# After what a person decided


@pytest.mark.slow
@pytest.mark.parametrize("truth", IN_WELLS, ids=lambda truth: truth["well"])
def test_the_heads_are_the_true_ones(adjusted, truth):
    off = errors(adjusted[truth["instrument"]], truth)
    assert len(off) == len(truth["head"])
    assert np.abs(off[:, 0]).max() <= truth["tolerance_m"]
    assert (np.abs(off[:, 0]) <= off[:, 1]).all()


@pytest.mark.parametrize("instrument", ["LG-4", "LG-5", "LG-7"])
def test_without_the_corrections_they_are_not(unadjusted, instrument):
    truth, one = LOGGERS[instrument], unadjusted[instrument]
    as_read = np.where(np.isnan(one.water_elevation_m), one.doubtful_m, one.water_elevation_m)
    assert np.abs(errors(replace(one, water_elevation_m=as_read), truth)[:, 0]).max() > truth["tolerance_m"]


@pytest.mark.parametrize(
    ("instrument", "rule", "count"), [("LG-2", "spike", 3), ("LG-4", "slipped cable", 2185), ("LG-5", "clock", 2185)]
)
def test_open_findings_keep_out_what_is_wrong_before_anybody_looked(unadjusted, instrument, rule, count):
    one, truth = unadjusted[instrument], LOGGERS[instrument]
    reasons = np.array(OUT_REASONS, dtype=object)[one.out]
    assert (reasons == IN_DOUBT[rule]).sum() == count
    assert np.nanmax(np.abs(errors(one, truth)[:, 0])) <= 0.01


def test_a_sensor_out_of_water_gives_bounds_before_anybody_looked(unadjusted):
    fault = FAULTS["bottomed out"]
    one, truth = unadjusted[fault["instrument"]], LOGGERS[fault["instrument"]]
    margin = np.timedelta64(int(fault["tolerance_h"]), "h")
    inside = (one.time_utc > naive(fault["start_utc"]) + margin) & (one.time_utc < naive(fault["end_utc"]) - margin)
    assert inside.sum() > 2000
    assert np.isnan(one.water_elevation_m[inside]).all()
    assert np.ptp(one.bound_m[inside]) < 0.05
    assert (one.bound_m[inside] < np.nanmin(one.water_elevation_m) + 0.05).all()
    assert np.nanmax(np.abs(errors(one, truth)[:, 0])) <= truth["tolerance_m"]


def test_no_residual_is_left_that_the_stated_uncertainty_does_not_cover(adjusted):
    for one in adjusted.values():
        used = one.manual[one.manual["used"].astype(bool) & one.manual["residual_m"].notna()]
        assert len(used) >= 3
        assert used["leave_one_out_residual_m"].abs().max() <= 0.008
        assert used["residual_m"].abs().max() <= 0.003


def test_the_wells_breathe_with_the_air_as_planted(network, adjusted):
    truth = LOGGERS["LG-2"]
    one = adjusted["LG-2"]
    with network.store.reading() as connection:
        series = fetch_samples.series(connection).set_index(["instrument", "quantity"])
        when, value = fetch_samples.samples(connection, int(series.loc[("BARO-1", "air pressure"), "series_id"]))
    here = ~np.isnan(value)
    air = np.interp(one.time_utc.astype("datetime64[ms]").astype(float), when[here].astype(float), value[here])
    answer = clark_efficiency(one.water_elevation_m, air * 100.0 / (999.7 * 9.8146))
    assert answer.efficiency == pytest.approx(truth["barometric_efficiency"], abs=0.03)


def test_loggers_stand_in_on_the_map_of_the_last_round(network):
    truths = {truth["well"]: truth for truth in TRUTHS["logger_in_last_round"]}
    with network.store.reading() as connection:
        site = Snapshot(connection).of_site()
        control = control_of(site, "upper", LAST_DAY, SetRule(1)).set_index("well")
        drawn = map_of(site, "upper", LAST_DAY, SetRule(1))
    by_logger = control[control["source"] == "logger"]
    assert set(by_logger.index) == set(truths)
    for well, truth in truths.items():
        assert by_logger.loc[well, "used"]
        assert by_logger.loc[well, "water_elevation_m"] == pytest.approx(
            truth["water_elevation_m"], abs=truth["tolerance_m"]
        )
    assert sum("by the logger" in text or "level of the logger" in text for text in drawn.cautions) == 1
    kept = control[control["source"].isin(["manual", ""])]
    bare = TRUTHS["last_round"]["control"][0]
    assert sorted(kept.index[kept["used"] & (kept["kind"] == "well")]) == sorted(bare["used"])


def test_a_flood_between_two_rounds_is_seen_by_the_logger_alone(network):
    daily = network.levels(["N3-U"], start="2026-01-01", loggers="daily")
    logged, read = daily[daily["method"] == "logger"], daily[daily["method"] != "logger"]
    crest = logged.loc[logged["water_elevation_m"].idxmax()]
    assert crest["measured_at"][:7] == "2026-02"
    assert crest["water_elevation_m"] > read["water_elevation_m"].max() + 0.2


def test_each_crossing_of_a_year_is_found_by_readings_and_by_loggers(network):
    found = network.thresholds.crossings(["N3-U", "N1-L"], start="2025-01-01", end="2025-12-31")
    high = found[found["well"] == "N3-U"].set_index("source")
    assert high.loc["manual", ["first", "last"]].tolist() == ["2025-02-19", "2025-02-19"]
    assert high.loc["manual", "peak_m"] == pytest.approx(51.792, abs=5e-4)
    assert high.loc["logger", ["first", "last", "ended_by"]].tolist() == ["2024-12-11", "2025-04-30", "2025-05-01"]
    (low,) = found[(found["well"] == "N1-L") & (found["in_a_row"] > 1)].to_dict("records")
    assert (low["first"], low["ended_by"], low["in_a_row"]) == ("2025-12-09", "", 23)
    in_all = network.thresholds.crossings(["N1-L"], start="2026-01-01")
    assert in_all.loc[in_all["source"] == "logger", "in_a_row"].tolist() == [70]


def test_the_quick_rise_of_the_flood_crosses_the_threshold_on_a_change(network):
    (truth,) = TRUTHS["threshold_on_change"]
    found = network.thresholds.crossings([truth["well"]], start="2025-01-01")
    (rise,) = found[found["threshold"] == truth["threshold"]].to_dict("records")
    days = truth["beyond_on"]
    assert (rise["source"], rise["first"], rise["last"]) == ("logger", days[0], days[-1])
    assert (rise["levels"], rise["confirmed_on"]) == (len(days), days[truth["consecutive"] - 1])
    assert rise["peak_m"] == pytest.approx(truth["largest_m"], abs=truth["tolerance_m"])
    assert rise["peak_at"][:10] == truth["largest_on"]
    # further than the tolerance from the limit, so that the truth and the program must agree on every day
    assert truth["nearest_to_limit_m"] > truth["tolerance_m"]
    states = network.thresholds([truth["well"]], start="2025-01-01", end="2025-12-31").set_index("threshold")
    assert states.loc[truth["threshold"], "state"] == "not crossed"
    assert states.loc[truth["threshold"], "logger_days_judged"] > 300


def test_the_gradient_towards_the_river_stays_above_its_threshold(network):
    (truth,) = TRUTHS["threshold_on_gradient"]
    states = network.thresholds([truth["well"]], start="2022-01-01").set_index("threshold")
    state = states.loc[truth["threshold"]]
    assert (state["state"], state["readings_judged"]) == ("not crossed", len(truth["reading"]))
    assert state["distance_m"] == pytest.approx(truth["distance_m"], abs=1e-3)
    least = min(truth["reading"], key=lambda row: row["difference_m"])
    assert state["extreme_m"] == pytest.approx(least["difference_m"], abs=truth["tolerance_m"])
    assert state["extreme_at"][:10] == least["day"]


@pytest.mark.slow
def test_a_threshold_below_the_well_is_not_judged(network):
    (state,) = network.thresholds.states(["W-03"], start="2026-01-01")
    assert (state.state, state.counts["manual"].undetermined) == ("cannot be judged", 1)
    assert "0.227 m below the lowest level that the well can show (53.727 m)" in str(state.reason)
    assert network.thresholds(["W-03"], start="2026-01-01")["state"].tolist() == ["cannot be judged"]
