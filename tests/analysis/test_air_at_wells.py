"""Air pressure at wells: stand-ins, heights, gaps and their findings, from arrays that stand for the record.

The numbers of the rules (2 hours, 1.5 intervals, 24 moments, 100 Pa, 2 days) are project defaults.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import barometers
from gwnet.analysis.loggers.air_findings import AirOfDeployment, air_of_deployment, find_missing_air
from gwnet.analysis.loggers.air_response import describe_air, efficiency_of_well, remove_air_response
from gwnet.analysis.loggers.barometers import (
    AirPressure,
    air_pressure,
    barometer_channel,
    barometer_gaps,
    barometers_of,
)
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.suggestion import LoggerFinding
from gwnet.hydro.loggers.barometric import air_pressure_at
from gwnet.hydro.loggers.sea_level import station_pressure, station_pressure_half_width

from .logger_frames import HOUR, channel_of, deployment_of, history_of, moments, stamp

NAN = float("nan")
ROW = {
    "deployment_id": 1,
    "site": "S",
    "well": "",
    "instrument": "B",
    "kind": "barometer",
    "barometer": "",
    "installed_at_utc": stamp(-9999),
    "removed_at_utc": pd.NaT,
}


class Loggers:
    """What stands for a record of loggers: channels by instrument and quantity, deployments, wells, corrections."""

    def __init__(self, *channels, deployments=(), grounds=None, histories=None):
        self.channels = {(each.instrument, each.quantity): each for each in channels}
        self.table = pd.DataFrame([{**ROW, **row} for row in deployments], columns=list(ROW))
        for name in ("installed_at_utc", "removed_at_utc"):
            self.table[name] = pd.to_datetime(self.table[name], utc=True)
        wells = [{"site": "S", "well": well, "ground_elevation_m": level} for well, level in (grounds or {}).items()]
        wells = pd.DataFrame(wells, columns=["site", "well", "ground_elevation_m"])
        self.record = SimpleNamespace(wells=wells, deployments=self.table)
        self.histories = histories or {}
        self.asked = []

    def channel(self, instrument, quantity, start, end):
        self.asked.append((instrument, quantity, start, end))
        return self.channels.get((instrument, quantity))

    def deployments_of(self, instrument):
        return self.table[self.table["instrument"] == instrument]

    def correction_history(self, instrument, quantity):
        return self.histories.get((instrument, quantity), history_of())


def air_of(instrument, hours, value, *rows, quantity="air pressure"):
    return channel_of(hours, value, *rows, instrument=instrument, quantity=quantity)


def test_air_is_of_the_barometer_between_its_samples():
    """A missing and an excluded sample are none: the usual interval is 2 hours, 3 hours are bridged and 4 are not."""
    air = air_of(
        *("B", [0, 1, 2, 3, 4, 5, 9], [100.0, NAN, 300.0, 400.0, 500.0, 900.0, 700.0]),
        *(
            ("exclusion", 4, 5, {"cause": "other"}),
            ("scale", None, None, {"factor": 2.0}),
            ("step", 1, None, {"amount_m": 1}),
        ),
    )
    found = air_pressure(Loggers(air), deployment_of(), moments(0, 1, 2.5, 4.5, 6, 9, 10))
    np.testing.assert_array_equal(found.pressure_pa, [100.0, 200.0, 350.0, 775.0, NAN, 700.0, NAN])
    np.testing.assert_array_equal(found.away_s, [0.0, 3600.0, 1800.0, 1800.0, 3600.0, 0.0, 3600.0])
    assert found.half_width_pa.tolist() == [0.0] * 7
    assert found.gap_s == 10_800.0
    assert found.steps == (
        "less the air pressure of B, linear between samples up to 3 h apart",
        "scale x 2 (correction 2 by Ben: seen)",
        "air pressure as at the barometer: the ground elevation there is not on record",
    )


@pytest.mark.parametrize(
    ("hours", "gap_s"), [([0, 1, 2], 7200.0), ([0, 2, 4], 10_800.0), ([0], 7200.0), ([0, 4 / 3, 8 / 3], 7200.0)]
)
def test_the_longest_gap_is_two_hours_or_one_interval_and_a_half(hours, gap_s):
    found = air_pressure(Loggers(air_of("B", hours, np.ones(len(hours)))), deployment_of(), moments(0))
    assert found.gap_s == pytest.approx(gap_s, rel=1e-9)


def test_without_a_barometer_or_its_samples_there_is_no_air():
    for deployment, words in (
        (deployment_of(barometer=""), "no barometer is named in the deployment"),
        (deployment_of(), "no air pressure of B is on record in that time"),
    ):
        found = air_pressure(Loggers(), deployment, moments(0, 1))
        assert (found.steps, found.gap_s) == ((words,), 7200.0)
        assert np.isnan(found.pressure_pa).all()
        assert np.isinf(found.away_s).all()
        assert found.half_width_pa.tolist() == [0.0, 0.0]


def test_air_is_brought_from_the_ground_at_the_barometer_to_that_at_the_well():
    """The newest place of a barometer that was moved counts, and only one in a well has a height."""
    places = [{"well": "X"}, {"well": "Y"}, {"well": ""}]
    loggers = Loggers(air_of("B", [0, 1], [1e5, 1e5]), deployments=places, grounds={"A": 130.0, "X": 90.0, "Y": 105.5})
    found = air_pressure(loggers, deployment_of(), moments(0))
    assert found.pressure_pa[0] == float(air_pressure_at(1e5, 24.5))
    assert found.steps[-1] == "air pressure brought to the well, +24.5 m above the barometer"
    for grounds in ({"A": 130.0}, {"Y": 105.5}, {"A": 130.0, "Y": NAN}):
        loggers = Loggers(air_of("B", [0, 1], [1e5, 1e5]), deployments=places, grounds=grounds)
        assert air_pressure(loggers, deployment_of(), moments(0)).pressure_pa[0] == 1e5


def test_sea_level_pressure_needs_the_height_of_the_well():
    station = air_of("B", [0, 1, 2], [101_000.0, NAN, 101_600.0], quantity="sea-level pressure")
    found = air_pressure(Loggers(station, grounds={"A": 250.0}), deployment_of(), moments(0, 1, 5))
    expected = station_pressure([101_000.0, 101_300.0, NAN], 250.0)
    np.testing.assert_array_equal(found.pressure_pa, expected)
    half = station_pressure_half_width(expected[:2], 250.0)
    np.testing.assert_array_equal(found.half_width_pa, [*half, 0.0])
    assert found.steps[-1] == (
        f"sea-level pressure reduced to the well at 250.0 m by the standard atmosphere, ± {max(half):.0f} Pa"
    )
    none = air_pressure(Loggers(station), deployment_of(), moments(0, 1))
    assert np.isnan(none.pressure_pa).all()
    why = "the sea-level pressure of B is not used: the ground elevation of the well is not on record"
    assert none.steps == (why,)


def stand_in(common, *, half_width=0.0, away=900.0):
    """Return the air of a barometer that lacks its last two samples, and one that differs at so many moments."""
    size = common + 2
    differences = np.where(np.arange(size) % 2, 40.0, 46.0) + np.where(np.arange(size) < 2, 500.0, 0.0)
    other = AirPressure(
        *(np.full(size, 1000.0), np.full(size, away), np.full(size, half_width), 9000.0, ("less", "brought")),
    )
    pressure = np.where(np.arange(size) < common, 1000.0 + differences, NAN)
    first = AirPressure(pressure, np.full(size, 60.0), np.full(size, 5.0), 7200.0, ("own",))
    return first, other, differences[:common]


def test_a_stand_in_is_moved_by_the_median_difference_at_24_moments():
    first, other, differences = stand_in(24)
    found = barometers._filled(first, other, "C")
    shift = np.median(differences)
    spread = 1.96 * 1.482602218505602 * np.median(np.abs(differences - shift))
    assert shift == 43.0 or shift == 46.0
    np.testing.assert_allclose(found.pressure_pa, [*first.pressure_pa[:24], *[1000.0 + shift] * 2], rtol=1e-12)
    np.testing.assert_array_equal(found.away_s, [60.0] * 24 + [900.0] * 2)
    np.testing.assert_allclose(found.half_width_pa, [5.0] * 24 + [spread] * 2, rtol=1e-4)
    assert found.gap_s == 9000.0
    assert found.steps == (
        "own",
        f"2 samples with the air pressure of C instead, moved by {shift:+.0f} Pa, the median difference at 24 moments, "
        f"± {spread:.0f} Pa",
        "brought",
    )


@pytest.mark.parametrize(("half_width", "spread"), [(0.0, 100.0), (250.0, 250.0)])
def test_a_stand_in_without_24_common_moments_stays_as_it_is(half_width, spread):
    first, other, _ = stand_in(23, half_width=half_width)
    found = barometers._filled(first, other, "C")
    assert found.pressure_pa[-2:].tolist() == [1000.0] * 2
    assert found.half_width_pa[-3:].tolist() == [5.0, spread, spread]
    words = f"as it is, ± {spread:.0f} Pa: no common time shows how the two differ"
    assert found.steps[1] == f"2 samples with the air pressure of C instead, {words}"
    blind = AirPressure(np.full(25, NAN), other.away_s, other.half_width_pa, 1.0, ())
    assert barometers._filled(first, blind, "C") is first


def test_stand_ins_are_asked_in_turn_while_something_is_missing():
    """B names C, C names D and B back; a deployment that does not meet the moments names nobody."""
    rows = [
        {"instrument": "B", "barometer": "X", "removed_at_utc": stamp(1)},
        {"instrument": "B", "barometer": "C", "installed_at_utc": stamp(3)},
        {"instrument": "C", "barometer": "D"},
        {"instrument": "C", "barometer": "B"},
        {"instrument": "C", "barometer": "W", "well": "W", "kind": "logger"},
        {"instrument": "D", "barometer": "E", "well": "W"},
        {"instrument": "E", "barometer": "F", "installed_at_utc": stamp(3.001)},
    ]
    loggers = Loggers(deployments=rows)
    assert list(barometers_of(loggers, "B", moments(1, 3))) == ["B", "C", "D", "E"]
    assert list(barometers_of(loggers, "B", moments(0.999, 2.9))) == ["B", "X"]
    assert list(barometers_of(loggers, "B", moments())) == ["B", "X", "C", "D", "E", "F"]
    air = [air_of("B", [0, 1], [100.0, 100.0]), air_of("C", [0, 1, 2, 3], [7.0] * 4), air_of("D", [4, 5], [9.0, 9.0])]
    loggers = Loggers(*air, deployments=rows)
    found = air_pressure(loggers, deployment_of(), moments(0, 3))
    assert found.pressure_pa.tolist() == [100.0, 7.0]
    assert {name for name, *_ in loggers.asked} == {"B", "X", "C"}
    assert air_pressure(loggers, deployment_of(), moments(3.5, 4.5, 6)).pressure_pa[:2].tolist() == pytest.approx(
        [NAN, 9.0], nan_ok=True
    )


def test_a_barometer_is_looked_at_two_days_around_the_moments():
    loggers = Loggers(air_of("B", [0, 1], [1.0, 2.0]))
    assert barometer_channel(loggers, "B", moments()) is None
    assert barometer_channel(loggers, "B", moments(0, 5)).value.tolist() == [1.0, 2.0]
    assert loggers.asked == [
        ("B", quantity, stamp(-48), stamp(53))
        for quantity in ("air pressure", "absolute pressure", "sea-level pressure")
    ]


def test_samples_of_a_barometer_count_while_it_is_in_air():
    air = air_of("B", range(8), np.arange(8.0))
    rows = [
        {"installed_at_utc": stamp(1), "removed_at_utc": stamp(3)},
        {"installed_at_utc": stamp(5), "removed_at_utc": stamp(6), "well": "A"},
        {"installed_at_utc": stamp(3), "removed_at_utc": stamp(5), "well": "A", "kind": "logger"},
        {"installed_at_utc": stamp(6), "removed_at_utc": stamp(7), "kind": "logger"},
    ]
    found = barometer_channel(Loggers(air, deployments=rows), "B", moments(0, 8))
    assert found.value.tolist() == [1.0, 2.0, 5.0, 6.0]
    assert found.time_utc.tolist() == found.file_time_utc.tolist() == moments(1, 2, 5, 6).tolist()
    assert found.as_read.tolist() == [1.0, 2.0, 5.0, 6.0]
    in_water = [{**rows[2], "removed_at_utc": pd.NaT}, {"installed_at_utc": stamp(99)}]
    assert barometer_channel(Loggers(air, deployments=in_water), "B", moments(0, 8)) is None
    assert barometer_channel(Loggers(air, deployments=[{}]), "B", moments(0, 8)) is air
    assert barometer_channel(Loggers(air, deployments=[{**rows[2]}]), "B", moments(0, 8)) is air


def test_two_quantities_of_one_barometer_are_one_series():
    """Of two samples at one instant the one with a value stays, and of two with one that of the air pressure."""
    air = channel_of(
        *(
            [0, 1, 2, 4],
            [1.0, 2.0, NAN, 4.0],
            ("exclusion", 4, 5, {"cause": "other"}),
            ("scale", None, None, {"factor": 2}),
        ),
        instrument="B",
        quantity="air pressure",
        overlapping=3,
    )
    absolute = channel_of([1, 2, 3, 4], [20.0, 30.0, 40.0, 50.0], instrument="B", overlapping=4)
    station = air_of("B", [9], [7.0], quantity="sea-level pressure")
    found = barometer_channel(Loggers(air, absolute, station), "B", moments(0, 5))
    assert found.time_utc.tolist() == moments(0, 1, 2, 3, 4).tolist()
    assert found.value.tolist() == [1.0, 2.0, 30.0, 40.0, 50.0]
    assert (found.quantity, found.overlapping) == ("absolute pressure", 7)
    assert found.correction_history.rows["kind"].tolist() == ["scale"]
    assert barometer_channel(Loggers(station), "B", moments(0, 5)) is station
    assert barometer_channel(Loggers(absolute, station), "B", moments(0, 5)) is absolute


def test_gaps_of_a_barometer_are_longer_than_it_is_interpolated_over():
    air = air_of("B", [0, 1, 2, 4, 5, 6, 8.5, 9], [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, NAN])
    assert barometer_gaps(Loggers(air), "B", moments(0, 9)) == [tuple(moments(6, 8.5))]
    assert barometer_gaps(Loggers(), "B", moments(0, 9)) == []


def need(well, first, last, *runs, barometer="B"):
    spans = tuple((*moments(start, end), count) for start, end, count in runs)
    return AirOfDeployment("S", well, f"L{well}", "absolute pressure", barometer, *moments(first, last), spans)


GAPPY = air_of("B", [0, 1, 2, 10, 11, 12, 20, 21], np.ones(8))  # gaps from 2 to 10 and from 12 to 20


def test_a_gap_is_one_finding_with_the_samples_that_lack_it():
    needs = [need("C", 5, 30, (5, 9, 5), (22, 30, 9)), need("A", 0, 11, (3, 9, 7)), need("D", 10, 12), need("E", -9, 2)]
    first, second, rest = find_missing_air(Loggers(GAPPY), needs)
    assert first == LoggerFinding(
        *("S", "", "B", "air pressure", "barometer gap", *moments(2, 10)),
        "No air pressure of barometer B for 8 h: samples without a level: A (7), C (5); load its missing file, or name a "
        "barometer that stands in for it in its own deployment.",
    )
    # from hour 12 to 20 only C goes on, and lacks no sample there
    assert second.message == "No air pressure of barometer B for 8 h: no sample of a level needs it."
    assert (second.start_utc, second.end_utc) == tuple(moments(12, 20))
    assert rest == LoggerFinding(
        *("S", "C", "LC", "absolute pressure", "no air pressure", *moments(22, 30)),
        "9 samples without a level: no air pressure, B has none before, after or at all; load its files, or name one in "
        "the deployment.",
    )


@pytest.mark.parametrize(("run", "own"), [((10, 12), True), ((9.999, 12), False), ((20, 20), True), ((19, 21), False)])
def test_a_run_that_meets_a_gap_is_the_gap(run, own):
    found = list(find_missing_air(Loggers(GAPPY), [need("A", 0, 30, (*run, 1))]))
    assert [one.rule for one in found] == ["barometer gap"] * 2 + ["no air pressure"] * own
    assert ("A (1)" in found[0].message + found[1].message) is not own


def test_a_gap_that_a_stand_in_fills_and_one_that_nobody_needs():
    rows = [{"barometer": "C"}, {"barometer": "D"}]
    found = list(find_missing_air(Loggers(GAPPY, deployments=rows), [need("A", 0, 12)]))
    assert [one.message for one in found] == ["No air pressure of barometer B for 8 h: C or D stands in."]
    assert list(find_missing_air(Loggers(GAPPY), [need("A", 10, 12)])) == []
    [alone] = find_missing_air(Loggers(), [need("A", 0, 5, (1, 1, 1), barometer="")])
    assert alone.message == (
        "1 sample without a level: no air pressure, the deployment names no barometer; load its files, or name one in the "
        "deployment."
    )


def test_a_gap_is_of_the_quantity_that_the_barometer_records():
    absolute = channel_of([0, 1, 2, 10, 11], np.ones(5), instrument="B")
    [found] = find_missing_air(Loggers(absolute), [need("A", 0, 11)])
    assert (found.quantity, found.instrument) == ("absolute pressure", "B")


def test_what_a_deployment_needs_of_its_barometer():
    code = OUT_REASONS.index("no air pressure")
    heads = SimpleNamespace(
        site="S",
        well="A",
        instrument="B",
        quantity="Q",
        deployment_id=2,
        time_utc=moments(*range(6)),
        anchored=SimpleNamespace(out=np.array([code, code, 0, 1, code, 0])),
    )
    loggers = Loggers(deployments=[{"barometer": "X"}, {"deployment_id": 2, "barometer": "Y"}])
    found = air_of_deployment(loggers, heads)
    assert found == AirOfDeployment(
        *("S", "A", "B", "Q", "Y", *moments(0, 5)), ((*moments(0, 1), 2), (*moments(4, 4), 1))
    )


def efficiency(value):
    return history_of(("efficiency", None, None, value))


def test_the_efficiency_of_a_well_is_that_of_the_deployment_nearest_in_time():
    rows = [
        {"instrument": "L1", "well": "A", "kind": "logger", "installed_at_utc": stamp(0), "removed_at_utc": stamp(10)},
        {"instrument": "L2", "well": "A", "kind": "logger", "installed_at_utc": stamp(20)},
        {"instrument": "L3", "well": "A", "kind": "logger", "installed_at_utc": stamp(12), "removed_at_utc": stamp(18)},
        {"instrument": "B", "well": "A"},
        {"instrument": "L4", "well": "C", "kind": "logger"},
        {"instrument": "L5", "well": "A", "site": "T", "kind": "logger"},
    ]
    histories = {
        ("L1", "water column"): efficiency({"value": 0.1}),
        ("L2", "absolute pressure"): efficiency({"response": [0.2, 0.3], "lags": 1.0}),
        ("L2", "water pressure"): efficiency({"value": 0.9}),
        **{(name, "absolute pressure"): efficiency({"value": 0.8}) for name in ("B", "L4", "L5")},
    }
    loggers = Loggers(deployments=rows, histories=histories)
    for hour, instrument, value in (
        (-5, "L1", 0.1),
        (14.9, "L1", 0.1),
        (15.1, "L2", 0.3),
        (99, "L2", 0.3),
        (10, "L1", 0.1),
    ):
        found = efficiency_of_well(loggers, "S", "A", stamp(hour))
        assert (found.deployment.instrument, found.value) == (instrument, value)
    assert efficiency_of_well(loggers, "S", "X", stamp(0)) is None


def test_a_response_at_once_is_taken_out_against_the_mean_air():
    air = np.array([10.0, 10.5, NAN, 10.3])
    found = remove_air_response(Loggers(), deployment_of(), {"value": 0.4}, moments(0, 1, 2, 3), air, 1e-4)
    np.testing.assert_allclose(found.level_m, 0.4 * (air - 30.8 / 3), rtol=1e-12, atol=1e-15)
    assert found.half_width_m.tolist() == [0.0] * 4


def test_a_late_response_needs_the_air_of_all_lags_before():
    """Half-hourly steps, two lags, samples every 40 minutes: linear between the even moments, from an hour before on."""
    rng = np.random.default_rng(1)
    values = 1e5 + rng.normal(size=14) * 300
    loggers = Loggers(air_of("B", np.arange(-3, 11) / 2, values))
    settings = {"response": [0.2, 0.5, 0.6], "half_width": [0.01, 0.02, 0.03], "step_s": 1800.0}
    when = moments(0, 2 / 3, 4 / 3, 2)
    found = remove_air_response(loggers, deployment_of(), settings, when, np.array([10.0, 10.4, NAN, 10.2]), 1e-4)
    b = values * 1e-4 - 10.2
    level = [0.6 * b[k - 2] + 0.2 * (b[k] - b[k - 1]) + 0.5 * (b[k - 1] - b[k - 2]) for k in range(2, 14)]
    half = [0.03 * abs(b[k - 2]) + 0.01 * abs(b[k] - b[k - 1]) + 0.02 * abs(b[k - 1] - b[k - 2]) for k in range(2, 14)]
    grid, asked = np.arange(-1, 11) / 2, np.array([0, 2 / 3, 4 / 3, 2])
    np.testing.assert_allclose(found.level_m, np.interp(asked, grid, level), rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(found.half_width_m, np.interp(asked, grid, half), rtol=1e-6, atol=1e-9)
    assert when[1] - when[0] < HOUR


def test_air_for_an_efficiency_is_said_in_its_own_words():
    air = AirPressure(*[np.zeros(1)] * 3, 1.0, ("less the air pressure of B, less the air pressure", "brought"))
    assert describe_air(air) == ["barometric efficiency by the air pressure of B, less the air pressure", "brought"]
