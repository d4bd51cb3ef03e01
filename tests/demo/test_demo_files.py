"""The demo network's files: remade with the same bytes, and the planted truths found in them by a reduction of our own.

The reduction in `reading` shares nothing with the package, so that it can be set against it. All data are invented.
"""

from __future__ import annotations

import datetime as dt
import math
import os
import re
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from .reading import FOLDER, REPEATS, Network, decoded, delimiter_of

MAKER = FOLDER / "make_demo.py"
ZONE = ZoneInfo("Europe/Berlin")

# Columns that the tables may have, as the program's users know them; the first of each line are required.
COLUMNS = {
    "sites": "site crs vertical_datum length_unit time_zone | name repeat_tolerance same_day_window_days operator notes",
    "aquifers": "aquifer | name confinement notes",
    "wells": "site well easting northing | longitude latitude coordinate_accuracy aquifer cluster purpose role"
    " ground_elevation ground_accuracy total_depth drilled_on decommissioned_on replaced_by access_notes hazards notes",
    "construction": "site well part top_depth bottom_depth | diameter material installed_on removed_on notes",
    "measuring_points": "site well valid_from elevation | access valid_until height_above_ground vertical_datum"
    " description surveyed_on surveyed_by survey_method accuracy change notes",
    "instruments": "instrument kind | serial length_unit length_below_sensing_point resolution accuracy range notes",
    "tape_checks": "instrument checked_on tape_reading reference_reading | checked_by notes",
    "rounds": "site round starts_on | ends_on purpose wells notes",
    "level_events": "site well date time | measured_at round status depth_to_water depth_below_ground water_elevation"
    " depth_to_water_2 depth_to_water_3 depth_to_product product_relative_density sounded_depth instrument method"
    " observer access discharge quality notes",
    "thresholds": "site well threshold kind | water_elevation depth_to_water depth_below_ground change days gradient"
    " other_well consecutive valid_from valid_until basis action",
    "stages": "site gauge measured_at water_elevation | easting northing aquifer notes",
    "context": "site series quantity unit date value | notes",
    "pumping_tests": "site test well kind starts_at | stops_at intake_depth aquifer_thickness purpose crew notes",
    "pumping_rates": "site test from rate | well method volume seconds notes",
    "pumping_readings": "site test well elapsed depth_to_water set_depth passed | measured_at date time drawdown access"
    " instrument observer quality notes",
    "deployments": "site well instrument installed_at | removed_at hanging_depth barometer notes",
}
WITH_NUMBER = {"static", "flowing", "pumping", "recovering", "nearby pumping", "affected by surface water"}
WITHOUT_NUMBER = {"dry", "obstructed", "frozen", "no access", "not found", "destroyed", "not measured"}


@pytest.fixture
def run_script():
    def run(*arguments, cwd):
        environment = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONDONTWRITEBYTECODE": "1", "TZ": "Pacific/Apia"}
        command = [sys.executable, *map(str, arguments)]
        return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)

    return run


@pytest.fixture(scope="module")
def network():
    return Network()


@pytest.fixture(scope="module")
def expected():
    return tomllib.loads((FOLDER / "EXPECTED.toml").read_text(encoding="utf-8"))


def _made_files(folder):
    found = sorted(path for path in folder.rglob("*") if path.is_file())
    other = {"__pycache__", "pictures"}
    return {p.relative_to(folder).as_posix(): p for p in found if p.suffix != ".py" and not other & set(p.parts)}


@pytest.mark.slow
def test_remaking_gives_the_same_bytes(tmp_path, run_script):
    ran = run_script(MAKER, tmp_path / "made", cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    made, kept = _made_files(tmp_path / "made"), _made_files(FOLDER)
    assert list(made) == list(kept)
    differing = [name for name in made if made[name].read_bytes() != kept[name].read_bytes()]
    assert differing == []


def test_a_wrong_call_is_refused(tmp_path, run_script):
    ran = run_script(MAKER, "--help", cwd=tmp_path)
    assert ran.returncode == 2
    assert "folder to write into" in ran.stderr
    assert list(tmp_path.iterdir()) == []


def test_columns_are_those_of_the_tables(network):
    assert set(network.tables) == set(COLUMNS)
    for name, headings in network.headings.items():
        table = re.sub(r"_\d{4}\.csv$|\.csv$", "", name)
        required, _, optional = COLUMNS[table].partition("|")
        names = [heading.partition(" [")[0] for heading in headings]
        assert len(set(names)) == len(names)
        assert set(required.split()) <= set(names), name
        assert set(names) <= {*required.split(), *optional.split()}, name


def test_files_show_the_ways_in_which_tables_are_written(network):
    german = (FOLDER / "level_events_2019.csv").read_bytes()
    with pytest.raises(UnicodeDecodeError):
        german.decode("utf-8")
    text = german.decode("latin-1")
    assert delimiter_of(text) == ";"
    assert "R. Övelund" in text
    assert re.search(r";\d,\d{3};", text)
    assert re.search(r";\d\d\.\d\d\.2019;", text)
    assert "depth_to_water [cm]" in network.headings["level_events_2021.csv"]
    assert "sounded_depth [cm]" in network.headings["level_events_2021.csv"]
    assert "diameter [mm]" in network.headings["construction.csv"]
    assert (FOLDER / "stages.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    assert delimiter_of(decoded(FOLDER / "context.csv")) == "\t"


def test_nothing_in_the_files_is_unwanted(network):
    files = _made_files(FOLDER)
    assert sum(path.stat().st_size for name, path in files.items() if "/" not in name) < 500_000
    assert sum(path.stat().st_size for path in files.values()) < 4_000_000
    for rows in network.tables.values():
        for row in rows:
            for cell in map(str, row.values()):
                assert cell.isprintable(), row
                assert not cell.startswith(("=", "+", "@")), row
                assert not cell.startswith("-") or re.fullmatch(r"-\d+(\.\d+)?", cell), row
    (site,) = network.tables["sites"]
    assert "invented" in site["name"].lower()
    assert "invented" in site["notes"].lower()


def test_rows_refer_to_rows_that_are_there_and_stand_once(network):
    tables = network.tables
    instruments = {row["instrument"] for row in tables["instruments"]}
    rounds = {row["round"] for row in tables["rounds"]}
    for table in ("construction", "measuring_points", "level_events", "thresholds"):
        assert {row["well"] for row in tables[table]} <= set(network.wells), table
    for row in tables["level_events"]:
        assert row["instrument"] in instruments | {""}
        assert row["round"] in rounds | {""}
    keys = {
        "wells": ("site", "well"),
        "construction": ("site", "well", "part", "top_depth"),
        "measuring_points": ("site", "well", "access", "valid_from"),
        "tape_checks": ("instrument", "checked_on", "tape_reading"),
        "rounds": ("site", "round"),
        "level_events": ("site", "well", "date", "time"),
        "thresholds": ("site", "well", "threshold", "valid_from"),
        "stages": ("site", "gauge", "measured_at"),
        "context": ("site", "series", "date"),
    }
    for table, names in keys.items():
        assert max(Counter(tuple(row[name] for name in names) for row in tables[table]).values()) == 1, table


def test_events_keep_the_rules_of_a_level_event(network):
    for row in network.events():
        given = [name for name in ("depth_to_water", "depth_below_ground", "water_elevation") if row.get(name)]
        if row["status"] in WITHOUT_NUMBER:
            assert given == [], row
        elif row["status"] != "flowing":
            assert len(given) == 1, row
        for name in REPEATS:
            assert not row.get(name) or float(row[name]) >= 0.0 or row["status"] == "flowing", row
        assert row["status"] in WITH_NUMBER | WITHOUT_NUMBER
        if row["status"] == "dry":
            assert row["sounded_depth"]
        if row["status"] in WITHOUT_NUMBER - {"dry"}:
            assert row["notes"], row


def test_times_are_working_hours_of_days_on_which_the_clock_is_plain(network):
    for row in network.events():
        day = dt.date.fromisoformat(row["date"])
        assert day.weekday() < 5
        if row["time"]:
            assert "08:00" <= row["time"] <= "16:00"
            moment = dt.datetime.fromisoformat(f"{row['date']}T{row['time']}").replace(tzinfo=ZONE)
            assert moment.astimezone(dt.UTC).astimezone(ZONE).replace(tzinfo=None) == moment.replace(tzinfo=None)


def test_counts(network, expected):
    truth = expected["network"]
    events = network.events()
    assert truth["wells"] == len(network.wells)
    for aquifer in ("upper", "lower"):
        assert truth[f"wells_{aquifer}"] == sum(row["aquifer"] == aquifer for row in network.wells.values())
    assert truth["rounds"] == len(network.tables["rounds"]) == 33
    assert truth["level_events"] == len(events)
    assert truth["statuses"] == dict(Counter(row["status"] for row in events))
    assert truth["level_events_outside_rounds"] == sum(not row["round"] for row in events)
    assert truth["level_events_without_time"] == sum(not row["time"] for row in events)
    clusters = Counter(row["cluster"] for row in network.wells.values() if row["cluster"])
    assert clusters == dict.fromkeys(truth["clusters"], 2)


def test_levels_reduce_to_the_truth(network, expected):
    assert len(expected["level"]) >= 60
    for truth in expected["level"]:
        row = network.event(truth)
        uncorrected, head = network.level(row)
        assert head == pytest.approx(truth["water_elevation_m"], abs=truth["tolerance_m"]), truth
        elevation, height = network.point(row)
        assert elevation == truth["measuring_point_elevation_m"]
        assert elevation - uncorrected == pytest.approx(truth["depth_to_water_m"], abs=truth["tolerance_m"])
        assert truth["depth_below_ground_m"] == pytest.approx(truth["depth_to_water_m"] - height, abs=2e-4)
        assert network.usable(row) == truth["usable"], truth
        if row.get("depth_to_water"):
            mean = np.mean([float(row[name]) for name in REPEATS if row.get(name)])
            correction = network.correction(row["instrument"], row["date"], mean)[0]
            assert correction == pytest.approx(truth["tape_correction_m"], abs=2e-4)
        if "product_thickness_m" in truth:
            density = float(row["product_relative_density"])
            assert head - uncorrected == pytest.approx(density * truth["product_thickness_m"], abs=0.002)
            assert uncorrected == pytest.approx(truth["water_elevation_uncorrected_m"], abs=truth["tolerance_m"])
        if truth["why"] == "water above the measuring point":
            assert float(row["depth_to_water"]) < 0


def test_times_in_utc(network, expected):
    seasons = set()
    for truth in expected["level"]:
        if "measured_at_utc" in truth:
            local = dt.datetime.fromisoformat(truth["measured_at"]).replace(tzinfo=ZONE)
            assert local.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%MZ") == truth["measured_at_utc"]
            seasons.add(local.utcoffset())
    assert seasons == {dt.timedelta(hours=1), dt.timedelta(hours=2)}


def test_dry_wells_are_bounds(network, expected):
    bounds = {(t["well"], t["measured_at"]): t for t in expected["bound"]}
    by_sounding = 0
    for row in network.events():
        found = network.bound(row)
        truth = bounds.get((row["well"], f"{row['date']}T{row['time']}"))
        if found is None:
            assert truth is None or truth["bound"] == ">="
            continue
        assert truth["bound"] == "<="
        assert found == pytest.approx(truth["bound_elevation_m"], abs=truth.get("tolerance_m", 1e-6))
        assert truth["true_water_elevation_m"] < truth["bound_elevation_m"]
        screen = float(network.wells[row["well"]]["ground_elevation"]) - float(
            network.screens[row["well"]]["bottom_depth"]
        )
        by_sounding += truth["bound_elevation_m"] > screen + 0.02
    assert by_sounding >= 1
    (overflowing,) = (truth for truth in expected["bound"] if truth["bound"] == ">=")
    row = network.event(overflowing)
    assert row["status"] == "flowing"
    assert not row["depth_to_water"]
    assert network.point(row)[0] == overflowing["bound_elevation_m"]


def test_corrected_survey(network, expected):
    truth = expected["corrected_survey"]
    (correction,) = network.corrections
    (before,) = (p for p in network.points if p["well"] == truth["well"])
    assert correction["change"] == "corrected"
    assert float(before["elevation"]) == truth["elevation_before_m"]
    assert float(correction["elevation"]) == truth["elevation_after_m"]
    assert truth["elevation_before_m"] - truth["elevation_after_m"] == pytest.approx(truth["error_m"])
    ground = float(network.wells[truth["well"]]["ground_elevation"])
    height = float(before["height_above_ground"])
    assert truth["elevation_before_m"] - height - ground == pytest.approx(truth["error_m"])
    assert truth["elevation_after_m"] - height == pytest.approx(ground)
    on_borrowed_tape = sum(row["well"] == truth["well"] and row["instrument"] == "E-4" for row in network.events())
    assert on_borrowed_tape == 1
    events = sum(row["well"] == truth["well"] for row in network.events())
    assert len(truth["level"]) == events - on_borrowed_tape
    for level in truth["level"]:
        row = network.event(level)
        assert network.level(row, corrected=False)[1] == pytest.approx(level["before_m"], abs=truth["tolerance_m"])
        assert network.level(row)[1] == pytest.approx(level["after_m"], abs=truth["tolerance_m"])


def test_altered_casings(network, expected):
    assert {truth["well"] for truth in expected["alteration"]} == {"W-04", "N2-U"}
    for truth in expected["alteration"]:
        before, after = sorted(
            (p for p in network.points if p["well"] == truth["well"]), key=lambda point: point["valid_from"]
        )
        assert before["valid_until"] == after["valid_from"] == truth["on"]
        assert after["change"] == "altered"
        step = float(after["elevation"]) - float(before["elevation"])
        assert step == pytest.approx(truth["change_m"])
        height = float(after["height_above_ground"]) - float(before["height_above_ground"])
        assert height == pytest.approx(step)


def test_tape_corrections(network, expected):
    for truth in expected["tape_correction"]:
        found, beyond = network.correction(truth["instrument"], truth["check"], truth["reading_m"])
        assert found == pytest.approx(truth["correction_m"], abs=1e-6)
        assert beyond == truth["beyond_the_check"]
        if not beyond:
            # a tape that reads short by a share of the depth
            assert found == pytest.approx(truth["reading_m"] * truth["stretch"] / (1 - truth["stretch"]), abs=1e-5)
    good = [network.correction("E-1", "2024-06-01", reading)[0] for reading in (1.0, 7.0, 30.0)]
    assert max(map(abs, good)) <= 0.001 + 1e-9


def test_readings_beyond_their_check(network, expected):
    found = [
        row
        for row in network.events()
        if row.get("depth_to_water")
        and row["instrument"] in network.checks
        and network.correction(row["instrument"], row["date"], float(row["depth_to_water"]))[1]
    ]
    assert found == [network.event(truth) for truth in expected["beyond_check"]]
    assert {row["well"] for row in found} == {"N3-L"}


def _judged(network, truth):
    made = []
    for row in network.events():
        inside = truth["valid_from"] <= row["date"] and (not truth["valid_until"] or row["date"] < truth["valid_until"])
        if row["well"] != truth["well"] or not inside:
            continue
        bound = network.bound(row)
        if bound is not None:
            state = "crossed" if truth["kind"] == "lower" and bound <= truth["elevation_m"] else "undetermined"
        elif network.usable(row):
            head = network.level(row)[1]
            low = truth["kind"] == "lower"
            beyond = head <= truth["elevation_m"] if low else head >= truth["elevation_m"]
            state = "crossed" if beyond else "not crossed"
        else:
            continue
        made.append((row["date"], row["time"], state))
    return sorted(made)


def test_thresholds(network, expected):
    words = set()
    for truth in expected["threshold"]:
        run, met, undetermined = 0, [], []
        judged = _judged(network, truth)
        for day, _, state in judged:
            run = run + 1 if state == "crossed" else 0
            met += [day] if run >= truth["consecutive"] else []
            undetermined += [day] if state == "undetermined" else []
        assert (met, undetermined) == (truth["met_on"], truth["undetermined_on"]), truth
        if not truth["valid_until"]:
            assert (judged[-1][0], run) == (truth["newest"], truth["run"])
            words.add(truth["state_in_last_round"])
    assert words == {"crossed", "not crossed", "not crossed: 1 of 2 in a row", "undetermined"}


def test_the_threshold_on_a_gradient_is_not_crossed_by_the_readings_of_any_day(network, expected):
    (truth,) = expected["threshold_on_gradient"]
    ends = [network.wells[code] for code in (truth["well"], truth["other_well"])]
    apart = math.dist(*((float(end["easting"]), float(end["northing"])) for end in ends))
    assert apart == pytest.approx(truth["distance_m"], abs=1e-3)
    heads = {}
    for row in network.events():
        if row["instrument"] == "E-4":
            continue  # the borrowed tape, which reads 0.1 m too little
        if row["well"] in (truth["well"], truth["other_well"]) and network.usable(row) and network.bound(row) is None:
            heads[row["well"], row["date"]] = network.level(row)[1]
    both = {day for well, day in heads if well == truth["well"] and (truth["other_well"], day) in heads}
    # on the other days of the truth the other well has its logger alone
    read = {row["day"]: row["difference_m"] for row in truth["reading"] if row["day"] in both}
    assert len(read) >= 8
    for day, difference in read.items():
        found = heads[truth["well"], day] - heads[truth["other_well"], day]
        assert found == pytest.approx(difference, abs=truth["tolerance_m"])
        assert found / apart > truth["gradient"] + truth["tolerance_m"] / apart
    assert truth["beyond_on"] == []


def test_silting(network, expected):
    truth = expected["silting"]
    found = [network.sounded(r) for r in network.events() if r["well"] == truth["well"] and r["sounded_depth"]]
    told = [sounding["sounded_depth_m"] for sounding in truth["sounding"]]
    assert found == pytest.approx(told, abs=truth["tolerance_m"])
    assert told == sorted(told, reverse=True)
    assert told[-1] < truth["screen_bottom_m"] < told[0]


def test_other_wells_are_sounded_near_their_depth(network):
    for row in network.events():
        if row.get("sounded_depth") and row["well"] not in ("W-05", "W-03"):
            assert network.sounded(row) == pytest.approx(float(network.wells[row["well"]]["total_depth"]), abs=0.06)


def test_spoilt_events(network, expected):
    tolerance = float(network.tables["sites"][0]["repeat_tolerance"])
    disagreeing = [r for r in network.events() if r.get("depth_to_water") and network.depth(r)[1] > tolerance + 1e-7]
    (truth,) = expected["disagreement"]
    assert disagreeing == [network.event(truth)]
    assert [float(disagreeing[0][name]) for name in REPEATS[:2]] == truth["readings_m"]
    (truth,) = expected["blunder"]
    assert network.level(network.event(truth))[1] == pytest.approx(truth["recorded_elevation_m"], abs=0.003)
    assert abs(truth["true_elevation_m"] - truth["recorded_elevation_m"]) == pytest.approx(1.0)
    (truth,) = expected["product_without_density"]
    row = network.event(truth)
    assert not row["product_relative_density"]
    assert network.level(row)[0] == pytest.approx(truth["uncorrected_elevation_m"], abs=truth["tolerance_m"])
    for truth in expected["unusable"]:
        row = network.event(truth)
        assert truth["cause"] in (row["status"], f"quality {row['quality']}")
        assert not network.usable(row)


def test_repeats_agree_and_some_are_threefold(network):
    spreads = [network.depth(row)[1] for row in network.events() if row.get("depth_to_water")]
    assert sum(spread <= 0.003 + 1e-9 for spread in spreads) == len(spreads) - 1
    threefold = sum(bool(row.get("depth_to_water_3")) for row in network.events())
    assert 0.05 < threefold / len(spreads) < 0.2


def test_last_round(network, expected):
    truth = expected["last_round"]
    (planned,) = (row for row in network.tables["rounds"] if row["round"] == truth["round"])
    assert planned["wells"].split(";") == truth["planned"]
    events = {row["well"]: row for row in network.events() if row["round"] == truth["round"]}
    assert [well for well in truth["planned"] if well not in events] == truth["missing_without_reason"]
    for missing in truth["missing_with_reason"]:
        assert (events[missing["well"]]["status"], events[missing["well"]]["notes"]) == (
            missing["status"],
            missing["notes"],
        )
    day = dt.date.fromisoformat(truth["date"])
    late = {well for well, row in events.items() if (dt.date.fromisoformat(row["date"]) - day).days > 1}
    assert late == {item["well"] for item in truth["late"]}
    for control in truth["control"]:
        here = [well for well in truth["planned"] if network.wells[well]["aquifer"] == control["aquifer"]]
        usable = [well for well in here if well in events and well not in late and network.usable(events[well])]
        assert usable == control["used"]
        assert {item["well"] for item in control["excluded"]} == set(here) - set(usable)
    stages = {row["gauge"] for row in network.tables["stages"] if row["measured_at"].startswith(truth["date"])}
    assert stages == set(truth["control"][0]["gauges"])


def test_gradients_of_the_readings_are_those_of_the_truth(network, expected):
    events = {row["well"]: row for row in network.events() if row["round"] == expected["last_round"]["round"]}
    checked = 0
    for truth in expected["gradient"]:
        if not truth["wells"]:
            continue
        wells = [network.wells[well] for well in truth["wells"]]
        east, north = (np.array([float(well[axis]) for well in wells]) for axis in ("easting", "northing"))
        heads = [network.level(events[well])[1] for well in truth["wells"]]
        design = np.column_stack([np.ones(len(wells)), east - east.mean(), north - north.mean()])
        _, to_east, to_north = np.linalg.lstsq(design, np.array(heads), rcond=None)[0]
        assert math.hypot(to_east, to_north) == pytest.approx(truth["magnitude"], rel=0.02)
        assert math.degrees(math.atan2(-to_east, -to_north)) % 360 == pytest.approx(truth["azimuth_deg"], abs=1.0)
        checked += 1
    assert checked == 4


def test_vertical_differences(network, expected):
    flows = set()
    for truth in expected["vertical"]:
        events = {row["well"]: row for row in network.events() if row["round"] == truth["round"]}
        heads = [network.level(events[truth[which]])[1] for which in ("lower", "upper")]
        assert heads[0] - heads[1] == pytest.approx(truth["lower_less_upper_m"], abs=truth["tolerance_m"])
        assert truth["flow"] == ("upward" if heads[0] > heads[1] else "downward")
        middles = [
            float(network.wells[truth[which]]["ground_elevation"])
            - (float(screen["top_depth"]) + float(screen["bottom_depth"])) / 2
            for which in ("upper", "lower")
            for screen in [network.screens[truth[which]]]
        ]
        assert middles[0] - middles[1] == pytest.approx(truth["distance_of_screen_middles_m"], abs=1e-6)
        flows.add(truth["flow"])
    assert flows == {"upward", "downward"}


def test_planted_decline_shows(network, expected):
    """Between like seasons of the first and last full years of equal weather the falling wells fall behind a steady one."""
    for truth in expected["trend"]:
        steady = "W-01" if network.wells[truth["well"]]["aquifer"] == "upper" else "N1-L"
        differences = defaultdict(dict)
        for row in network.events():
            if row["well"] in (truth["well"], steady) and network.usable(row) and row["round"]:
                differences[row["round"]][row["well"]] = network.level(row)[1]
        both = [(r, v[truth["well"]] - v[steady]) for r, v in sorted(differences.items()) if len(v) == 2]
        years = [int(code[:4]) + int(code[-1]) / 4 for code, _ in both]
        slope = np.polyfit(years, [value for _, value in both], 1)[0]
        assert slope == pytest.approx(truth["planted_slope_m_per_year"], abs=0.02)
        assert slope < 0


def test_replaced_well(network, expected):
    truth = expected["replaced"]
    old, new = network.wells[truth["well"]], network.wells[truth["replaced_by"]]
    assert (old["decommissioned_on"], old["replaced_by"]) == (truth["decommissioned_on"], new["well"])
    assert new["drilled_on"] == truth["drilled_on"]
    assert max(r["date"] for r in network.events() if r["well"] == old["well"]) < truth["decommissioned_on"]
    assert min(r["date"] for r in network.events() if r["well"] == new["well"]) > truth["drilled_on"]


def test_demo_settings(expected):
    settings = tomllib.loads((FOLDER / "demo.toml").read_text(encoding="utf-8"))
    assert settings["report"] == {"definition": "quarterly", "period": expected["network"]["last_round"]}
    for correction in settings["corrections"]:
        assert (FOLDER / correction["folder"]).is_dir()
        assert correction["reason"] == expected["corrected_survey"]["reason"]
    assert {item["date"] for item in settings["map"]} == {expected["last_round"]["date"]}
