"""Annual cycle, months, envelopes, percentiles and parts: all numbers by other means; every documented limit decides."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.nonparametric.smoothers_lowess import lowess as statsmodels_lowess
from statsmodels.tsa.seasonal import STL

from gwnet.errors import AnalysisError, ReductionError, SettingsError, ShapeError, TooFewLevelsError
from gwnet.hydro.arrays import broadcast, runs_of, seconds_after, series
from gwnet.hydro.seasons.annual_cycle import annual_cycle, year_part
from gwnet.hydro.seasons.months import daily_envelope, monthly_statistics, records
from gwnet.hydro.seasons.percentiles import percentiles, standing
from gwnet.hydro.seasons.smoothing import decompose, fill_gaps, longest_stretch, lowess

NAN, INF = math.nan, math.inf


def days_of(*dates):
    return np.array(dates, "M8[D]")


def cycle_by_matrices(days, values):
    """Return all numbers of the annual cycle: least squares, and the covariance for residuals of a first-order process."""
    part = np.array([(int((d - d.astype("M8[Y]")).astype(int)) + 0.5) / (366 if is_leap(d) else 365) for d in days])
    when = days.astype(int) / 365.2425
    n = len(values)
    # a bend every three years or ten values, whichever is longer, with equally many values between (project default)
    pieces = int(min((when[-1] - when[0]) / 3.0, n / 10))
    bends = [np.quantile(when, k / pieces) for k in range(1, pieces)]
    columns = [np.cos(2 * np.pi * part), np.sin(2 * np.pi * part), np.ones(n), when - when.mean()]
    x = np.column_stack([*columns, *(np.maximum(when - bend, 0.0) for bend in bends)])
    inverse = np.linalg.inv(x.T @ x)
    best = np.linalg.lstsq(x, values, rcond=None)[0]
    rest = values - x @ best
    steps = np.diff(when)
    usual = np.median(steps)
    near = [k for k in range(n - 1) if 0.5 * usual < steps[k] < 1.5 * usual]
    r = np.mean([rest[k + 1] * rest[k] for k in near]) / np.mean(rest**2)
    # first-order bias of a short record (Marriott and Pope, 1954; from memory); at most 0.98
    r = min(r + (1 + 4 * r) / n, 0.98) if r > 0 else 0.0
    shared = np.exp(math.log(r) / steps[near].mean() * np.abs(when[:, None] - when)) if r else np.eye(n)
    middle = x.T @ shared @ x
    covariance = inverse @ middle @ inverse * (rest @ rest) / (n - np.trace(inverse @ middle))
    a, b = best[:2]
    size, free = math.hypot(a, b), n - x.shape[1]
    along, across = np.array([a, b]) / size, np.array([-b, a]) / size
    reach = stats.t.ppf(0.975, free)
    half = reach * math.sqrt(along @ covariance[:2, :2] @ along)
    turn = reach * math.sqrt(across @ covariance[:2, :2] @ across) / size / (2 * np.pi) * 365
    ratio = best[:2] @ np.linalg.solve(covariance[:2, :2], best[:2]) / 2
    highest = math.atan2(b, a) / (2 * np.pi) % 1 * 365
    days_half = turn if turn < 182.5 else NAN
    return n, size, max(size - half, 0.0), size + half, highest, days_half, stats.f.sf(ratio, 2, free), r


def is_leap(day):
    return (day.astype("M8[Y]") + 1).astype("M8[D]") - day.astype("M8[Y]").astype("M8[D]") > np.timedelta64(365, "D")


def dated_values(seed, step, years, correlation, amplitude=0.4):
    random = np.random.default_rng(seed)
    days = np.arange("2001-01-20", f"{2001 + years}-01-20", step, dtype="M8[D]")
    days = days + random.integers(0, 6, days.size)
    days = days[random.random(days.size) < 0.85]
    # one more value three days after another
    days = np.sort(np.append(days, days[5] + 3))
    noise = random.normal(0.0, 1.0, days.size)
    for k in range(1, days.size):
        noise[k] = correlation * noise[k - 1] + math.sqrt(1 - correlation**2) * noise[k]
    return days, 12.0 + 0.05 * noise + amplitude * np.cos(2 * np.pi * (year_part(days) - 0.3))


FIELDS = (
    "count amplitude amplitude_lower amplitude_upper highest_day highest_day_half_width p_value correlation".split()
)


@pytest.mark.parametrize(
    ("seed", "step", "years", "correlation", "amplitude"),
    [
        (1, 30, 4, 0.0, 0.4),
        (2, 30, 9, 0.7, 0.05),
        (3, 91, 13, 0.5, 0.02),
        (4, 14, 3, 0.9, 0.1),
        (5, 60, 4, 0.2, 0.004),
        (7, 45, 5, -0.5, 0.1),
    ],
)
def test_all_numbers_of_an_annual_cycle_are_those_of_matrices(seed, step, years, correlation, amplitude):
    days, values = dated_values(seed, step, years, correlation, amplitude)
    found, expected = annual_cycle(days, values), cycle_by_matrices(days, values)
    for name, number in zip(FIELDS, expected, strict=True):
        assert getattr(found, name) == pytest.approx(number, rel=1e-6, abs=1e-12, nan_ok=True), name
    values = np.append(values, NAN)
    assert annual_cycle(np.append(days, days[-1] + 1), values).count == days.size


def test_a_very_slow_disturbance_is_correlated_by_no_more_than_098():
    days = np.arange("2001-01-01", "2004-06-01", 2, dtype="M8[D]")
    slow = np.cos(np.arange(days.size) / days.size * 40.0)
    assert annual_cycle(days, slow).correlation == 0.98


def test_a_wave_without_scatter_has_no_width():
    days = np.arange("2001-01-01", "2005-01-01", 30, dtype="M8[D]")
    exact = annual_cycle(days, np.zeros(days.size))
    assert (exact.amplitude, exact.amplitude_lower, exact.amplitude_upper, exact.correlation) == (0.0,) * 4


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (np.arange("2001-01-10", "2003-12-31", 90, dtype="M8[D]")[:12], None),
        (np.arange("2001-01-10", "2003-12-31", 98, dtype="M8[D]")[:11], "11 values in 3 calendar years"),
        (np.arange("2001-01-10", "2002-12-31", 30, dtype="M8[D]"), "24 values in 2 calendar years"),
        # the last 164 of 365 days unseen are 0.4493 of the year, 165 are 0.4521; 0.45 is the most (project default)
        (np.concatenate([np.datetime64(f"{y}-01-01") + np.array([0, 60, 130, 201]) for y in (2001, 2002, 2003)]), None),
        (
            np.concatenate([np.datetime64(f"{y}-01-01") + np.array([0, 60, 130, 200]) for y in (2001, 2002, 2003)]),
            r"in 5\.4 months",
        ),
    ],
)
def test_twelve_values_in_three_years_without_a_long_unseen_season_are_enough(days, words):
    if words is None:
        assert annual_cycle(days, np.cos(np.arange(days.size))).count == days.size
        return
    with pytest.raises(TooFewLevelsError, match=words):
        annual_cycle(days, np.cos(np.arange(days.size)))


def test_dates_and_values_go_together():
    for days, values in (
        (days_of("2001-01-01"), 1.0),
        (days_of("2001-01-01")[:, None], [[1.0]]),
        (days_of("2001-01-01"), [1.0, 2.0]),
    ):
        with pytest.raises(ShapeError, match="twice"):
            annual_cycle(days, values)
    expected = [0.5 / 365, 0.5 / 366, 59.5 / 366, 364.5 / 365, 365.5 / 366]
    assert year_part(["2023-01-01", "2024-01-01", "2024-02-29", "2023-12-31", "2024-12-31"]) == pytest.approx(
        expected, rel=1e-12
    )


def at_rank(values, percent, definition):
    """Return the value at rank (n + 1) p or 1 + (n − 1) p, linear between two (Hyndman and Fan, 1996, types 6 and 7)."""
    ordered, n = sorted(values), len(values)
    rank = (n + 1) * percent / 100 if definition == "weibull" else 1 + (n - 1) * percent / 100
    rank = min(max(rank, 1.0), float(n))
    below, share = math.floor(rank + 1e-9), max(rank - math.floor(rank + 1e-9), 0.0)
    if share < 1e-9:
        return ordered[below - 1]
    ends = ordered[below - 1], ordered[below]
    infinite = [end for end in ends if math.isinf(end)]
    return infinite[0] if infinite else ends[0] + share * (ends[1] - ends[0])


@pytest.mark.parametrize("definition", ["weibull", "linear"])
@pytest.mark.parametrize("seed", range(6))
def test_percentiles_with_bounds_by_ranks_of_lowest_and_highest(seed, definition):
    random = np.random.default_rng(seed)
    n = int(random.integers(1, 15))
    values, bound = random.integers(0, 9, n) / 4.0, random.choice([-1, 0, 0, 0, 1], n)
    values[random.random(n) < 0.1] = NAN
    here = ~np.isnan(values)
    low = [-INF if side < 0 else value for value, side in zip(values[here], bound[here], strict=True)]
    high = [INF if side > 0 else value for value, side in zip(values[here], bound[here], strict=True)]
    shares = [0.0, 4.0, 10.0, 25.0, 40.0, 50.0, 66.0, 75.0, 90.0, 100.0]
    found = percentiles(values, shares, bound=bound, definition=definition)
    assert found.count == here.sum()
    for percent, value, side in zip(shares, found.value, found.bound, strict=True):
        below, above = (at_rank(ends, percent, definition) for ends in (low, high)) if here.any() else (NAN, NAN)
        if below == pytest.approx(above, abs=1e-12, nan_ok=True):
            expected = (below, 0)
        elif math.isfinite(above):
            expected = (above, -1)
        else:
            expected = (below, 1) if math.isfinite(below) else (NAN, 1)
        assert (value, side) == (pytest.approx(expected[0], rel=1e-9, abs=1e-12, nan_ok=True), expected[1])
    for level, own in ((1.0, 0), (1.25, -1), (0.5, 1), (3.0, 0)):
        least, most = -INF if own < 0 else level, INF if own > 0 else level
        first, middle, last = 1.0, 1.0, 1.0
        for a, b in zip(low, high, strict=True):
            is_tied = a == b == least == most
            first += 1.0 if b < least else 0.5 if is_tied else 0.0
            middle += 1.0 if b < least else 0.0 if a > most else 0.5
            last += 1.0 if b < least else 0.0 if a > most else 0.5 if is_tied else 1.0
        n = len(low) + 1
        scale = (
            (lambda rank, n=n: 100 * rank / (n + 1))
            if definition == "weibull"
            else (lambda rank, n=n: 100 * (rank - 1) / (n - 1))
        )
        place = standing(level, values, level_bound=own, bound=bound, definition=definition)
        if len(low):
            assert (place.lower, place.percentile, place.upper) == pytest.approx(
                (scale(first), scale(middle), scale(last))
            )
        assert place.count == n


def test_only_percentages_and_known_definitions_are_taken():
    assert percentiles([1.0, 2.0], [0, 100]).value.tolist() == [1.0, 2.0]
    for percent in (-0.1, 100.1, NAN):
        with pytest.raises(SettingsError, match="from 0 to 100"):
            percentiles([1.0, 2.0], [50, percent])
    with pytest.raises(SettingsError, match="weibull or linear"):
        standing(1.0, [1.0], definition="hazen")
    assert standing(NAN, [1.0, 2.0]).count == 2
    assert standing(NAN, []).count == 0


def test_statistics_of_months_with_bounds_by_loops():
    random = np.random.default_rng(5)
    month, values = random.integers(1, 12, 150), random.integers(0, 40, 150) / 4.0
    month[random.random(150) < 0.3] = 3
    values[random.random(150) < 0.1] = NAN
    bound = np.where(np.isin(month, [3, 4, 5]), random.choice([-1, 0, 0, 1], 150), 0)
    counts = sorted({int((~np.isnan(values[month == m])).sum()) for m in range(1, 13)})
    for least, definition in ((10, "weibull"), (counts[len(counts) // 2], "linear")):
        found = monthly_statistics(month, values, bound=bound, least_count=least, definition=definition)
        assert found.percent.tolist() == [10.0, 25.0, 50.0, 75.0, 90.0]
        for m in range(12):
            own = (month == m + 1) & ~np.isnan(values)
            assert (found.count[m], found.bound_count[m]) == (own.sum(), (bound[own] != 0).sum())
            mean = values[own].mean() if own.any() and not bound[own].any() else NAN
            assert found.mean[m] == pytest.approx(mean, rel=1e-12, nan_ok=True)
            ends = percentiles(values[own], [0, 100], bound=bound[own])
            assert [found.minimum[m], found.maximum[m]] == pytest.approx(ends.value, nan_ok=True)
            assert [found.minimum_bound[m], found.maximum_bound[m]] == ends.bound.tolist()
            expected = percentiles(values[own], [10, 25, 50, 75, 90], bound=bound[own], definition=definition)
            if own.sum() >= least:
                assert found.percentile[m] == pytest.approx(expected.value, nan_ok=True)
                assert found.percentile_bound[m].tolist() == expected.bound.tolist()
            else:
                assert np.isnan(found.percentile[m]).all()
                assert not found.percentile_bound[m].any()
    for wrong in (0, 13):
        with pytest.raises(AnalysisError, match=f"found 1 to {wrong}|found {wrong} to 1"):
            monthly_statistics([1, wrong], [1.0, 2.0])
    with pytest.raises(ShapeError, match="twice"):
        monthly_statistics([[1]], [[1.0]])
    assert monthly_statistics([], []).count.tolist() == [0] * 12


def test_ten_years_have_percentiles_and_nine_have_none():
    """Common practice, no source."""
    for years, known in ((9, False), (10, True)):
        assert np.isfinite(monthly_statistics([2] * years, np.arange(years)).percentile[1]).all() == known
        envelope = daily_envelope(np.arange(years), [40] * years, np.arange(years))
        # seven days on either side (project default)
        assert np.flatnonzero(envelope.years).tolist() == list(range(32, 47))
        assert np.isfinite(envelope.percentile[39]).all() == known


def test_windows_of_days_and_their_limits():
    years, days, values = [2001, 2001, 2002, 2004], [363, 1, 2, 200], [1.0, 5.0, 3.0, NAN]
    for half, expected in (
        (0, {0: [5.0], 1: [3.0], 362: [1.0]}),
        (2, {363: [1.0], 364: [2.0]}),
        (3, {363: [2.0], 0: [5.0, 2.0]}),
    ):
        found = daily_envelope(years, days, values, percent=[0, 100], half_window_days=half, least_years=1)
        for day, own in expected.items():
            assert found.years[day] == len(own)
            assert found.percentile[day].tolist() == [min(own), max(own)]
    whole = daily_envelope([2001], [183], [4.0], percent=[50], half_window_days=181, least_years=0)
    assert (np.flatnonzero(whole.years)[[0, -1]] + 1).tolist() == [2, 364]
    for half in (-1, 182):
        with pytest.raises(AnalysisError, match=f"window of {half} days"):
            daily_envelope([2001], [1], [1.0], half_window_days=half)
    for day in (0, 366):
        with pytest.raises(AnalysisError, match="from 1 to 365"):
            daily_envelope([2001, 2001], [1, day], [1.0, 1.0])
    with pytest.raises(ShapeError):
        daily_envelope([2001, 2002], [1], [1.0])
    assert not daily_envelope([2001], [365], [NAN]).years.any()
    assert daily_envelope([], [], []).percentile.shape == (365, 5)


@pytest.mark.parametrize(
    ("values", "bound", "lowest", "highest"),
    [
        ([5.0, 4.0], [1, 1], (4.0, 1, 1), (5.0, 0, 1)),
        ([5.0, NAN, 4.0], [-1, 0, 1], (5.0, 0, -1), (4.0, 2, 1)),
        ([5.0, 5.0, 7.0, 7.0], [0, -1, 1, 0], (5.0, 0, -1), (7.0, 2, 1)),
        ([5.0, 4.0], [-1, -1], (4.0, 1, -1), (5.0, 0, -1)),
    ],
)
def test_records_of_bounds_alone(values, bound, lowest, highest):
    found = records(values, bound=bound)
    assert (found.lowest, found.lowest_at, found.lowest_bound) == lowest
    assert (found.highest, found.highest_at, found.highest_bound) == highest
    assert (records([NAN]).highest_bound, records([]).lowest_at) == (0, -1)


def quarters(years):
    return np.tile([1.0, 4.0, 3.0, -2.0], years) + 0.3 * np.sin(np.arange(4 * years))


def test_three_years_are_decomposed_as_statsmodels_does_with_every_option():
    options = {
        "seasonal_span": 7,
        "trend_span": 9,
        "low_pass_span": 5,
        "jumps": (2, 3, 4),
        "inner_steps": 1,
        "outer_steps": 3,
    }
    for values, more, theirs in (
        (quarters(3), {}, STL(quarters(3), period=4, seasonal=13, robust=True).fit()),
        (
            quarters(8),
            options,
            STL(
                quarters(8),
                period=4,
                seasonal=7,
                trend=9,
                low_pass=5,
                robust=True,
                seasonal_jump=2,
                trend_jump=3,
                low_pass_jump=4,
            ).fit(inner_iter=1, outer_iter=3),
        ),
    ):
        found = decompose(values, 4, **more)
        for name, other in (
            ("trend", "trend"),
            ("seasonal", "seasonal"),
            ("remainder", "resid"),
            ("weight", "weights"),
        ):
            assert np.array_equal(getattr(found, name), getattr(theirs, other)), name
        assert (found.period, found.observed.tolist(), found.filled.any()) == (4, values.tolist(), False)
    with pytest.raises(TooFewLevelsError, match="11 steps of 4"):
        decompose(quarters(3)[:-1], 4)


def test_a_gap_is_filled_with_its_season_and_the_departures_on_either_side():
    """Seasons' medians 1.5 and 7: departures 0.5 before and −1 two steps later leave −0.5 and 0 between."""
    values = [1.0, 7.0, 2.0, NAN, NAN, 6.0, 1.5, 7.0]
    filled, where = fill_gaps(values, 2)
    assert filled == pytest.approx([1.0, 7.0, 2.0, 7.0 + 0.5 - 0.5, 1.5 + 0.5 - 1.0, 6.0, 1.5, 7.0])
    assert np.flatnonzero(where).tolist() == [3, 4]
    for wrong in ([], [NAN, 1.0], [1.0, NAN]):
        with pytest.raises(TooFewLevelsError, match="starts or ends"):
            fill_gaps(wrong, 1)
    with pytest.raises(TooFewLevelsError, match="1 of the 3 seasons"):
        fill_gaps([1.0, NAN, 3.0, 1.0, NAN, 2.0], 3)


def test_of_equally_long_stretches_the_newest_and_a_stop_parts_them():
    values = [1.0, NAN, 1.0, NAN, NAN, 1.0, 1.0, 1.0, NAN, NAN, 2.0, NAN, 3.0]
    assert longest_stretch(values, 1) == slice(10, 13)
    assert longest_stretch(values, 2) == slice(0, 13)
    stops = np.zeros(13, bool)
    stops[11] = True
    assert longest_stretch(values, 1, broken=stops) == slice(5, 8)
    assert longest_stretch([1.0, 2.0], 1, broken=True) == slice(0, 0)


def test_lowess_with_the_documented_share_and_steps():
    """Two thirds of the values and three robust steps unless said."""
    x, y = np.array([0.0, 1.0, 2.5, NAN, 4.0, 5.0, 7.0, 8.0]), np.array([1.0, 3.0, 2.0, 5.0, 9.0, NAN, 4.0, 4.5])
    here = np.isfinite(x + y)
    for more, fraction, steps in (({}, 2 / 3, 3), ({"fraction": 1.0, "robust_steps": 0}, 1.0, 0)):
        found = lowess(x, y, **more)
        other = statsmodels_lowess(y[here], x[here], frac=fraction, it=steps, delta=0.0, return_sorted=False)
        assert found[here].tolist() == other.tolist()
        assert np.isnan(found[~here]).all()
    assert np.isnan(lowess([1.0, 2.0], [NAN, NAN])).all()
    for more in ({"fraction": 1.01}, {"fraction": 0.0}, {"robust_steps": -1}):
        with pytest.raises(SettingsError, match="no smooth line"):
            lowess([1.0, 2.0], [1.0, 2.0], **more)
    with pytest.raises(ShapeError):
        lowess([[1.0]], [[1.0]])


def test_arrays_as_all_functions_take_them():
    levels, offset = broadcast(level_m=[[1.0], [2.0]], offset_m=[3.0, 4.0])
    assert (levels.tolist(), offset.tolist()) == ([[1.0, 1.0], [2.0, 2.0]], [[3.0, 4.0], [3.0, 4.0]])
    start = np.datetime64("2024-05-01T10:00", "us")
    asked = np.array(["2024-05-01T09:59:59.5", "NaT", "2024-05-01T10:00:00.000001"], "M8[us]")
    assert seconds_after(asked, start) == pytest.approx([-0.5, NAN, 1e-6], rel=1e-12, nan_ok=True)
    assert [edge.tolist() for edge in runs_of([True, True, False, False, True, False])] == [[0, 4], [2, 5]]
    assert [edge.size for edge in runs_of([])] == [0, 0]
    times = ["2024-05-02", "2024-05-01", "2024-05-01"]
    assert series(times, [1.0, 2.0, 3.0], "sensor", rising=False)[1].tolist() == [1.0, 2.0, 3.0]
    for at in (slice(0, 2), slice(1, 3)):
        with pytest.raises(ReductionError, match="expected times that rise"):
            series(times[at], [1.0, 2.0], "sensor")
    for when, values in (([times], [[1.0, 2.0, 3.0]]), (times, [1.0])):
        with pytest.raises(ShapeError, match=r"expected \(n,\)"):
            series(when, values, "sensor")
