"""Seasons, days of the year and decompositions of wells: each column at its limits, worked out again; constructed.

Project defaults as documented: a week before and after a day, a gap of a year and a third of the steps that may be filled.
"""

import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series import seasons as module
from gwnet.analysis.series.daily_seasons import daily_seasons
from gwnet.analysis.series.decomposition import well_decomposition
from gwnet.analysis.series.seasons import season_summary, seasons
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.seasons.annual_cycle import AnnualCycle, annual_cycle
from gwnet.hydro.seasons.smoothing import decompose

from .trend_rows import dry, record, wells_of

NAN = np.nan


def flowing(well, day, bound, **more):
    return (
        well,
        day,
        bound,
        {"status": "flowing", "bound": ">=", "unusable_reason": "flowing, head not measured", **more},
    )


ROWS = [
    *[("A", f"20{k:02d}-03-10", 40.0 + (7 * k) % 11) for k in range(1, 9)],
    ("A", "2003-03-20", 48.0),
    dry("A", "2009-03-11", 41.5),
    flowing("A", "2010-03-12", 47.5, review="provisional"),
    ("A", "2010-04-30", 45.0, {"review": "provisional"}),
    ("A", "2009-04-30", 44.0),
    ("B", "2009-12-31", 10.0),
]


def test_a_month_has_its_counts_years_and_newest_level():
    found = seasons(record(*ROWS), wells_of(record(*ROWS)), least_years=3).set_index(["well", "month"])
    assert found.index.tolist() == [("A", 3), ("A", 4), ("B", 12)]
    row = found.loc[("A", 3)]
    assert set(found["site"]) == {"S"}
    # 2003 has the median of 50 and 48; 2009 is at or below its bound, 2010 at or above
    values = [47.0, 43.0, 49.0, 46.0, 42.0, 49.0, 45.0, 41.0, 41.5, 47.5]
    assert (row["years"], row["n"], row["n_approved"], row["n_bounds"], row["first"], row["last"]) == (
        10,
        11,
        10,
        2,
        2001,
        2010,
    )
    assert (row["minimum_m"], row["maximum_m"]) == (41.0, 49.0)
    assert np.isnan(row["mean_m"])
    assert row["p50_m"] == pytest.approx(np.median(values))
    assert (row["at_or_below"], row["at_or_above"]) == ("minimum p10 p25 p75", "p90 maximum")
    assert (row["newest"], row["newest_bound"], row["newest_m"]) == ("2010-03-12", ">=", 47.5)
    # six of nine others are below for certain; the two of 49 m may be, or not
    assert (row["percentile_lower"], row["percentile_upper"]) == pytest.approx((800 / 11, 1000 / 11))
    april = found.loc[("A", 4)]
    assert (april["n"], april["n_approved"], april["note"]) == (2, 1, "too few years for percentiles (3 needed)")
    assert np.isnan([april["percentile"], april["p50_m"]]).all()


@pytest.mark.parametrize(("years", "least", "definition", "note"), [
    (8, 8, "weibull", "p10 and p90 are the lowest and highest value: 8 years show no more"),
    (9, 8, "weibull", ""), (3, 3, "weibull", "p10 and p90 are the lowest and highest value: 3 years show no more"),
    (2, 2, "weibull", "p10 and p25 and p75 and p90 are the lowest and highest value: 2 years show no more"),
    (8, 8, "linear", ""), (7, 8, "weibull", "too few years for percentiles (8 needed)"),
])  # fmt: skip
def test_what_few_years_say_of_percentiles(years, least, definition, note):
    """Rank 1 of n has the percentile 100 / (n + 1) (Weibull)."""
    assert module._month_note(years, least, definition) == note


@pytest.mark.parametrize("least", [8, 9])
def test_percentiles_of_the_newest_level_need_as_many_years(least):
    """Seven other years and its own make eight."""
    frame = record(*[("A", f"20{k:02d}-03-10", 40.0 + (7 * k) % 11) for k in range(1, 9)])
    row = season_summary(frame, wells_of(frame), least_years=least).iloc[0]
    assert row["percentile_years"] == 8
    if least == 8:
        # 41 m is the lowest of eight
        assert row["percentile"] == pytest.approx(100 / 9)
        assert "no percentile" not in row["note"]
    else:
        assert math.isnan(row["percentile"])
        assert row["note"].startswith("8 years with a level in March: no percentile, 9 needed")


def test_numbers_of_seasons_are_numbers_where_no_well_has_any():
    frame, none = record(("A", "2003-12-31", 40.0)), pd.DataFrame({"site": ["S"], "well": ["Z"]})
    for found in (seasons(frame, none), season_summary(frame, none)):
        names = [name for name in found if name.endswith(("_m", "_p", "_days")) or name.startswith("percentile")]
        assert len(names) >= 9
        assert all(pd.api.types.is_numeric_dtype(found[name]) for name in names)


def test_one_year_is_one_year():
    frame = record(("A", "2003-12-31", 40.0))
    assert (
        season_summary(frame, wells_of(frame))
        .iloc[0]["note"]
        .startswith("1 year with a level in December: no percentile")
    )


def test_a_summary_counts_levels_and_has_the_first_of_equal_records():
    rows = [*ROWS, ("A", "2001-01-05", 49.0), ("A", "2001-01-04", 41.0)]
    frame = record(*rows)
    row = season_summary(frame, wells_of(frame), least_years=3).set_index("well").loc["A"]
    assert (row["n"], row["n_approved"], row["n_bounds"], row["months"], row["site"]) == (15, 13, 2, 13, "S")
    assert (row["first"], row["last"], row["newest"], row["newest_bound"]) == (
        "2001-01-04",
        "2010-04-30",
        "2010-04-30",
        "",
    )
    assert (row["highest"], row["highest_bound"], row["highest_m"]) == ("2003-03-10", ">=", 50.0)
    assert (row["lowest"], row["lowest_bound"], row["lowest_m"]) == ("2001-01-04", "<=", 41.0)
    nothing = season_summary(frame, pd.DataFrame({"site": ["S"], "well": ["Z"]})).iloc[0]
    assert nothing[["n", "n_approved", "n_bounds", "months"]].tolist() == [0, 0, 0, 0]
    assert (nothing["first"], nothing["note"]) == ("", "no level that can be used")


def cycle_of(p, half_width, day=100.5):
    return AnnualCycle(40, 0.5, 0.4, 0.6, day, half_width, p, 0.1)


@pytest.mark.parametrize(
    ("p", "half_width", "is_told"), [(0.05, 10.0, True), (0.0501, 10.0, False), (0.01, NAN, False)]
)
def test_an_annual_cycle_has_its_day_where_it_is_significant(monkeypatch, p, half_width, is_told):
    monkeypatch.setattr(module, "annual_cycle", lambda *_: cycle_of(p, half_width))
    frame, notes = record(*ROWS), []
    own = module._well_series(frame, False, "median")[0]["S", "A"]
    row = module._cycle_of(own, notes)
    assert (row["amplitude_m"], row["amplitude_lower_m"], row["amplitude_upper_m"], row["cycle_p"]) == (
        0.5,
        0.4,
        0.6,
        p,
    )
    assert ("highest_in_year" in row) == is_told
    assert notes == [
        "annual cycle without the 2 months that are bounds",
        *([] if is_told else ["annual cycle not significant"]),
    ]
    if is_told:
        assert (row["highest_in_year"], row["highest_in_year_within_days"]) == ("04-11", 10.0)


def test_a_cycle_is_fitted_to_the_numbers_on_their_days():
    rows = [("A", f"{2001 + k // 12}-{k % 12 + 1:02d}-{10 + k % 7}", 40.0 + math.sin(k / 1.9)) for k in range(60)]
    rows[7] = dry("A", rows[7][1], 39.0)
    own = module._well_series(record(*rows), False, "median")[0]["S", "A"]
    expected = annual_cycle(
        np.array([day for k, (_, day, *_) in enumerate(rows) if k != 7], dtype="datetime64[D]"),
        [level for k, (_, _, level, *_) in enumerate(rows) if k != 7],
    )
    notes = []
    row = module._cycle_of(own, notes)
    assert (row["amplitude_m"], row["cycle_p"]) == pytest.approx((expected.amplitude, expected.p_value), rel=1e-6)
    few, notes = module._well_series(record(*rows[:3]), False, "median")[0]["S", "A"], []
    assert module._cycle_of(few, notes) == {}
    assert notes[0].startswith("no annual cycle: 3 ")
    assert not notes[0].endswith(".")


@pytest.mark.parametrize(
    ("day", "text"), [(0.0, "01-01"), (30.99, "01-31"), (31.0, "02-01"), (364.5, "12-31"), (365.0, "12-31")]
)
def test_days_of_the_year(day, text):
    """Of a year of 365 days."""
    assert module._day(cycle_of(0.01, 5.0, day)) == text


@pytest.mark.parametrize(("least", "definition", "is_refused"), [
    (1, "weibull", True), (2, "weibull", False), (2, "linear", False), (10, "hazen", True),
])  # fmt: skip
def test_options(least, definition, is_refused):
    if is_refused:
        with pytest.raises(SettingsError, match="ercentile"):
            module.check_options(least, definition)
    else:
        module.check_options(least, definition)


def test_a_day_of_the_year_has_the_levels_of_a_week_before_and_after():
    """29 February counts with 28 February, and 1 March is the same day in every year."""
    rows = [("A", "2000-02-29", 40.0), ("A", "2001-03-01", 41.0), ("A", "2004-03-01", 43.0), ("A", "2005-02-28", 47.0),
            ("B", "2004-12-31", 5.0), ("B", "2005-12-31", 6.0), dry("B", "2006-12-31", 1.0)]  # fmt: skip
    frame = record(*rows)
    found = daily_seasons(frame, pd.DataFrame({"site": "S", "well": ["B", "A", "Z"]}), least_years=2).set_index(
        ["well", "day"]
    )
    own = found.loc["A"]
    assert set(found["site"]) == {"S"}
    # 28 February is day 59 and 1 March day 60: the week reaches from day 52 to day 67
    assert own.index[0] == "02-21"
    assert own.index[-1] == "03-08"
    assert own.loc["02-21", "years"] == 2
    assert own.loc["02-22", "years"] == 4
    assert own.loc["03-07", "years"] == 4
    assert own.loc["03-08", "years"] == 2
    assert own.loc["03-08", "p50_m"] == pytest.approx(42.0)
    assert own.loc["02-21", "p50_m"] == pytest.approx(43.5)
    turn = found.loc["B"]
    # the week after the turn of the second year is of a year without a level
    assert (turn.index[0], turn.index[7], turn["years"].tolist()) == ("01-01", "12-24", [1] * 7 + [2] * 8)
    assert turn["p50_m"].tolist()[7:] == [5.5] * 8
    assert found["p10_m"].dtype == float
    assert [well for well, _ in found.index[:1]] == ["B"]


def monthly(months, first=2001):
    """Return rows of levels of months counted from January of a year."""
    level = [
        ("A", f"{first + k // 12}-{k % 12 + 1:02d}-15", 40.0 + math.sin(k * math.pi / 6) + 0.01 * k) for k in months
    ]
    return [(well, day, round(value, 4)) for well, day, value in level]


#: Each month of the year once in three years.
THIRD = (1, 4, 7, 10, 14, 17, 20, 23, 24, 27, 30, 33)


@pytest.mark.parametrize(("months", "size", "filled"), [
    (range(36), 36, 0), (range(35), None, 0),
    # a third of 36 steps may be filled
    ([k for k in range(36) if k not in THIRD], 36, 12), ([k for k in range(36) if k not in (*THIRD, 5)], None, 13),
    # a gap of twelve months is filled, of thirteen is not
    ([*range(30), *range(42, 60)], 60, 12), ([*range(40), *range(53, 70)], 40, 0),
])  # fmt: skip
def test_what_is_decomposed_and_filled(months, size, filled):
    frame = record(*monthly(months))
    if size is None:
        with pytest.raises(TooFewLevelsError, match="36 are needed, and at most a third may be missing"):
            well_decomposition(frame, seasons=12)
        return
    found = well_decomposition(frame, seasons=12)
    assert (len(found.frame()), found.parts.filled.sum()) == (size, filled)
    assert found.start[0] == np.datetime64("2001-01")
    assert np.diff(found.start).astype(int).tolist() == [1] * (size - 1)


def test_notes_of_a_decomposition_say_what_was_taken_and_filled():
    rows = [*monthly([*range(5), 7, *range(21, 40), *range(41, 67)])]
    rows[2] = dry("A", rows[2][1], 39.0)
    found = well_decomposition(record(*rows), seasons=12)
    assert (found.start[0], len(found.start), found.site, found.well, found.robust) == (
        np.datetime64("2002-10"),
        46,
        "S",
        "A",
        True,
    )
    assert found.notes == (
        "One value a month; 46 months.",
        "1 month without a level filled for the decomposition alone: median of the month, moved as its neighbours were.",
        "6 months with a level lie beyond the stretch taken, 1 of them bounds.",
    )
    whole = well_decomposition(record(*monthly([*range(40), *range(53, 55)])), seasons=12)
    assert whole.notes == ("One value a month; 40 months.", "2 months with a level lie beyond the stretch taken.")
    one = well_decomposition(record(*monthly([*range(40), 53])), seasons=12)
    assert one.notes[1] == "1 month with a level lie beyond the stretch taken."


def test_quarters_have_their_months_and_the_parts_of_their_values():
    months = [k for k in range(2, 74, 3) if k not in (11, 38)]
    rows = monthly(months, 1968)
    found = well_decomposition(record(*rows), robust=False)
    assert found.start.astype(str).tolist()[:2] == ["1968-01", "1968-04"]
    assert (len(found.start), found.parts.period, found.robust) == (24, 4, False)
    grid = np.full(24, NAN)
    grid[[k // 3 for k in months]] = [level for _, _, level in rows]
    expected = decompose(grid, 4, robust=False)
    frame = found.frame()
    for name, part in (
        ("trend_m", expected.trend),
        ("seasonal_m", expected.seasonal),
        ("remainder_m", expected.remainder),
    ):
        assert frame[name].to_numpy() == pytest.approx(part, rel=1e-9, abs=1e-9)
    assert found.notes == (
        "One value a quarter; 24 quarters.",
        "2 quarters without a level filled for the decomposition alone: median of the quarter, moved as its neighbours were.",
    )
    robust = well_decomposition(record(*rows))
    assert robust.robust
    assert robust.parts.weight.min() < 1.0


def test_too_few_quarters_have_their_sentence():
    with pytest.raises(TooFewLevelsError) as refused:
        well_decomposition(record(*monthly(range(2, 32, 3))))
    assert refused.value.message == (
        "Well A: the longest stretch without a bound or a gap of more than a year has 10 quarters, 0 of them without a level; "
        "12 are needed, and at most a third may be missing."
    )
    assert refused.value.fix == "Take a time in which the well was read more often."
    with pytest.raises(TooFewLevelsError) as refused:
        well_decomposition(record(*monthly(range(2, 32, 3))), seasons=12)
    assert refused.value.fix == "Take quarters, or a time in which the well was read more often."


def test_a_decomposition_of_no_or_several_wells_is_refused():
    for rows, words in (
        ([("A", "2001-01-15", 40.0), ("B", "2001-01-15", 40.0)], "given: A, B."),
        ([("A", "2001-01-15", 40.0, {"unusable_reason": "frozen"})], "given: A."),
    ):
        with pytest.raises(SettingsError, match=words):
            well_decomposition(record(*rows))
    with pytest.raises(SettingsError, match="given: no well"):
        well_decomposition(record(("A", "2001-01-15", 40.0)).iloc[:0])
    with pytest.raises(SettingsError, match="cannot be divided into 6 steps; expected 12 or 4"):
        well_decomposition(record(("A", "2001-01-15", 40.0)), seasons=6)
