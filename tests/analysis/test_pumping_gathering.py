"""What a pumping test gathers from a record: levels before it, dimensions, moments, spans, and the available drawdown."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.pumping import analyses, gather, listing, production
from gwnet.analysis.pumping.analyses import FitRequest
from gwnet.analysis.pumping.gather import gather_test, rates_of
from gwnet.analysis.pumping.readings import (
    add_moments,
    changes_of_rate,
    is_during_test,
    reading_inputs,
    spans_of_tests,
)
from gwnet.errors import AnalysisError
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from ..pumping_record import TABLES, pumping_network
from .gathered import START, at, gathered, level_rows

EVENTS = (
    "site,well,date,time,depth_to_water,quality\n"
    "S,O1,2024-04-30,07:59,5.30,good\nS,O1,2024-04-30,08:00,5.11,good\nS,O1,2024-05-01,08:00,5.12,good\n"
    "S,O1,2024-05-01,08:01,5.90,good\nS,O1,2024-04-30,,5.70,good\nS,O2,2024-05-01,07:00,4.90,poor\n"
    "S,PW,2024-05-01,06:30,5.00,good\n"
)
READINGS = (
    "site,test,well,measured_at,elapsed [min],depth_to_water,set_depth,passed,quality,notes\n"
    "S,PT-1,PW,,5,9.0,,,good,\nS,PT-1,O1,2024-05-01T08:30,,5.5,,,good,by lamp\nS,PT-1,O1,,20.5,5.4,,,good,\n"
    "S,PT-1,O1,,40,5.6,,,poor,\nS,PT-1,O1,,50,5.6,,,suspect,\nS,PT-1,O1,,60,5.7,,,estimate,\n"
    "S,PT-1,O2,2024-05-01T06:00,,4.8,,,good,\nS,PT-1,O2,,90,,4.9,falling,good,\n"
)
CONSTRUCTION = (
    "site,well,part,top_depth,bottom_depth,diameter,removed_on\n"
    "S,PW,casing,0,20,150,\nS,PW,screen,20,30,200,\nS,PW,screen,30,38,300,\nS,O1,casing,0,20,50,\n"
    "S,O2,open hole,20,38,90,\nS,O2,casing,0,20,140,2020-01-01\nS,O2,screen,10,20,500,2020-01-01\n"
)
TESTS = (
    "site,test,well,kind,starts_at,stops_at\n"
    "S,PT-1,PW,constant rate,2024-05-01T08:00,2024-05-01T18:00\nS,PT-2,O2,constant rate,2024-05-03T08:00,\n"
)
PUMPED = "site,test,from,rate\nS,PT-1,240,10\nS,PT-1,2024-05-01T08:00,8\nS,PT-2,0,3\n"


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    tables = {
        "level_events": EVENTS, "pumping_readings": READINGS, "construction": CONSTRUCTION, "pumping_tests": TESTS,
        "pumping_rates": PUMPED, "wells": TABLES["wells"] + "S,FAR,500000,5310000,upper,100,40\n",
    }  # fmt: skip
    with (
        pumping_network(tmp_path_factory.mktemp("gathering") / "net", **tables) as net,
        net.store.reading() as connection,
    ):
        yield Snapshot(connection).of_site()


def rows(levels):
    columns = (levels[name] for name in ("well", "elapsed_min", "depth_to_water_m", "source"))
    return [(well, minute, round(depth, 3), source) for well, minute, depth, source in zip(*columns, strict=True)]


def test_levels_of_a_test_are_its_readings_and_the_static_levels_of_the_day_before(record):
    test = gather_test(record, "PT-1")
    assert rows(test.levels) == [
        ("O1", -1440.0, 5.11, "level event"), ("O1", 0.0, 5.12, "level event"), ("O1", 20.5, 5.4, "manual"),
        ("O1", 30.0, 5.5, "manual"), ("O1", 60.0, 5.7, "manual"), ("O2", -120.0, 4.8, "manual"),
        ("O2", 90.0, 4.9, "manual"), ("PW", -90.0, 5.0, "level event"), ("PW", 5.0, 9.0, "manual"),
    ]  # fmt: skip
    assert test.left_out == 2
    assert test.levels["passed"].tolist() == [*[""] * 6, "falling", "", ""]
    assert test.levels.index.tolist() == list(range(9))
    assert test.wells.index.tolist() == [0, 1, 2]
    shorter = gather_test(record, "PT-1", before_hours=1.5, wells=["PW", "O2"])
    assert rows(shorter.levels) == [
        ("O2", 90.0, 4.9, "manual"), ("PW", -90.0, 5.0, "level event"), ("PW", 5.0, 9.0, "manual"),
    ]  # fmt: skip
    assert shorter.before_hours == 1.5
    assert test.stop_min == 600.0
    assert gather_test(record, "PT-2").stop_min == math.inf


def test_dimensions_are_of_the_parts_that_are_still_there(record):
    wells = gather_test(record, "PT-1").wells.set_index("well")
    assert wells.index.tolist() == ["PW", "O1", "O2"]
    assert wells["distance_m"].tolist() == [0.0, 30.0, 100.0]
    assert wells["radius_m"].tolist() == [0.15, 0.025, 0.045]
    assert wells["casing_radius_m"].tolist() == [0.075, 0.025, 0.045]
    assert wells["easting_m"].tolist() == [500_000.0, 500_030.0, 500_000.0]
    assert wells["northing_m"].tolist() == [5_300_000.0, 5_300_000.0, 5_300_100.0]
    assert (wells.loc["PW", "screen_top_m"], wells.loc["PW", "screen_bottom_m"]) == (20.0, 38.0)
    assert wells["total_depth_m"].tolist() == [40.0] * 3
    # of the test at O2 the pumped well comes first, and the wells of others stay in order of distance
    assert gather_test(record, "PT-2").wells["well"].tolist() == ["O2", "PW"]


@pytest.mark.parametrize(("crs", "scale"), [("EPSG:25832", 1.0), ("EPSG:2277", 1200.0 / 3937.0)])
def test_distances_are_in_metres_also_where_coordinates_are_in_feet(crs, scale):
    """A foot of the United States survey is 1200/3937 m."""
    rows = [("C", 3, 30.0, 40.0, "irrigation", ""), ("B", 2, 30.0, -40.0, "", "observation well"), ("A", 1, 0.0, 0.0, "", ""),
            ("D", 4, 6.0, 8.0, "monitoring", "observation"), ("E", 5, 900.0, 0.0, "", "")]  # fmt: skip
    wells = pd.DataFrame(rows, columns=["well", "well_id", "easting", "northing", "purpose", "role"]).assign(
        site="S", longitude=math.nan, latitude=math.nan, ground_elevation_m=101.0, screen_top_m=2.0, screen_bottom_m=5.0,
        total_depth_m=7.0, aquifer="upper",
    )  # fmt: skip
    elsewhere = wells.assign(site="X", easting=1e6)
    columns = ["well_id", "part", "diameter_mm", "removed_on"]
    parts = pd.DataFrame(
        [(1, "screen", 100.0, None), (2, "casing", 80.0, None), (3, "plug", 300.0, None)], columns=columns
    )
    sites = pd.DataFrame({"site": ["X", "S"], "crs": ["EPSG:25833", crs]})
    known = SimpleNamespace(
        all_sites=sites, wells=pd.concat([elsewhere, wells]), construction=parts, settings={"crs": crs}
    )  # fmt: skip
    table = gather._wells(known, pd.Series({"site": "S", "well": "A"}), ["A", "B", "C", "D"])
    assert table["well"].tolist() == ["A", "D", "B", "C"]
    np.testing.assert_allclose(table["distance_m"], scale * np.array([0.0, 10.0, 50.0, 50.0]))
    np.testing.assert_allclose(table["easting_m"], scale * np.array([0.0, 6.0, 30.0, 30.0]))
    np.testing.assert_allclose(table["northing_m"], scale * np.array([0.0, 8.0, -40.0, 40.0]))
    np.testing.assert_allclose(table["radius_m"], [0.05, math.nan, 0.04, math.nan])
    np.testing.assert_allclose(table["casing_radius_m"], [0.05, math.nan, 0.04, math.nan])
    assert table["use"].tolist() == ["", "monitoring observation", "observation well", "irrigation"]
    known.wells = wells
    images = analyses._image_distances(known, SimpleNamespace(wells=table), (3.0, 4.0))
    assert images == pytest.approx({"A": scale * 5, "D": scale * 5, "B": scale * math.hypot(27, 44), "C": scale * 45.0})


def test_rates_are_in_order_of_time_whichever_way_they_were_given(record):
    test = record.pumping_tests.iloc[0]
    rates = rates_of(record, test)
    assert rates["elapsed_min"].tolist() == [0.0, 240.0]
    assert rates["rate_l_s"].tolist() == [8.0, 10.0]
    assert rates["from_utc"].tolist() == [pd.Timestamp("2024-05-01T07:00Z"), pd.Timestamp("2024-05-01T11:00Z")]
    others = gather_test(record, "PT-1").others
    assert others.empty
    beside = gather_test(record, "PT-2").others
    assert beside["until_min"].tolist() == [-2880.0 + 240.0, -2880.0 + 600.0]


def test_readings_are_restricted_by_well_and_aquifer(record):
    everything = reading_inputs(record).records
    assert len(everything) == 8
    assert everything["notes"].tolist() == ["test PT-1", "test PT-1; by lamp", *["test PT-1"] * 6]
    assert everything["method"].tolist() == [*[""] * 6, "water passed the set depth, falling", ""]
    assert set(everything["event_id"]) == {-1}
    assert set(everything["status"]) == {"pumping test"}
    assert set(everything["local_offset_minutes"]) == {60}
    assert everything["time_known"].all()
    assert len(reading_inputs(record, Selection(aquifer="upper")).records) == 8
    assert len(reading_inputs(record, Selection(aquifer="lower")).records) == 0
    assert len(reading_inputs(record, Selection(wells=("O1",), aquifer="upper")).records) == 5


def test_heads_count_as_long_after_the_stop_as_the_pump_ran_or_to_the_last_reading():
    test = {"starts_at_utc": START, "stops_at_utc": START + pd.Timedelta(hours=3)}
    early, late = level_rows(("O1", 60, 6.0)), level_rows(("O1", 60, 6.0), ("O1", 800, 6.0), ("O1", 700, 6.0))
    assert gather._end(test, early) == START + pd.Timedelta(hours=6)
    assert gather._end(test, late) == START + pd.Timedelta(minutes=800)
    assert gather._end(test, late[:0]) == START + pd.Timedelta(hours=6)
    assert gather._end(test | {"stops_at_utc": pd.NaT}, early) == START + pd.Timedelta(minutes=60)
    assert gather._end(test | {"stops_at_utc": pd.NaT}, early[:0]) == START


@pytest.mark.parametrize(
    ("accuracy", "widths"),
    [(0.01, [0.004, 0.01]), (math.nan, [0.004, 0.02]), (0.0, [0.004, 0.02]), (0.002, [0.002, 0.002])],
)
def test_heads_of_a_logger_have_their_response_to_air_left_in(accuracy, widths):
    """Within a deployment no more than the accuracy of the instrument counts, where it is on record."""
    times = np.array([at(minute).tz_localize(None) for minute in (0, 10, 20, 30, 40)], dtype="datetime64[us]")
    level = SimpleNamespace(response_m=np.array([0.5, 0.1, 0.2, 0.3, 0.4]), channel=SimpleNamespace(time_utc=times))
    heads = SimpleNamespace(
        well="O1", instrument="V", level=level, time_utc=times[[1, 2, 4]],
        water_elevation_m=np.array([95.0, math.nan, 94.0]), uncertainty_m=np.array([0.004, 0.006, 0.02]),
    )  # fmt: skip
    made = gather._head_rows(heads, accuracy)
    assert made["measured_at_utc"].tolist() == [at(10), at(40)]
    np.testing.assert_allclose(made["water_elevation_m"], [94.9, 93.6])
    assert made["half_width_m"].tolist() == widths
    assert made["source"].tolist() == ["logger V"] * 2
    assert made[["given_drawdown_m", "depth_to_water_m"]].isna().all(axis=None)


def test_heads_at_the_ends_of_the_span_of_a_test_are_part_of_it(monkeypatch):
    deployments = pd.DataFrame({"site": ["S", "X"], "instrument": ["V", "W"]})
    asked = []

    def iterate(record, rows, start, end):
        asked.append((rows["instrument"].tolist(), start, end))
        return []

    monkeypatch.setattr(gather, "deployments_in", lambda _: deployments)
    monkeypatch.setattr(gather, "iterate_heads", iterate)
    known = SimpleNamespace(instruments=pd.DataFrame({"instrument": ["V"], "accuracy_m": [0.01]}))
    assert gather._heads(known, pd.Series({"site": "S"}), at(-60), at(90)).empty
    [(instruments, start, end)] = asked
    assert (instruments, start) == (["V"], at(-60))
    assert at(90) < end <= at(90) + pd.Timedelta(milliseconds=1)  # a span is half-open


def fake(tests, **more):
    """Return as much of a record as moments and spans of tests need."""
    table = pd.DataFrame(tests, columns=["site", "test", "well", "starts_at_utc", "stops_at_utc"])
    table = table.astype(dict.fromkeys(("starts_at_utc", "stops_at_utc"), "datetime64[us, UTC]"))
    return SimpleNamespace(pumping_tests=table, once=lambda _, make: make(), **more)


def moments(rows, at_name="measured_at_utc", elapsed="elapsed_min"):
    table = pd.DataFrame(rows, columns=["site", "test", "well", at_name, elapsed])
    return table.astype({at_name: "datetime64[us, UTC]", elapsed: float})


TWO = [("S", "A", "PW", at(0), at(100)), ("S", "B", "O1", at(200), pd.NaT), ("S", "C", "O2", at(500), at(510))]
READ = [
    ("S", "B", "O1", pd.NaT, 60.25), ("S", "A", "O1", at(30.5), np.nan), ("S", "A", "PW", pd.NaT, 40.0),
    ("S", "A", "O2", at(140), np.nan), ("S", "A", "O1", at(20), np.nan), ("S", "B", "PW", pd.NaT, -5.0),
]  # fmt: skip


def test_moments_follow_from_elapsed_minutes_and_the_other_way_round():
    filled = add_moments(fake(TWO), moments(READ), "measured_at_utc", "elapsed_min")
    assert filled["well"].tolist() == ["O1", "O1", "O2", "PW", "O1", "PW"]
    assert filled.index.tolist() == list(range(6))
    assert filled["elapsed_min"].tolist() == [20.0, 30.5, 140.0, 40.0, 60.25, -5.0]
    expected = [at(minute) for minute in (20, 30.5, 140, 40, 260.25, 195)]
    assert filled["measured_at_utc"].tolist() == expected


def test_spans_of_tests_end_with_the_stop_or_the_last_reading():
    spans = spans_of_tests(fake(TWO, pumping_readings=moments(READ)))
    assert [tuple(row) for row in spans.itertuples(index=False)] == [
        ("S", "A", "PW", at(0), at(100)), ("S", "A", "O1", at(0), at(100)), ("S", "A", "O2", at(0), at(140)),
        ("S", "B", "O1", at(200), at(260.25)), ("S", "B", "PW", at(200), at(200)), ("S", "C", "O2", at(500), at(510)),
    ]  # fmt: skip


def test_levels_within_a_test_of_their_well_ends_included():
    record = fake(TWO, pumping_readings=moments(READ))
    asked = [("PW", 0, True), ("PW", -0.1, True), ("PW", 100, True), ("PW", 100.1, True), ("O2", 120, True),
             ("O1", 150, True), ("PW", 820, False), ("PW", 920.1, False), ("PW", -720, False), ("PW", -720.1, False)]  # fmt: skip
    table = pd.DataFrame(asked, columns=["well", "minute", "time_known"])
    table["measured_at_utc"] = [at(minute) for minute in table["minute"]]
    # noon of a day meets what is up to twelve hours away
    expected = [True, False, True, False, True, False, True, False, True, False]
    assert is_during_test(record, table).tolist() == expected
    without = table.drop(columns="time_known")
    assert is_during_test(record, without).tolist() == [*expected[:6], *[False] * 4]
    assert is_during_test(record, table[:0]).tolist() == []
    assert is_during_test(fake([], pumping_readings=moments(READ)[:0]), table[:2]).tolist() == [False, False]


def test_rates_change_at_starts_stops_and_beginnings_of_rates():
    rates = moments([("S", "A", "PW", pd.NaT, 30.0), ("S", "A", "PW", at(0), np.nan)], "from_utc", "from_elapsed_min")
    expected = np.array(
        [at(minute).tz_localize(None) for minute in (0, 30, 100, 200, 500, 510)], dtype="datetime64[us]"
    )
    np.testing.assert_array_equal(changes_of_rate(fake(TWO, pumping_rates=rates)), expected)
    assert changes_of_rate(fake([], pumping_rates=rates)).size == 0


def measuring_points(*points):
    columns = ["site", "well", "access", "valid_from_utc", "height_above_ground_m"]
    readings = pd.DataFrame([("PT-1", "PW", "pipe"), ("PT-9", "PW", "main")], columns=["test", "well", "access"])
    return SimpleNamespace(measuring_points=pd.DataFrame(points, columns=columns), pumping_readings=readings)


POINTS = [
    ("S", "PW", "pipe", at(-900), 0.7), ("S", "PW", "pipe", at(600), 0.4), ("S", "PW", "pipe", at(100), math.nan),
    ("S", "PW", "main", at(0), 0.1), ("X", "PW", "pipe", at(0), 0.2), ("S", "O1", "pipe", at(0), 0.3),
]  # fmt: skip
BEFORE = (("PW", -60, 5.0), ("PW", 0, 5.5), ("PW", 0.5, 9.0), ("O1", -30, 6.0))


def test_the_level_may_fall_to_the_nearest_of_intake_screen_and_limit():
    test = gathered(BEFORE)
    # the screen begins 20 m below ground, the measuring point nearest in time is 0.4 m above it
    found = production._available(measuring_points(*POINTS), test, None)
    assert (found.limit, found.depth_m, found.drawdown_m) == ("screen top", pytest.approx(20.4), pytest.approx(15.15))
    assert found.others == (("pump intake", pytest.approx(30.0 - 5.25)),)
    limited = production._available(measuring_points(*POINTS), test, 12.0)
    assert (limited.limit, limited.drawdown_m) == ("limit", pytest.approx(6.75))
    note = production._limits(limited)
    assert note == "to the limit at 12.00 m; others: screen top 15.15 m; pump intake 24.75 m"
    alone = production._available(measuring_points(), test, None)
    assert (alone.limit, alone.others) == ("pump intake", ())
    assert production._limits(alone) == "to the pump intake at 30.00 m"
    unread = gathered(BEFORE, test="PT-8")  # nobody read it: the main access
    assert production._available(measuring_points(*POINTS), unread, None).depth_m == pytest.approx(20.1)
    with pytest.raises(AnalysisError, match="No depth to water of PW before test PT-1 is on record"):
        production._available(measuring_points(), gathered(BEFORE[2:]), None)


def test_what_is_remarked_on_a_test_is_its_findings_with_what_can_be_done(record):
    levels = gather_test(record, "PT-1").levels
    assert levels.loc[levels["well"] == "O2", "elapsed_min"].min() == -120.0
    assert listing.remark_on(record, "PT-1", before_hours=24.0) == []
    [said] = listing.remark_on(record, "PT-1", before_hours=1.75)
    assert said == (
        "O2 has 1 reading of test PT-1, the first 90 min after the start, and no level in the 1.75 h before it. Load the "
        "level that was read before the pump started."
    )


@pytest.mark.parametrize(
    ("kind", "asked", "method", "wells"),
    [
        ("step", "", "step-theis", ()), ("constant rate", "", "theis", ("PW",)), ("step", "leaky", "leaky", ("PW",)),
        ("constant rate", "step", "step", ()),
    ],
)  # fmt: skip
def test_the_method_of_production_is_that_of_the_kind_of_test(monkeypatch, kind, asked, method, wells):
    seen = []

    def analyse(record, code, methods, request):
        seen.append((code, methods, request))
        raise InterruptedError

    monkeypatch.setattr(production, "find_test", lambda record, code: {"kind": kind, "well": "PW"})
    monkeypatch.setattr(production, "analyse_test", analyse)
    request = production.ProductionRequest(method=asked, background="line", before_hours=5.0, is_air_removed=False)
    with pytest.raises(InterruptedError):
        production.work_out_production(None, "PT-1", request)
    assert seen == [("PT-1", [method], FitRequest(wells, "line", 5.0, is_air_removed=False))]


def test_the_list_of_tests_has_hours_rates_and_local_times():
    levels = level_rows(("O1", -5, 6.0), ("O1", 20, 6.5), ("PW", 5, 9.0)).assign(
        source=["manual", "logger V", "manual"]
    )
    rates = [("PW", 0, 8.0), ("PW", 5, 9.87654), ("O1", 0, 1.0)]
    test = gathered(levels, rates, stop_min=90.0, crew="Ana", purpose="yield")
    row = listing._row(test)
    assert row | {"findings": 0} == {
        "site": "S", "test": "PT-1", "well": "PW", "kind": "constant rate", "starts_at": "2024-05-01T07:00+01:00",
        "stops_at": "2024-05-01T08:30+01:00", "hours": 1.5, "rates_l_s": "8; 9.877", "wells": "PW,O1", "readings": 2,
        "purpose": "yield", "crew": "Ana", "findings": 0,
    }  # fmt: skip
    assert row["findings"] == 1  # the pumped well has no level before the start
    open_end = listing._row(gathered(stop_min=math.inf))
    assert (open_end["stops_at"], math.isnan(open_end["hours"]), open_end["findings"]) == ("", True, 1)
    assert list(row) == list(listing.TEST_COLUMNS)
