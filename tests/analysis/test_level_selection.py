"""Which rows a selection takes, where wells are, screens, rounds that are proposed, and tapes; constructed frames."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.analysis.levels.places import latitude_of, located
from gwnet.analysis.levels.proposed_rounds import (
    choose_rounds,
    is_proposed,
    levels_by_round,
    propose_days,
    rounds_in_use,
)
from gwnet.analysis.levels.rounds import assign_rounds, days_of_round, wells_of_round
from gwnet.analysis.levels.screen_limits import screen_limits
from gwnet.analysis.levels.table import select_rows
from gwnet.analysis.levels.tape_lengths import correct_stretch
from gwnet.errors import NotFoundError
from gwnet.records import Selection

from .frames import FrameRecord, levels, wells

TABLE = levels(*[("A", f"2026-03-{day}T{hour}:00", 1.0, {}) for day in (16, 17, 18) for hour in ("08", "20")])


@pytest.mark.parametrize(
    ("selection", "events"),
    [
        (Selection(), [0, 1, 2, 3, 4, 5]),
        (Selection(start=dt.date(2026, 3, 17)), [2, 3, 4, 5]),
        (Selection(end=dt.date(2026, 3, 17)), [0, 1, 2, 3]),
        (Selection(start=dt.date(2026, 3, 17), end=dt.date(2026, 3, 17)), [2, 3]),
        # an instant counts as one, at UTC+01:00
        (Selection(start=dt.datetime(2026, 3, 17, 7, tzinfo=dt.UTC)), [2, 3, 4, 5]),
        (Selection(start=dt.datetime(2026, 3, 17, 7, 0, 1, tzinfo=dt.UTC)), [3, 4, 5]),
        (Selection(end=dt.datetime(2026, 3, 17, 7, tzinfo=dt.UTC)), [0, 1, 2]),
        (Selection(end=dt.datetime(2026, 3, 17, 6, 59, tzinfo=dt.UTC)), [0, 1]),
        (Selection(events=(1, 5, 9)), [1, 5]),
        (Selection(events=(1, 2, 3), end=dt.date(2026, 3, 16)), [1]),
        (Selection(events=(1, 2, 3), start=dt.datetime(2026, 3, 17, 8, tzinfo=dt.UTC)), [3]),
    ],
)
def test_a_selection_takes_the_rows_between_its_ends(selection, events):
    found = select_rows(TABLE, selection)
    assert found["event_id"].tolist() == events
    assert found.index.tolist() == list(range(len(events)))
    assert (found is TABLE) == (len(events) == 6)


def test_wells_are_placed_from_angles_only_where_they_have_no_coordinates():
    """Zone 32 has its middle at 9 degrees east, which is easting 500,000 (EPSG:25832); at 0 degrees north, northing 0."""
    site = pd.DataFrame(
        {
            "easting": [1.0, np.nan, 1.0, np.nan, np.nan],
            "northing": [2.0, np.nan, np.nan, np.nan, np.nan],
            "longitude": [9.0, 9.0, 9.0, 9.0, np.nan],
            "latitude": [50.0, 0.0, 0.0, np.nan, 50.0],
        }
    )
    found = located(site, "EPSG:25832")
    assert found["easting"].tolist() == pytest.approx([1.0, 500_000.0, 500_000.0, np.nan, np.nan], nan_ok=True)
    assert found["northing"].tolist() == pytest.approx([2.0, 0.0, 0.0, np.nan, np.nan], nan_ok=True, abs=1e-6)
    assert site["easting"].isna().sum() == 3, "the frame that was given stays"
    latitudes = [latitude_of(row, "EPSG:25832") for _, row in site.iloc[1:].iterrows()]
    assert latitudes == pytest.approx([0.0, 0.0, np.nan, 50.0], nan_ok=True)
    place = pd.Series({"easting": 500_000.0, "northing": 0.0, "longitude": np.nan, "latitude": np.nan})
    assert latitude_of(place, "EPSG:25832") == pytest.approx(0.0, abs=1e-9)
    for missing in ("easting", "northing"):
        assert np.isnan(latitude_of(place.drop(missing).reindex(place.index), "EPSG:25832"))
    assert np.isnan(latitude_of(place, "EPSG:4326"))


@pytest.mark.parametrize(
    ("bottom", "removed", "limit"),
    [(12.0, None, None), (12.5, None, 12.0), (12.5, dt.date(2020, 1, 1), None)],
)
def test_a_part_closes_a_well_where_it_goes_on_below_the_screen(bottom, removed, limit):
    """A well of 40 m with a screen down to 12 m; a casing that ends with the screen closes nothing below it."""
    site = pd.DataFrame({"well_id": [1], "screen_bottom_m": [12.0], "total_depth_m": [40.0]})
    parts = pd.DataFrame({"well_id": [1], "part": ["casing"], "bottom_depth_m": [bottom], "removed_on": [removed]})
    found = screen_limits(site, parts)[0]
    assert found == limit if limit else np.isnan(found)


def test_lengths_in_notes_are_shown_in_feet_as_well():
    table = pd.DataFrame({"rate_m_per_day": [0.3048], "note": ["step of +3.05 m"]})
    shown = in_unit(table, "ft")
    assert shown.columns.tolist() == ["rate_ft_per_day", "note"]
    assert shown.iloc[0].tolist() == [pytest.approx(1.0), "step of +10.01 ft"]


# Rounds.


def test_a_round_lasts_from_its_first_to_its_last_day_with_its_wells():
    first, last = dt.date(2026, 3, 1), dt.date(2026, 3, 3)
    whole = (np.datetime64("2026-03-01"), np.datetime64("2026-03-03"))
    assert days_of_round({"starts_on": first, "ends_on": last}) == whole
    for none in (None, pd.NaT, float("nan")):
        assert days_of_round({"starts_on": first, "ends_on": none}) == (whole[0], whole[0])
    assert [wells_of_round({"wells": named}) for named in (["A"], ("B",), np.array(["C"]), None, "D")] == [
        *(["A"], ["B"], ["C"], [], [])
    ]
    nothing = pd.DataFrame({"round": ["", "R"], "site": "S", "well": "A"})
    days = np.array(["2026-03-01", "2026-03-01"], dtype="datetime64[D]")
    assert assign_rounds(nothing, days, pd.DataFrame()).tolist() == ["", "R"]


def day_of(day, names):
    return [(name, f"{day}T10:0{k}", 40.0, {}) for k, name in enumerate(names)]


SITE = wells(*[(name, 100.0 * k, 50.0 * (k % 2), {}) for k, name in enumerate("ABCDE")])


def record_of(*days, rounds=(), **settings):
    table = levels(*[row for rows in days for row in rows])
    return FrameRecord(table, SITE, rounds=rounds, **settings)


@pytest.fixture
def record():
    """Most wells on 4 November, 20 December (of the same quarter), 2 February and, of two alike, 5 May."""
    return record_of(
        day_of("2025-11-04", "ABCDE"),
        day_of("2025-12-20", "ABCD"),
        day_of("2026-02-02", "ABC"),
        day_of("2026-05-05", "BCD"),
        day_of("2026-05-06", "ABC"),
        day_of("2026-08-08", "AB"),
        [(name, "2026-08-09T10:00", 40.0, {"unusable_reason": "pumping"}) for name in "ABCD"],
    )


D = dt.date
BEST = [(D(2025, 11, 4), 5), (D(2026, 2, 2), 3), (D(2026, 5, 5), 3)]


@pytest.mark.parametrize(
    ("first", "last", "days"),
    [
        (None, None, BEST),
        (D(2025, 11, 4), D(2026, 2, 2), BEST[:2]),
        (D(2025, 11, 5), None, [(D(2025, 12, 20), 4), *BEST[1:]]),
        (None, D(2025, 11, 4), BEST[:1]),
        (D(2026, 7, 1), None, [(D(2026, 8, 8), 2)]),
        (D(2026, 9, 1), None, []),
    ],
)
def test_the_best_day_of_each_quarter_has_three_wells_or_is_the_best_there_is(record, first, last, days):
    assert propose_days(record, first, last) == days


def test_of_days_with_fewer_than_three_wells_the_first_with_most_stands(record):
    few = record_of(day_of("2025-11-04", "A"), day_of("2026-02-02", "AB"), day_of("2026-05-05", "BC"))
    assert propose_days(few) == [(D(2026, 2, 2), 2)]
    assert rounds_in_use(few)["purpose"].tolist() == ["day on which most wells were read (2 wells)"]
    one = record_of(day_of("2025-11-04", "A"))
    assert rounds_in_use(one)["purpose"].tolist() == ["day on which most wells were read (1 well)"]
    assert rounds_in_use(record)["round"].tolist() == ["2025-11-04", "2026-02-02", "2026-05-05"]


def test_a_proposed_round_is_as_long_as_the_window_of_the_site(record):
    wide = record_of(day_of("2025-11-04", "ABC"), day_of("2025-11-06", "DE"), same_day_window_days=2.0)
    (row,) = rounds_in_use(wide).to_dict("records")
    assert (row["site"], row["round"], row["wells"]) == ("S", "2025-11-04", [])
    assert (row["starts_on"], row["ends_on"]) == (D(2025, 11, 2), D(2025, 11, 6))
    assert set(levels_by_round(wide)["round"]) == {"2025-11-04"}
    (bare,) = rounds_in_use(record_of(day_of("2025-11-04", "ABC"))).to_dict("records")
    assert bare["starts_on"] == bare["ends_on"] == D(2025, 11, 4)


R1 = {"round": "R1", "starts_on": D(2025, 11, 3), "ends_on": D(2025, 11, 5), "purpose": "autumn"}


@pytest.mark.parametrize(
    ("first", "last", "rounds"),
    [
        (D(2025, 11, 5), D(2025, 12, 31), ["R1"]),  # a round that reaches into the period with a day is one of it
        (D(2025, 10, 1), D(2025, 11, 3), ["R1"]),
        (D(2025, 11, 6), D(2025, 12, 31), ["R1", "2025-12-20"]),
        (D(2025, 10, 1), D(2025, 11, 2), ["R1"]),  # no day with levels in it
        (D(2026, 1, 1), D(2026, 6, 30), ["R1", "2026-02-02", "2026-05-05"]),
    ],
)
def test_rounds_on_record_come_before_days_that_are_proposed(record, first, last, rounds):
    planned = FrameRecord(record.table, SITE, rounds=[R1])
    found = choose_rounds(planned, first, last)
    assert found["round"].tolist() == rounds
    assert found.index.tolist() == list(range(len(rounds)))
    assert [is_proposed(purpose) for purpose in found["purpose"]] == [False] + [True] * (len(rounds) - 1)


def test_without_rounds_days_of_the_period_stand_beside_those_outside(record):
    """In the period of the last days of the quarter its own best day stands; outside it the best of the record."""
    found = choose_rounds(record, D(2025, 12, 1), D(2026, 2, 2))
    assert found["round"].tolist() == ["2025-11-04", "2025-12-20", "2026-02-02", "2026-05-05"]
    again = FrameRecord(record.table, SITE)
    assert choose_rounds(again, D(2025, 11, 4), D(2025, 11, 30))["round"].tolist() == [str(day) for day, _ in BEST]


def test_days_that_are_named_stand_for_the_rounds_of_the_period_alone(record):
    rounds = [R1, {"round": "R0", "starts_on": D(2025, 5, 1), "ends_on": D(2025, 5, 2), "purpose": "spring"}]
    planned = FrameRecord(record.table, SITE, rounds=rounds)
    found = choose_rounds(planned, D(2025, 11, 1), D(2025, 12, 31), [D(2025, 12, 20), D(2025, 11, 4), D(2025, 12, 20)])
    assert found["round"].tolist() == ["R0", "2025-11-04", "2025-12-20"]
    assert found["purpose"].tolist()[1:] == ["day named for the report (5 wells)", "day named for the report (4 wells)"]
    again = FrameRecord(record.table, SITE, rounds=rounds)
    with pytest.raises(NotFoundError, match="No level was measured on 2026-05-01") as caught:
        choose_rounds(again, D(2026, 4, 1), D(2026, 5, 31), [D(2026, 5, 1)])
    assert caught.value.fix == (
        "Days on which many wells were read: 2025-11-04 (5 wells), 2026-02-02 (3 wells), 2026-05-05 (3 wells)."
    )


def test_five_days_near_the_one_that_was_named_are_said():
    days = [f"202{year}-0{month}-10" for year in (3, 4, 5) for month in (1, 4, 7)]
    many = record_of(*[day_of(day, "ABC") for day in days])
    with pytest.raises(NotFoundError) as caught:
        choose_rounds(many, D(2024, 4, 1), D(2024, 6, 30), [D(2024, 4, 11)])
    near = ["2023-07-10", "2024-01-10", "2024-04-10", "2024-07-10", "2025-01-10"]
    assert caught.value.fix == f"Days on which many wells were read: {', '.join(f'{day} (3 wells)' for day in near)}."


# Tapes.


def inputs_of(rows, tapes):
    """Return what the correction of tapes looks up, of readings (instrument, temperature, tension)."""
    records = pd.DataFrame(rows, columns=["instrument_id", "tape_temperature_degc", "tape_tension_n"], dtype=float)
    instruments = pd.DataFrame(tapes).assign(instrument_id=range(1, len(tapes) + 1))
    columns = ("standard_temperature_degc", "standard_tension_n", "axial_stiffness_kn", "mass_per_length_g_m")
    instruments = instruments.reindex(columns=["instrument_id", "kind", *columns, "thermal_expansion_ppm_degc"])
    by_id = instruments.set_index("instrument_id")
    return SimpleNamespace(
        records=records.assign(record_id=range(len(records))),
        instruments=instruments,
        readings=pd.DataFrame({"record_id": [5], "quantity": ["tape_at_mark"]}),
        of_instrument=lambda name: records["instrument_id"].map(by_id[name]).to_numpy(dtype=float),
    )


def test_tapes_are_corrected_for_what_is_on_record_of_them():
    """80 m: of steel 11.6 ppm, of another tape 17 ppm; 400 kN and 12.5 g a metre, 9.80665 N a kilogram."""
    tapes = [
        {"kind": "steel tape", "standard_tension_n": 50.0, "axial_stiffness_kn": 400.0, "mass_per_length_g_m": 12.5},
        {"kind": "electric tape", "thermal_expansion_ppm_degc": 17.0, "standard_temperature_degc": 15.0},
        {"kind": "electric tape", "standard_tension_n": 50.0},
        {"kind": "electric tape", "axial_stiffness_kn": 400.0},
        {"kind": "steel tape", "thermal_expansion_ppm_degc": 17.0},
        {"kind": "electric tape"},
    ]
    inputs = inputs_of(
        [(1, 30, 90), (2, 25, None), (3, None, 90), (4, None, 90), (5, 10, None), (6, 30, 90), (1, None, None)], tapes
    )
    length = np.full(7, 80.0)
    found = correct_stretch(inputs, length, np.zeros(7, dtype=bool))
    warm = [80 * 11.6e-6 * 10, 80 * 17e-6 * 10, 0.0, 0.0, -80 * 17e-6 * 10, 80 * 11.6e-6 * 10, 0.0]
    weight = 12.5e-3 * 9.80665
    pulled = [80 * 40 / 4e5 + weight * 80**2 / (2 * 4e5), *[0.0] * 6]
    assert found.temperature_m.tolist() == pytest.approx(warm, rel=1e-9)
    assert found.tension_m.tolist() == pytest.approx(pulled, rel=1e-9)
    assert found.total_m().tolist() == pytest.approx(np.add(warm, pulled).tolist(), rel=1e-9)
    # 2 degrees of the temperature, and a tenth of the correction for tension
    widths = [80 * ppm * 1e-6 * 2 for ppm in (11.6, 17, 0, 0, 17, 11.6, 0)]
    assert found.half_width_m.tolist() == pytest.approx(np.hypot(widths, 0.1 * np.array(pulled)).tolist(), rel=1e-9)
    nothing = "no standard_tension and axial_stiffness of the tape on record"
    assert found.temperature_from.tolist() == [
        *("30 degC, right at 20 degC, 11.6 ppm/degC", "25 degC, right at 15 degC, 17 ppm/degC", "", ""),
        *("10 degC, right at 20 degC, 17 ppm/degC", "30 degC, right at 20 degC, 11.6 ppm/degC", ""),
    ]
    assert found.tension_from.tolist() == [
        *("90 N, right with 50 N, stiffness 400 kN, own weight 0.123 N/m", "", nothing, nothing, "", nothing, "")
    ]
    checked = correct_stretch(inputs, np.where(np.arange(7) == 0, np.nan, 80.0), np.ones(7, dtype=bool))
    assert checked.temperature_m.tolist() == pytest.approx([0.0, *warm[1:]], rel=1e-9)
    assert checked.tension_m.tolist() == [0.0] * 7
    assert checked.tension_from[0] == "the tape check holds it"
