"""A pumping test from its levels to arrays and back to rows, on frames alone: each number by arithmetic."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from gwnet.analysis.pumping.drawdown import (
    DRAWDOWN_COLUMNS,
    STATIC_COLUMNS,
    dimensions_for_analysis,
    rates_for_analysis,
    static_depth_below_ground,
    thickness_for,
    wells_for_analysis,
    work_out_drawdowns,
)
from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.pumping import PumpingGeometry

from .gathered import AIR, RATES, READ, gathered, level_rows

#: One litre a second is 86.4 m³/d.
DAY = 1440.0


def test_drawdowns_with_all_that_is_printed_beside_them():
    test = gathered(READ, RATES)
    made = work_out_drawdowns(test)
    table = made.table
    assert list(table.columns) == list(DRAWDOWN_COLUMNS)
    assert table["well"].tolist() == ["PW"] * 7 + ["O1"] * 3
    minutes = [-1441, -1440, -60, 0, 90, 600, 660, -30, 20, 300]
    assert table["elapsed_min"].tolist() == minutes
    # the readings of the day before the start, its ends included
    static = np.mean([5.04, 5.00, 5.02])
    falls = [7.0 - static, 5.04 - static, 5.0 - static, 5.02 - static, 9 - static, 12 - static, 6 - static, 0.0, 0.5, 1]
    np.testing.assert_allclose(table["drawdown_m"], falls, atol=1e-12)
    scatter = stats.t.ppf(0.975, 2) * np.std([5.04, 5.00, 5.02], ddof=1) / math.sqrt(3.0)
    width = [math.hypot(0.004, scatter)] * 7 + [math.hypot(0.004, 0.004)] * 3
    np.testing.assert_allclose(table["uncertainty_m"], width, rtol=1e-9)
    np.testing.assert_allclose(table["static_elevation_m"], [100.5 - static] * 7 + [95.5] * 3, rtol=1e-12)
    nan = math.nan
    np.testing.assert_allclose(table["since_change_min"], [nan, nan, nan, 0, 90, 0, 60, nan, 20, 180], atol=1e-9)
    np.testing.assert_allclose(table["rate_l_s"], [0, 0, 0, 8, 8, 0, 0, 0, 8, 10], atol=1e-12)
    # of the last rate, 10 after 8 L/s: the product of the times to the power of the changes
    ratio = (660 / 60) ** 0.8 * (540 / 60) ** 0.2
    at_stop = 600**0.8 * 480**0.2
    np.testing.assert_allclose(table["recovery_ratio"], [*[nan] * 6, ratio, nan, nan, nan], rtol=1e-9)
    np.testing.assert_allclose(table["equivalent_min"], [*[nan] * 6, at_stop / ratio, nan, nan, nan], rtol=1e-9)
    assert table["measured_at"].iloc[4] == "2024-05-01T08:30:00+01:00"
    assert (table["test"] == "PT-1").all()
    assert table["distance_m"].tolist() == [0.0] * 7 + [30.0] * 3
    [own, other] = made.static.to_dict("records")
    assert list(own) == list(STATIC_COLUMNS)
    assert (own["n"], own["background"], other["n"]) == (3, "mean", 1)
    assert own["static_elevation_m"] == pytest.approx(100.5 - static)
    assert own["uncertainty_m"] == pytest.approx(scatter)
    assert all(math.isnan(own[name]) for name in ("static_depth_m", "slope_m_per_day", "slope_uncertainty_m_per_day"))
    assert (own["barometer"], own["air_not_known"], other["note"]) == ("", 0, "The static level is a single reading.")
    assert math.isnan(own["barometric_efficiency"])
    assert made.without == ()


def test_a_line_before_the_test_rises_where_depths_fall_and_is_taken_at_the_start():
    rows = [("O1", -120, 6.12), ("O1", -60, 6.07), ("O1", -30, 6.03), ("O1", 60, 7.0)]
    made = work_out_drawdowns(gathered(rows), background="line")
    line = stats.linregress([-120, -60, -30], [6.12, 6.07, 6.03])
    [row] = made.static.to_dict("records")
    assert row["slope_m_per_day"] == pytest.approx(-line.slope * DAY)
    assert row["slope_uncertainty_m_per_day"] == pytest.approx(stats.t.ppf(0.975, 1) * line.stderr * DAY)
    assert row["static_elevation_m"] == pytest.approx(101.5 - line.intercept)
    minutes, residual = np.array([-120, -60, -30]), np.array([6.12, 6.07, 6.03]) - line.intercept
    sd = math.sqrt(((residual - line.slope * minutes) ** 2).sum())
    spread = math.sqrt(1 / 3 + 70.0**2 / ((minutes + 70.0) ** 2).sum())
    assert row["uncertainty_m"] == pytest.approx(stats.t.ppf(0.975, 1) * sd * spread)
    drawn = made.table["drawdown_m"].iloc[-1]
    assert drawn == pytest.approx(7.0 - line.intercept - 60 * line.slope)
    corrected = work_out_drawdowns(gathered(rows), background="line", thickness_m=5.0).table["drawdown_m"].iloc[-1]
    assert corrected == pytest.approx(drawn - drawn**2 / 10.0)


def test_depths_serve_where_no_elevation_is_known_and_air_pressure_is_added_to_the_height():
    levels = level_rows(("O1", -30, 6.0), ("O1", 20, 6.5), ("O1", 40, 6.9)).assign(water_elevation_m=np.nan)
    levels["air_correction_m"] = [np.nan, 0.05, np.nan]
    made = work_out_drawdowns(gathered(levels, air=(AIR,)))
    np.testing.assert_allclose(made.table["drawdown_m"], [0.0, 0.45, 0.9], atol=1e-12)
    assert made.table["static_elevation_m"].isna().all()
    [row] = made.static.to_dict("records")
    assert row["static_depth_m"] == pytest.approx(6.0)
    assert math.isnan(row["static_elevation_m"])
    shown = ("barometer", "barometric_efficiency", "largest_air_correction_m", "air_not_known")
    assert [row[name] for name in shown] == ["B", 0.5, -0.0421, 2]
    # one or the other for a whole well: a reading without an elevation among others is left out
    mixed = level_rows(("O1", -30, 6.0), ("O1", 20, 6.5), ("O1", 40, 6.9))
    mixed.loc[1, "water_elevation_m"] = np.nan
    assert work_out_drawdowns(gathered(mixed)).table["elapsed_min"].tolist() == [-30.0, 40.0]


def test_wells_without_a_level_before_the_start_and_drawdowns_as_given():
    levels = level_rows(("O1", 0.5, 6.0), ("O2", 1, np.nan), ("O2", 9, np.nan), ("PW", 0, 5.0), ("PW", 9, 7.0))
    levels.loc[1:2, "given_drawdown_m"] = [0.25, 0.75]
    levels.loc[1:2, "water_elevation_m"] = np.nan
    test = gathered(levels, [])
    made = work_out_drawdowns(test)
    assert made.without == ("O1",)
    assert made.table["drawdown_m"].tolist() == [0.0, 2.0, 0.25, 0.75]
    assert made.table["source"].tolist() == ["manual"] * 2 + ["drawdown as given"] * 2
    assert made.table["uncertainty_m"].isna().tolist() == [False, False, True, True]
    assert made.table[["rate_l_s", "since_change_min", "recovery_ratio", "equivalent_min"]].isna().all(axis=None)
    with pytest.raises(AnalysisError, match="no level of O1 in the 24 h before the start of test PT-1"):
        work_out_drawdowns(gathered(levels[:1]))
    with pytest.raises(AnalysisError, match="no level of any well"):
        work_out_drawdowns(gathered(levels[:0]))


def test_rates_in_cubic_metres_a_day_end_with_the_stop():
    rates = rates_for_analysis(gathered(READ, RATES))
    np.testing.assert_allclose(rates.start_days * DAY, [0.0, 120.0, 600.0])
    np.testing.assert_allclose(rates.rate_m3_d, [8 * 86.4, 10 * 86.4, 0.0])
    going_on = rates_for_analysis(gathered(READ, RATES, stop_min=math.inf))
    np.testing.assert_allclose(going_on.rate_m3_d, [8 * 86.4, 10 * 86.4, 3 * 86.4])
    at_stop = rates_for_analysis(gathered(READ, [("PW", 0, 8.0), ("PW", 600, 5.0)]))
    np.testing.assert_allclose(at_stop.rate_m3_d, [8 * 86.4, 0.0])
    with pytest.raises(AnalysisError, match="PT-1 has no rate of PW on record"):
        rates_for_analysis(gathered(READ, [("O1", 0, 8.0)]))


def test_wells_as_arrays_with_their_screens_below_the_static_level():
    levels = [*READ, ("O2", -5, 4.2), ("O2", 50, 4.3)]
    others = [("PT-2", "O2", "upper", -90, 30, 2.5)]
    test = gathered(levels, RATES, others)
    made = work_out_drawdowns(test)
    pumped, near = wells_for_analysis(test, made, ["PW", "O1"], images_m={"O1": 77.0}, superposed=["O2"])
    assert (pumped.well, pumped.distance_m, near.distance_m) == ("PW", 0.1, 30.0)
    np.testing.assert_allclose(near.days * DAY, [-30.0, 20.0, 300.0])
    np.testing.assert_allclose(near.drawdown_m, [0.0, 0.5, 1.0], atol=1e-12)
    np.testing.assert_allclose(near.half_width_m, math.hypot(0.004, 0.004))
    # 6.0 m below a measuring point half a metre above ground
    assert (near.top_m, near.bottom_m) == pytest.approx((21.0 - 5.5, min(30.0 - 5.5, 20.0)))
    assert static_depth_below_ground(test, "O1") == pytest.approx(5.5)
    assert (near.image_m, pumped.image_m, near.background) == (77.0, None, "mean")
    np.testing.assert_allclose(near.before_days * DAY, [-30.0])
    np.testing.assert_allclose(pumped.before_days * DAY, [-1441, -1440, -60, 0.0])
    [beside] = near.others
    assert (beside.well, beside.distance_m) == ("O2", pytest.approx(math.hypot(30.0, 100.0)))
    np.testing.assert_allclose(beside.rates.start_days * DAY, [-90.0, 30.0])
    # the screen of O2, 3 to 4 m below ground, against a level 3.7 m below ground
    assert (beside.top_m, beside.bottom_m) == pytest.approx((0.0, 0.3))
    windowed = wells_for_analysis(test, made, ["O1"], first_min=20.0, last_min=300.0)
    assert windowed[0].days.size == 1
    assert windowed[0].others == ()
    assert [well.well for well in wells_for_analysis(test, made)] == ["PW", "O1", "O2"]
    unknown = replace(made, table=made.table.assign(uncertainty_m=[math.nan, *made.table["uncertainty_m"][1:]]))
    assert [well.half_width_m is None for well in wells_for_analysis(test, unknown)] == [True] * 3
    assert [well.half_width_m is None for well in wells_for_analysis(test, unknown, ["O1"])] == [False]
    as_given = replace(made, table=made.table.assign(source="drawdown as given"), static=made.static[:0])
    [given] = wells_for_analysis(test, as_given, ["O1"])
    assert (given.before_days.size, given.background) == (0, "mean")
    by_line = replace(made, static=made.static.assign(background=["mean", "line", "mean"]))
    assert [well.background for well in wells_for_analysis(test, by_line)] == ["mean", "line", "mean"]


@pytest.mark.parametrize(
    ("wells", "asked", "superposed", "said"),
    [
        ({"radius_m": [np.nan] * 3}, "PW", (), "The radius of the screen of PW is not on record"),
        ({"distance_m": [0.0, np.nan, 9.0]}, "O1", (), "The distance from PW of O1 is not on record"),
        ({"easting_m": [500.0, 530.0, 530.0], "northing_m": [900.0] * 3}, "O1", ("O2",), "distance from O1 of O2, whose"),
        ({"easting_m": [500.0, 530.0, np.nan]}, "O1", ("O2",), "distance from O1 of O2, whose pumping is to be"),
        ({}, "O2", ("O2",), "The radius of the screen of O2, whose pumping is to be superposed"),
    ],
)  # fmt: skip
def test_dimensions_that_are_not_on_record(wells, asked, superposed, said):
    levels = [*READ, ("O2", -5, 4.2), ("O2", 50, 4.3)]
    test = gathered(levels, RATES, [("PT-2", "O2", "upper", -90, 30, 2.5)], wells=wells)
    with pytest.raises(AnalysisError, match=said) as told:
        wells_for_analysis(test, work_out_drawdowns(test), [asked], superposed=superposed)
    if not superposed:
        fixes = {"PW": "Load the diameter of its screen in a table construction.", "O1": "Give coordinates."}
        assert told.value.fix == fixes[asked]


def test_a_well_that_is_superposed_on_itself_has_its_radius():
    test = gathered([*READ, ("O1", 400, 7.1)], RATES, [("PT-2", "O1", "upper", -90, 30, 2.5)])
    [well] = wells_for_analysis(test, work_out_drawdowns(test), ["O1"], superposed=["O1"])
    assert well.others[0].distance_m == 0.025


def test_dimensions_of_well_and_aquifer():
    test = gathered(READ, RATES)
    # the mean of all levels before the start, half a metre of measuring point above ground
    static = np.mean([5.0, 5.04, 7.0, 5.02]) - 0.5
    assert dimensions_for_analysis(test, boundary="barrier") == PumpingGeometry(
        0.1, 0.08, 20.0, pytest.approx(20.0 - static), 20.0, pytest.approx(38.0 - static), None, "barrier"
    )
    assert dimensions_for_analysis(test, thickness_m=7.5).thickness_m == 7.5
    bare = gathered(READ, RATES, thickness_m=math.nan, wells={name: [np.nan] * 3 for name in ("radius_m",)})
    found = dimensions_for_analysis(bare)
    assert (found.well_radius_m, found.thickness_m, found.screen_top_m, found.screen_bottom_m) == (None,) * 4
    dry = gathered(READ, RATES, wells={"screen_top_m": [1.0] * 3, "screen_bottom_m": [static] * 3})
    assert dimensions_for_analysis(dry).screen_bottom_m is None
    for lacking in ("screen_top_m", "screen_bottom_m"):
        assert dimensions_for_analysis(gathered(READ, RATES, wells={lacking: [np.nan] * 3})).screen_top_m is None


def test_the_thickness_for_a_correction():
    test = gathered()
    assert thickness_for(test, 5.0, is_corrected=False) is None
    assert (thickness_for(test, None, is_corrected=True), thickness_for(test, 5.0, is_corrected=True)) == (20.0, 5.0)
    unknown = gathered(thickness_m=math.nan)
    assert thickness_for(unknown, 5.0, is_corrected=True) == 5.0
    with pytest.raises(SettingsError, match="thickness of the aquifer is not on record of test PT-1"):
        thickness_for(unknown, None, is_corrected=True)


#: Of whom O1 is asked: where it is, what it is for, its levels, and whether it takes part.
BY_LOGGER = level_rows(("O1", -5, 6.0), ("O1", 20, 6.5), source="logger V")


@pytest.mark.parametrize(
    ("wells", "levels", "others", "observed"),
    [
        ({}, BY_LOGGER, (), ["O1"]),
        ({"use": ["", "", ""]}, BY_LOGGER, (), []),
        ({"use": ["", "Observation well", ""]}, BY_LOGGER, (), ["O1"]),
        ({"aquifer": ["upper", "lower", "upper"]}, BY_LOGGER, (), []),
        ({"aquifer": ["", "", ""]}, BY_LOGGER, (), []),
        ({}, BY_LOGGER[1:], (), []),
        ({}, BY_LOGGER[:1], (), []),
        ({}, BY_LOGGER.assign(elapsed_min=[0.0, 20.0]), (), ["O1"]),
        ({}, BY_LOGGER.assign(elapsed_min=[-5.0, 0.0]), (), []),
        ({}, BY_LOGGER.assign(elapsed_min=[0.5, 20.0]), (), []),
        ({}, BY_LOGGER.assign(elapsed_min=[-5.0, 0.5]), (), ["O1"]),
        # no farther than the farthest that was read by hand
        ({"distance_m": [0.0, 100.0, 100.0]}, pd.concat([BY_LOGGER, level_rows(("O2", 5, 4.0))]), (), ["O1", "O2"]),
        ({"distance_m": [0.0, 100.5, 100.0]}, pd.concat([BY_LOGGER, level_rows(("O2", 5, 4.0))]), (), ["O2"]),
        ({"distance_m": [0.0, 9e5, 100.0]}, pd.concat([BY_LOGGER, level_rows(("PW", 5, 4.0))]), (), ["O1"]),
        ({}, level_rows(("O1", 20, 6.5), source="level event"), (), ["O1"]),
        ({}, level_rows(("O1", 0, 6.5)), (), []),
        ({}, level_rows(("O1", 20, 6.5)), [("PT-1", "O1", "upper", 5, 90, 2.0)], []),
        ({}, level_rows(("O1", 20, 6.5)), [("PT-1", "O1", "lower", 5, 90, 2.0)], ["O1"]),
    ],
)  # fmt: skip
def test_wells_that_belong_to_a_test_and_those_that_could(wells, levels, others, observed):
    test = gathered(levels, others=others, wells=wells)
    assert test.observed_wells == observed
    after = set(levels.loc[levels["elapsed_min"] > 0, "well"]) - {"PW"}
    assert test.available_wells == [well for well in ("O1", "O2") if well in after and well not in observed]


def test_a_test_knows_its_stop_and_its_wells_in_order():
    assert gathered(stop_min=math.inf).stop_min == math.inf
    test = gathered([("O2", 1, 4.0), ("PW", 1, 5.0)], stop_min=90.0)
    assert (test.stop_min, test.read_wells) == (90.0, ["PW", "O2"])
    assert test.row_of("O2")[["well", "distance_m"]].tolist() == ["O2", 100.0]
    nothing = gathered([], others=[("PT-2", "P2", "upper", -1, 5, 2.0), ("PT-2", "P3", "upper", 0, 5, 2.0)])
    assert nothing.pumped_beside()["well"].tolist() == ["P2"]
