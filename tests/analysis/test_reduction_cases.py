"""The reduction of readings case by case, every number worked out by hand; constructed record."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.frame import levels_frame, measured_at_text
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.stepped_tapes import SteppedTape, find_stepped_tape, is_read_with_stepped, widen_stepped
from gwnet.store.snapshot import Snapshot

from .reduction_record import DAY, READ, made_in


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    record, events = made_in(tmp_path_factory.mktemp("cases"))
    with record.store.reading() as connection:
        inputs = gather(Snapshot(connection))
    record.store.close()
    # a database refuses a second point at one time, so that it is given here
    points = inputs.measuring_points
    second = points[points["well"] == "two points"].assign(elevation_m=102.0)
    inputs = replace(inputs, measuring_points=pd.concat([points, second], ignore_index=True))
    return inputs, reduce_levels(inputs), events


@pytest.fixture(scope="module")
def table(made):
    return levels_frame(*made[:2]).set_index("well")


def rss(*parts):
    return np.sqrt(np.sum(np.square(parts)))


#: Depth to water, depth below ground, water elevation, bound and its elevation, what was noticed.
CASES = {
    "height unknown": (2.0, 1.2, 99.0, "", None, ""),
    "two points": (2.0, None, None, "", None, "two measuring points in force"),
    "other datum": (3.0, None, 98.0, "", None, ""),
    "other datum, read": (2.0, None, 99.0, "", None, "measuring point in another datum"),
    "same datum": (2.0, None, 99.0, "", None, ""),
    "above by little": (-0.003, -0.503, 200.003, "", None, ""),
    "below by little": (0.002, -0.498, 199.998, "", None, ""),
    "above": (-0.5, -1.0, 200.5, "", None, "above the measuring point, not flowing"),
    "above, pumping": (-0.5, -1.0, 200.5, "", None, ""),
    "no access": (None, None, None, "", None, ""),
    "flowing, no point": (None, None, None, "", None, ""),
    "at the screen": (12.5, 12.0, 88.0, "", None, ""),
    "below the screen": (12.625, 12.125, 87.875, "<=", 88.0, "water below the screen"),
    "below the screen, pumping": (12.625, 12.125, 87.875, "", None, ""),
    "below the screen, silted up": (
        *(13.0, 12.5, 87.5, "<=", 88.0, "water below the screen; below the bottom of the well"),
    ),
    "at the bottom": (12.15, 12.15, 87.85, "", None, ""),
    "below the bottom": (12.25, 12.25, 87.75, "", None, "below the bottom of the well"),
    "below the sounding": (10.5, 10.5, 89.5, "", None, "below the bottom of the well"),
    "product below": (5.0, 4.5, 195.0, "", None, ""),
    "product at the water": (5.0, 4.5, 195.0, "", None, ""),
    "product": (49.95, 49.45, 150.05 + 0.8 * 9.99, "", None, ""),
    "thin product": (5.5, 5.0, 194.5 + 0.8 * 0.5, "", None, ""),
    "elevation": (102.0, 101.5, 98.0, "", None, ""),
    "ground, height": (2.8, 2.0, 98.2, "", None, ""),
    "ground": (2.8, 2.0, 98.2, "", None, ""),
    "steel": (50.0 * (1 + 1.16e-4), 50.0 * (1 + 1.16e-4) - 0.5, 200.0 - 50.0 * (1 + 1.16e-4), "", None, ""),
    # 20 m at the mark and 1.25 m at the water, on a tape of steel that was 10 degrees warmer than it is right
    "chalked": (18.75 * (1 + 1.16e-4), 18.75 * (1 + 1.16e-4) - 0.5, 200.0 - 18.75 * (1 + 1.16e-4), "", None, ""),
    "thrice": (15.007 / 3, 15.007 / 3 - 0.5, 200.0 - 15.007 / 3, "", None, ""),
    "beyond": (119.9, 119.4, 80.1, "", None, "beyond the tape check"),
    "short of": (2.0, 1.5, 198.0, "", None, "beyond the tape check"),
    "disagreeing": (None, None, None, "", None, "repeats disagree"),
    "chosen": (5.1, 4.6, 194.9, "", None, ""),
    "early": (None, None, None, "", None, ""),
}


@pytest.mark.parametrize("well", CASES)
def test_depths_elevations_bounds_and_what_is_noticed(table, well):
    *numbers, bound, bound_elevation, finding = CASES[well]
    row = table.loc[well]
    names = ["depth_to_water_m", "depth_below_ground_m", "water_elevation_m"]
    expected = [np.nan if value is None else value for value in (*numbers, bound_elevation)]
    found = [float(row[name]) for name in (*names, "bound_elevation_m")]
    assert found == pytest.approx(expected, rel=1e-9, nan_ok=True)
    assert (row["bound"], row["finding"]) == (bound, finding)


def test_product_is_as_thick_as_its_corrected_depths_say(table):
    thick = table["product_thickness_m"]
    assert thick["product"] == pytest.approx(49.95 - 39.96, rel=1e-9)
    assert table["water_elevation_uncorrected_m"]["product"] == pytest.approx(150.05, rel=1e-9)
    assert thick["thin product"] == pytest.approx(0.5, rel=1e-9)
    assert thick.drop(["product", "thin product"]).isna().all()


def test_soundings_are_corrected_as_readings_are(table):
    """100 m with steel 10 degrees warmer than it is right, less the height of the point."""
    assert table["sounded_depth_m"]["steel"] == pytest.approx(100.0116 - 0.5, rel=1e-9)


NORMAL = 1.959963984540054
#: Parts of the half-width: survey, reading, tape check, repeats, stretch; and where the first two come from.
WIDTHS = {
    # a thousandth of the depth for a tape without a check, half of 6 mm for a single reading
    "height unknown": ((0.005, 0.003, 0.002, 0.003), "stated", "default, method not known, 2024"),
    # 102 m below the point, beyond the 60.96 m that a tape's accuracy is stated to
    "elevation": ((0.005, 0.003 * 102.0 / 60.96), "stated", "default, method not known, 2024"),
    "elevation, stated": ((0.05,), "not needed", "stated"),
    "ground, height": ((0.005, 0.003), "stated", "default, method not known, 2024"),
    "ground": ((1.5, 0.003), "stated", "default, method not known, 2024"),
    "stated sigma": ((0.005, NORMAL * 0.03048), "stated", "stated"),
    # a tape that was never checked among checked ones may be out by 0.1 m beside its stretch
    "air line": ((0.005, 0.3, 0.005, 0.1, 0.003), "stated", "default of air line"),
    "steel": (
        (0.005, 0.003, 0.05 * (1 + 1.16e-4), 0.1, 0.003, 11.6e-6 * 50.0 * 2.0),
        "stated",
        "default of steel tape",
    ),
    "of the instrument": ((0.005, 0.02, 0.005, 0.003), "stated", "of the instrument"),
    # the spread of repeats counts by half
    "thrice": ((0.005, 0.003, 0.001 * 15.007 / 3, 0.0025), "stated", "default, method not known, 2024"),
    # 20 m and 3 m beyond the depths of the last check of the tape, at a thousandth; deeper than 60.96 m in proportion
    "beyond": ((0.005, 0.003 * 119.9 / 60.96, 0.003, 0.02, 0.003), "stated", "default of electric tape"),
    "short of": ((0.005, 0.003, 0.003, 0.003, 0.003), "stated", "default of electric tape"),
}


@pytest.mark.parametrize("well", WIDTHS)
def test_half_widths_and_where_they_come_from(table, well):
    parts, survey, reading = WIDTHS[well]
    assert table["uncertainty_m"][well] == pytest.approx(rss(*parts), rel=1e-9)
    assert table["accuracy_from"][well] == f"survey: {survey}; reading: {reading}"


def test_what_has_no_number_has_neither_half_width_nor_survey(table):
    for well in ("no access", "flowing, no point", "two points", "early"):
        assert np.isnan(table["uncertainty_m"][well])
        assert table["accuracy_from"][well] == ""
    points = table["measuring_point"]
    assert (points["two points"], points["early"], points["flowing, no point"]) == ("", "", "")
    assert points["above"] == "main since 2018-01-01T00:00:00Z"
    assert np.isnan(table["survey_uncertainty_m"][["two points", "early", "flowing, no point"]]).all()
    assert table["survey_uncertainty_m"][["above", "beyond"]].tolist() == [0.005, 0.005]


def test_usable_stands_beside_its_reason(table):
    place = table.columns.get_loc("usable")
    after = ["usable", "unusable_reason", "water_elevation_uncorrected_m"]
    assert table.columns[place - 1 : place + 3].tolist() == ["time_known", *after]
    assert (table["usable"] == (table["unusable_reason"] == "")).all()
    assert table["unusable_reason"][["above", "no access", "chosen"]].tolist() == [
        *("above the measuring point, not flowing", "no access", "")
    ]


def test_times_are_printed_with_the_offset_that_was_recorded(made):
    inputs = made[0]
    local = np.array(["2024-03-01T10:00", "2024-03-01T10:00"], dtype="datetime64[us]")
    records = inputs.records.iloc[:2].assign(local_offset_minutes=[-210, 345], time_known=[True, True])
    two = replace(inputs, records=records, local_time=local)
    assert measured_at_text(two).tolist() == ["2024-03-01T10:00-03:30", "2024-03-01T10:00+05:45"]
    seconds = replace(two, local_time=local + np.array([0, 7], dtype="timedelta64[s]"))
    assert measured_at_text(seconds).tolist() == ["2024-03-01T10:00:00-03:30", "2024-03-01T10:00:07+05:45"]
    dated = replace(seconds, records=records.assign(time_known=[False, True]))
    assert measured_at_text(dated).tolist() == ["2024-03-01", "2024-03-01T10:00:07+05:45"]
    none = replace(two, records=records.iloc[:0], local_time=local[:0])
    assert measured_at_text(none).tolist() == []


# Tapes that step.


def test_a_step_names_the_tape_of_its_event_from_then_to_the_next_check(made):
    inputs, _, events = made
    tape = find_stepped_tape(inputs, events["short of"])
    assert tape.instrument_id == int(inputs.instruments.set_index("instrument")["instrument_id"]["T2"])
    assert tape.first == np.datetime64(DAY)
    assert np.isnat(tape.until)
    own = inputs.tape_checks["instrument_id"] == tape.instrument_id

    def until(own_day, other_day, event="short of"):
        """Return the day of the next check, with those of the tape and of the other on days of March 2024."""
        days = [dt.date(2024, 3, own_day if is_own else other_day) for is_own in own]
        checks = inputs.tape_checks.assign(checked_on=days)
        return find_stepped_tape(replace(inputs, tape_checks=checks), events[event]).until

    assert until(3, 5) == np.datetime64("2024-03-03")
    assert until(3, 5, "beyond") == np.datetime64("2024-03-05")
    assert np.isnat(until(1, 5)), "a check on the day of the step is no later one"
    for event in (events["above"], -7):
        assert find_stepped_tape(inputs, event) is None


def test_readings_with_a_stepped_tape_are_those_from_its_step_to_the_day_before_its_check(made):
    """Of the wells only two were read with T1, at ten o'clock in UTC."""
    inputs, _, _ = made
    tape = int(inputs.instruments.set_index("instrument")["instrument_id"]["T1"])
    names = inputs.records["well"].to_numpy(dtype=object)

    def read(first, until):
        step = SteppedTape(tape, np.datetime64(first), np.datetime64(until, "D"))
        return sorted(names[is_read_with_stepped(inputs, [step])].tolist())

    of_tape = sorted(name for name, (_, more) in READ.items() if more.get("tape") == "T1")
    assert read(DAY, "NaT") == of_tape == ["beyond", "product"]
    assert read("2024-03-01T10:00:01", "NaT") == []
    assert read("2024-02-01T10:00", "2024-03-02") == of_tape
    assert read("2024-02-01T10:00", "2024-03-01") == []
    bare = SteppedTape(1 if tape != 1 else -1, np.datetime64(DAY), np.datetime64("NaT", "D"))
    other = replace(inputs, records=inputs.records.assign(instrument_id=np.nan))
    assert not is_read_with_stepped(other, [replace(bare, instrument_id=1)]).any()
    assert not is_read_with_stepped(inputs, []).any()


def test_a_stepped_tape_widens_what_was_narrower(made):
    inputs, reduced, events = made
    step = find_stepped_tape(inputs, events["short of"])
    widened = widen_stepped(inputs, reduced, [step])
    row = int(np.flatnonzero(inputs.records["event_id"] == events["short of"])[0])
    others = np.arange(len(inputs)) != row
    assert widened.parts.check_m[row] == pytest.approx(rss(0.001 * 2.0, 0.1), rel=1e-9)
    assert widened.uncertainty_m[row] == pytest.approx(rss(0.005, 0.003, 0.002, 0.1, 0.003), rel=1e-9)
    np.testing.assert_array_equal(widened.uncertainty_m[others], reduced.uncertainty_m[others])
    np.testing.assert_array_equal(widened.parts.check_m[others], reduced.parts.check_m[others])
    # what is as wide already, or states its accuracy, or has no half-width stays
    wide = replace(reduced.parts, check_m=np.where(others, reduced.parts.check_m, rss(0.002, 0.1)))
    kept = replace(reduced, parts=wide)
    assert widen_stepped(inputs, kept, [step]) is kept
    stated = replace(reduced, parts=replace(reduced.parts, check_m=np.where(others, reduced.parts.check_m, 0.0)))
    assert widen_stepped(inputs, stated, [step]) is stated
    unknown = replace(reduced, uncertainty_m=np.full(len(inputs), np.nan))
    assert np.isnan(widen_stepped(inputs, unknown, [step]).uncertainty_m).all()
