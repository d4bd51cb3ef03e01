"""Dates of thresholds from a given line: states at their limits, dates by the distribution, notes; constructed.

A line whose coefficients have given scales of Student's t; every date is found again by root finding.
"""

import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import optimize, stats

from gwnet.analysis.series import trend_thresholds
from gwnet.analysis.series.trend_lines import FittedLine
from gwnet.hydro.trends.correlated_line import CorrelatedLine, first_passage

DEGREES, ORIGIN, LAST = 12, 2005.5, 2012.25
T = stats.t(DEGREES)


def line_of(levels=(40.0, 38.0), slope=-0.5, scales=(0.2, 0.3, 0.02), *, seasons=(0, 2), counts=(10, 9), first=1999.0,
            parts=4, sigma=1e-4, state=0.0):  # fmt: skip
    k = len(levels) + 1
    own = CorrelatedLine(
        np.ones(1), np.array([0.3]), np.zeros(1), np.array([[*levels, slope]]), np.diag(np.array(scales) ** 2)[None],
        np.array([sigma**2]), DEGREES, np.array([[0.0] * k + [state]]), np.zeros(1),
    )  # fmt: skip
    phases = (np.array(seasons) + 0.5) / parts
    return FittedLine(own, np.array(seasons), np.array(counts), phases, parts, ORIGIN, first, LAST, 0)


def trend_of(line, p=0.01, *, bend=None, low=(50.0,), high=None, days=("2012-04-01",), notes=(), step=False):
    days = np.array(days, dtype="datetime64[D]")
    result = SimpleNamespace(p=p, line=line, bend=bend, step=step, notes=list(notes))
    high = low if high is None else high
    return trend_thresholds._Trend(SimpleNamespace(days=days), result, days, np.array(low), np.array(high))


def row_of(threshold, kind="lower", line=None, **more):
    return trend_thresholds._row(trend_of(line or line_of(), **more), threshold, kind)


def date(when):
    """Return the day of a decimal year of 365.25 days, counted from the beginning of 2000."""
    return (dt.date(2000, 1, 1) + dt.timedelta(days=math.floor((when - 2000.0) * 365.25))).isoformat()


def crossing(level, centre, scale, slope=-0.5, slope_scale=0.02):
    """Return when a falling line is below a level with 2.5, 50 and 97.5 %."""

    def below(when, p):
        time = when - ORIGIN
        return T.cdf((level - centre - slope * time) / math.hypot(scale, slope_scale * time)) - p

    return [optimize.brentq(below, 1999.0, 2062.25, args=(p,), xtol=1e-10) for p in (0.025, 0.5, 0.975)]


def test_three_dates_with_their_limits():
    row = row_of(30.0)
    of_line = [date(when) for when in crossing(30.0, 39.0, math.hypot(0.1, 0.15))]
    of_season = [date(when) for when in crossing(30.0, 38.0, 0.3)]
    assert (row["state"], row["last"], row["p"], row["season"]) == (
        "on this trend",
        "2012-04-01",
        0.01,
        "July to September",
    )
    assert [row["earliest"], row["reached_on"], row["latest"]] == of_line
    assert [row["season_earliest"], row["season_reached_on"], row["season_latest"]] == of_season
    assert row["level_m"] == pytest.approx(39.0 - 0.5 * (LAST - ORIGIN), rel=1e-9)
    half = 0.02 * T.ppf(0.975)
    slopes = [row[f"slope_{name}m_per_year"] for name in ("", "lower_", "upper_")]
    assert slopes == pytest.approx([-0.5, -0.5 - half, -0.5 + half], rel=1e-9)
    # 50 years after the newest value (project default)
    assert (row["horizon"], row["note"]) == (date(LAST + 50.0), "")
    assert row["level_reached_on"] == date(2021.625)  # 38 − 0.5 ⋅ 16.125 = 29.9375 m, after 38 − 0.5 ⋅ 15.125


def test_an_upper_threshold_mirrors_a_lower_one():
    up = line_of((-40.0, -38.0), 0.5)
    lower, upper = row_of(30.0), row_of(-30.0, "upper", up, low=(-50.0,))
    names = [name for name in lower if name.endswith(("earliest", "latest", "reached_on", "state", "season"))]
    assert len(names) == 11
    assert [upper[name] for name in names] == [lower[name] for name in names]
    assert upper["slope_m_per_year"] == pytest.approx(0.5, rel=1e-9)


def test_the_first_level_beyond_is_drawn_at_the_visits_to_come():
    """One value in each usual season after the newest value, 2,000 futures; the season with few values is none."""
    line = line_of((40.0, 38.0, 30.0), scales=(0.2, 0.3, 0.3, 0.02), seasons=(0, 2, 3), counts=(10, 9, 4), sigma=0.8)
    when = [year + phase for year in range(2012, 2063) for phase in (0.125, 0.625)]
    when = np.array([time for time in when if time > LAST])
    rows = np.array([[0.0, 1.0, 0, t - ORIGIN] if t % 1 > 0.5 else [1.0, 0.0, 0, t - ORIGIN] for t in when])
    drawn = np.sort(first_passage(line.posterior, rows, when - LAST, 32.0))
    times = [*when, math.inf]
    # of 2,000 in order those numbered 50, 1,000 and 1,949 from 0
    expected = [times[drawn[place]] for place in (50, 1000, 1949)]
    assert len(set(expected)) == 3
    assert trend_thresholds._first_level(line, 32.0) == pytest.approx(expected, rel=1e-12)
    assert trend_thresholds._first_level(line, -100.0) == [math.inf] * 3
    assert trend_thresholds._lowest_season(line) == 1
    # a disturbance of -30 m at the newest value, 0.3 of it a year later: the first visit, after 0.375 years, is beyond
    near = line_of(state=-30.0)
    assert trend_thresholds._first_level(near, 32.0) == pytest.approx([2012.625] * 3, rel=1e-12)


@pytest.mark.parametrize(("level", "when"), [(10.0, 2061.625), (9.6, 2062.625), (9.3, math.inf)])
def test_levels_are_drawn_to_the_year_of_the_horizon(level, when):
    """The lower season is 38 m − 0.5 m a year: 9.9375 m in 2061.625 and 9.4375 m in 2062.625; the horizon is 2062.25."""
    line = line_of(scales=(1e-6, 1e-6, 1e-8))
    assert trend_thresholds._first_level(line, level) == [pytest.approx(when, rel=1e-12)] * 3


def test_a_value_at_the_newest_time_is_not_to_come():
    line = line_of((40.0, 38.0), seasons=(0, 2), parts=2)
    # seasons at 0.25 and 1.25: the newest value, at 2012.25, is of the first
    assert trend_thresholds._first_level(line, 60.0)[0] == pytest.approx(2013.25, rel=1e-12)


def probability(p):
    """Return the threshold below which the line is at the newest value with a probability."""
    time = LAST - ORIGIN
    return 39.0 - 0.5 * time + math.sqrt(0.1**2 + 0.15**2 + (0.02 * time) ** 2) * T.ppf(p)


TURN = SimpleNamespace(is_turn=True, words="rose until 2005, falling since")
BEND = SimpleNamespace(is_turn=False, words="falling, faster since 2005")


@pytest.mark.parametrize(("threshold", "more", "state", "note"), [
    (probability(0.9751), {}, "already passed", "the line and its limits are beyond the threshold"),
    (probability(0.9749), {}, "may have been passed already",
     "the line is beyond the threshold with a probability of 97%"),
    (probability(0.3), {}, "may have been passed already",
     "the line is beyond the threshold with a probability of 30%"),
    (probability(0.0251), {}, "may have been passed already",
     "the line is beyond the threshold with a probability of 3%"),
    (probability(0.0249), {}, "on this trend", ""),
    (probability(0.0249), {"p": 0.05}, "on this trend", ""),
    (probability(0.0249), {"p": 0.0501}, "no significant trend", "no significant trend (p 0.05): no date"),
    (probability(0.5), {"p": 0.2}, "no significant trend", "no significant trend (p 0.2): no date"),
    (probability(0.9751), {"p": 0.2}, "already passed",
     "the line and its limits are beyond the threshold; no significant trend (p 0.2): no date"),
    (30.0, {"bend": BEND}, "on this trend", ""),
    (30.0, {"bend": TURN}, "not on this trend",
     "rose until 2005, falling since: no date from a straight line"),
    (probability(0.3), {"bend": TURN}, "may have been passed already",
     "the line is beyond the threshold with a probability of 30%; rose until 2005, falling since: no date from a "
     "straight line"),
    (30.0, {"bend": TURN, "p": 0.2}, "no significant trend", "no significant trend (p 0.2): no date"),
])  # fmt: skip
def test_states_at_their_limits(threshold, more, state, note):
    row = row_of(threshold, **more)
    assert (row["state"], row["note"]) == (state, note)
    has_date = state != "not on this trend" and more.get("p", 0.01) <= 0.05 and more.get("bend") is not TURN
    assert bool(row["earliest"] or row["reached_on"]) == has_date


@pytest.mark.parametrize(("threshold", "first"), [
    (probability(0.3), "the line is beyond the threshold with a probability of 30%"),
    (probability(0.99), "the line and its limits are beyond the threshold"),
])  # fmt: skip
def test_what_the_line_says_comes_before_what_is_on_record(threshold, first):
    note = row_of(threshold, low=(20.0,))["note"]
    assert note.split("; ")[:2] == [first, "a level beyond the threshold is on record, the first of 2012-04-01"]


def test_a_line_that_goes_away_has_no_date():
    rising = line_of(slope=0.5)
    away = row_of(30.0, line=rising)
    assert (away["state"], away["note"], away["reached_on"]) == ("not on this trend", "", "")
    passed = row_of(60.0, line=rising, low=(70.0,))
    assert (passed["state"], passed["note"]) == (
        "already passed", "the line and its limits are beyond the threshold; the trend leads away from the threshold",
    )  # fmt: skip


@pytest.mark.parametrize(("kind", "low", "high", "since"), [
    ("lower", (31.0, 30.0, 29.0), (31.0, 30.0, 29.0), "2002-01-01"),
    ("lower", (31.0, 29.0, 29.5), (31.0, 30.5, 30.0), "2003-01-01"),
    ("lower", (29.0,) * 3, (30.5,) * 3, ""),
    ("upper", (29.0, 30.0, 31.0), (29.0, 30.0, 31.0), "2002-01-01"),
    ("upper", (29.0,) * 3, (math.inf,) * 3, ""),
    ("upper", (29.0, 29.0, 30.0), (math.inf,) * 3, "2003-01-01"),
])  # fmt: skip
def test_a_level_on_record_beyond_for_certain_has_its_day(kind, low, high, since):
    line = line_of() if kind == "lower" else line_of((20.0, 22.0), 0.5)
    days = ("2001-01-01", "2002-01-01", "2003-01-01")
    row = row_of(30.0, kind, line, low=low, high=high, days=days)
    assert row["state"] == "on this trend"
    assert row["note"] == (f"a level beyond the threshold is on record, the first of {since}" if since else "")
    if since:
        assert (row["level_reached_on"], row["level_earliest"], row["level_latest"]) == (since,) * 3
    else:
        assert row["level_reached_on"] > "2012-04-01"
    assert row["reached_on"] > "2012-04-01"


@pytest.mark.parametrize(("level", "slope_scale", "first", "notes"), [
    # 45.3 m is the level at the beginning of the record, of which nothing is known before
    (42.25, 0.02, 1999.0, ["the line may have passed the threshold before the record begins"]),
    (39.0, 0.02, 1999.0, []),
    # a record of 13.25 years: 2025.5 is as long after the newest value
    (29.01, 0.02, 1999.0, []),
    (28.99, 0.02, 1999.0, ["farther off than the record is long (13.2 years): nothing shows that the trend lasts so long"]),
    # the line is at 10.625 m at the horizon of 2062.25
    (14.0, 0.02, 1900.0, []),
    (12.0, 0.02, 1900.0, ["at the latest limit not before the horizon"]),
    (10.7, 0.02, 1900.0, ["at the latest limit not before the horizon"]),
    (10.5, 0.02, 1900.0, ["the line does not reach the threshold before the horizon"]),
])  # fmt: skip
def test_notes_on_dates(level, slope_scale, first, notes):
    line = line_of(scales=(0.2, 0.3, slope_scale), first=first)
    assert trend_thresholds._dates(line, level, "")[1] == notes


@pytest.mark.parametrize(("change", "note"), [
    ({"threshold": math.nan}, "the threshold has no elevation"),
    ({"p": math.nan, "notes": ("a", "b")}, "a; b"),
    ({"step": True, "notes": ("gap",)}, "gap"),
    ({"line": None, "notes": ("a",)}, "a; too few values that are numbers for a date"),
])  # fmt: skip
def test_without_a_line_there_is_no_date(change, note):
    threshold = change.pop("threshold", 30.0)
    row = trend_thresholds._row(trend_of(change.pop("line", line_of()), **change), threshold, "lower")
    assert (row["state"], row["note"], row["last"]) == ("no trend worked out", note, "2012-04-01")
    assert {row[name] for name in ("reached_on", "earliest", "latest", "season", "horizon", "level_latest")} == {""}
    nothing = trend_thresholds._row(None, 30.0, "lower")
    assert (nothing["state"], nothing["note"], nothing["last"]) == (
        "no trend worked out",
        "no level that can be used",
        "",
    )


@pytest.mark.parametrize(("season", "parts", "name"), [
    (0, 1, "year"), (0, 4, "January to March"), (3, 4, "October to December"), (1, 4, "April to June"),
    (0, 12, "January"), (11, 12, "December"),
])  # fmt: skip
def test_seasons_have_the_names_of_their_months(season, parts, name):
    assert trend_thresholds._season_name(season, parts) == name


@pytest.mark.parametrize(("when", "day"), [
    (2000.0, "2000-01-01"), (2000.0 + 0.99 / 365.25, "2000-01-01"), (2000.0 + 1.01 / 365.25, "2000-01-02"),
    (1999.5, "1999-07-02"), (math.inf, ""), (-math.inf, ""),
])  # fmt: skip
def test_days_of_decimal_years(when, day):
    assert trend_thresholds._date(when) == day
