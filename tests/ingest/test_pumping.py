"""Tables of pumping tests are loaded like all others: units of headings, elapsed times, refusals, corrections."""

import datetime as dt

import pandas as pd
import pytest

from gwnet.errors import FileRejectedError, IngestError
from gwnet.ingest.tables.pumping import check_rates, check_readings, refuse_overlapping_tests
from gwnet.store.snapshot import Snapshot

TESTS = "site,test,well,kind,starts_at,stops_at,intake_depth\n"
TEST = TESTS + "S,PT-1,MW-1,constant rate,2024-05-01T08:00,2024-05-01T16:00,15\n"
RATES = "site,test,well,from,rate [m3/h],volume [L],seconds [s]\n"
READINGS = "site,test,well,measured_at,elapsed [s],depth_to_water,set_depth,passed\n"


def frame(loader, name):
    with loader.net.store.reading() as connection:
        return getattr(Snapshot(connection), f"pumping_{name}")


@pytest.fixture
def tested(loader):
    loader.text(TEST, "pumping_tests.csv")
    return loader


def only(rejections):
    assert len(rejections) == 1, [str(r) for r in rejections]
    return rejections[0]


def test_a_test_with_rates_and_readings_is_on_record_in_metres_minutes_and_litres(tested):
    tested.text(RATES + "S,PT-1,,0,36,200,20\nS,PT-1,MW-2,2024-05-01T10:00,7.2,,\n", "pumping_rates.csv")
    rows = "S,PT-1,MW-2,2024-05-01T07:50,,5.1,,\nS,PT-1,MW-2,,90,,5.3,falling\n"
    tested.text(READINGS + rows, "pumping_readings.csv")
    test = frame(tested, "tests").iloc[0]
    assert (test["well"], test["kind"], test["intake_depth_m"]) == ("MW-1", "constant rate", 15.0)
    assert test["starts_at_utc"] == pd.Timestamp("2024-05-01T06:00Z")
    rates = frame(tested, "rates")
    assert rates["well"].tolist() == ["MW-1", "MW-2"]  # an empty cell is the pumped well
    assert rates["rate_l_s"].tolist() == [10.0, 2.0]
    assert rates["from_elapsed_min"].tolist()[0] == 0.0
    assert rates["from_utc"].tolist()[1] == pd.Timestamp("2024-05-01T08:00Z")
    readings = frame(tested, "readings")
    assert readings["elapsed_min"].tolist()[1] == 1.5
    assert readings[["set_depth_m", "passed"]].to_numpy().tolist()[1] == [5.3, "falling"]
    assert readings["depth_to_water_m"].tolist()[0] == 5.1


def test_the_same_rows_are_passed_over_and_others_refused_until_they_correct(tested):
    first = READINGS + "S,PT-1,MW-2,,90,5.3,,\nS,PT-1,MW-2,2024-05-01T07:50,,5.1,,\n"
    tested.text(first, "pumping_readings.csv")
    again = tested.text(first + "\n", "pumping_readings_2.csv")
    assert (again.files[0].added, again.files[0].unchanged) == (0, 2)
    other = READINGS + "S,PT-1,MW-2,,90,5.4,,\n"
    refused = only(tested.rejected(other, "pumping_readings_3.csv"))
    assert refused.problem == "already-recorded"
    assert "5.3" in refused.message
    done = tested.text(other, "pumping_readings_3.csv", correct=True, reason="misread")
    assert done.files[0].corrected == 1
    assert sorted(frame(tested, "readings")["depth_to_water_m"]) == [5.1, 5.4]
    with tested.net.store.reading() as connection:
        states = connection.exec_driver_sql("SELECT max(retired_at_utc) FROM pumping_reading").scalar_one()
        before = dt.datetime.fromisoformat(states).replace(tzinfo=dt.UTC) - dt.timedelta(microseconds=1)
        earlier = Snapshot(connection, before).pumping_readings
    assert sorted(earlier["depth_to_water_m"]) == [5.1, 5.3]
    changed = tested.net.wells.history("MW-2")
    changed = changed[changed["act"] == "corrected"]
    assert changed[["subject", "was", "now", "reason"]].to_numpy().tolist() == [
        ["pumping reading", "5.300 m", "5.400 m", "misread"]
    ]


def test_a_test_is_withdrawn_after_its_rates_and_readings(tested):
    rows = READINGS + "S,PT-1,MW-2,,90,5.3,,\n"
    tested.text(rows, "pumping_readings.csv")
    with pytest.raises(FileRejectedError) as caught:
        tested.text(TEST, "pumping_tests.csv", withdraw=True, reason="another well")
    assert only(caught.value.rejections).problem == "needed-by-others"
    tested.text(rows, "pumping_readings.csv", withdraw=True, reason="another well")
    tested.text(TEST, "pumping_tests.csv", withdraw=True, reason="another well")
    assert frame(tested, "tests").empty


@pytest.mark.slow
@pytest.mark.parametrize(
    ("row", "problem", "words"),
    [
        ("S,PT-1,,0,-3,,", "rate-negative", "negative"),
        ("S,PT-1,,0,36,20,20", "rate-not-of-bucket", "1 L/s; the row says 10 L/s"),
        ("S,PT-1,,0,36,20,", "one-quantity-wanted", "no seconds"),
        ("S,PT-2,,0,36,,", "test-unknown", "no test 'PT-2'"),
        ("S,PT-1,,soon,36,,", "not-a-date", "'soon' is not a date"),
    ],
)
def test_rates_that_cannot_be_are_refused(tested, row, problem, words):
    rejection = only(tested.rejected(RATES + row + "\n", "pumping_rates.csv"))
    assert rejection.problem == problem
    assert words in rejection.message
    assert check_rates.__doc__


@pytest.mark.parametrize(
    ("row", "problem", "words"),
    [
        ("S,PT-1,MW-2,,90,5.1,5.3,falling", "one-quantity-wanted", "2 of"),
        ("S,PT-1,MW-2,,90,,,", "one-quantity-wanted", "0 of"),
        ("S,PT-1,MW-2,,90,,5.3,", "required", "fell below the set depth"),
        ("S,PT-1,MW-2,,90,5.3,,falling", "required", "no set depth"),
        ("S,PT-1,MW-2,2024-05-01T08:01,90,5.3,,", "one-quantity-wanted", "several ways"),
        ("S,PT-1,MW-2,2024-05-01,,5.3,,", "time-of-day-missing", "time of day"),
        ("S,PT-1,MW-2,,,5.3,,", "one-quantity-wanted", "does not say when"),
        ("S,PT-1,MW-9,,90,5.3,,", "well-unknown", "MW-9"),
        ("S,PT-1,MW-2,,90 s,5.3,,", "not-a-number", "90 s"),
    ],
)
def test_readings_that_cannot_be_are_refused(tested, row, problem, words):
    rejection = only(tested.rejected(READINGS + row + "\n", "pumping_readings.csv"))
    assert rejection.problem == problem
    assert words in rejection.message
    assert check_readings.__doc__


def test_a_unit_that_is_none_of_a_rate_or_of_time_is_refused_with_those_that_are(tested):
    with pytest.raises(IngestError, match=r"Unknown unit of rate 'ft'.*gal/min"):
        tested.text("site,test,from,rate [ft]\nS,PT-1,0,3\n", "pumping_rates.csv")
    with pytest.raises(IngestError, match=r"Unknown unit of time 'm'.*min"):
        tested.text("site,test,well,elapsed [m],drawdown\nS,PT-1,MW-2,3,0.1\n", "pumping_readings.csv")


@pytest.mark.parametrize(
    ("unit", "litres_per_second"),
    # 231 in3 to the US gallon and 0.3048 m to the foot (NIST SP 811, appendix B; from memory)
    [
        ("gpm", 0.0630901964),
        ("m³/h", 0.2777777778),
        ("ft3/min", 0.4719474432),
        ("L/min", 0.0166666667),
        ("m3/d", 0.011574074),
    ],
)
def test_rates_are_converted_from_the_unit_of_their_heading(tested, unit, litres_per_second):
    tested.text(f"site,test,from [h],rate [{unit}]\nS,PT-1,1.5,1\n", "pumping_rates.csv")
    rates = frame(tested, "rates")
    assert rates["rate_l_s"].tolist() == [pytest.approx(litres_per_second, abs=1e-9)]
    assert rates["from_elapsed_min"].tolist() == [90.0]


@pytest.mark.parametrize("start", ["2024-05-01T15:59", "2024-05-01T16:00", "2024-05-01T07:00"])
def test_a_test_that_overlaps_another_of_the_same_well_is_refused(tested, start):
    row = f"S,PT-2,MW-1,step,{start},2024-05-01T20:00,\n"
    rejection = only(tested.rejected(TESTS + row, "pumping_tests_2.csv"))
    assert rejection.problem == "tests-overlap"
    assert "'PT-1' on record" in rejection.message
    assert refuse_overlapping_tests.__doc__
    tested.text(TESTS + row.replace("MW-1", "MW-2"), "pumping_tests_2.csv")  # at another well both may be


def test_a_test_that_stops_before_it_starts_is_refused(loader):
    row = "S,PT-1,MW-1,step,2024-05-01T08:00,2024-05-01T07:00,\n"
    assert only(loader.rejected(TESTS + row, "pumping_tests.csv")).problem == "after-its-end"
