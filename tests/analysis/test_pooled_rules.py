"""Trends of aquifers and of records with their weather taken out, each number worked out again; constructed tables."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from gwnet.analysis.series import trend_context, trend_pooled
from gwnet.analysis.series.trend_context import antecedent_means
from gwnet.analysis.series.trend_lines import line_values
from gwnet.analysis.series.trend_tests import p_text, residual_serial_correlation
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.correlated_line import fit_correlated_line
from gwnet.hydro.trends.kendall import normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.serial_correlation import variance_ratio

from .trend_tables import table

NAN = np.nan


def wells(slopes=(0.08, 0.05, -0.02), years=14, seasons=2, seed=3, common=0.2):
    random = np.random.default_rng(seed)
    shared = np.convolve(random.normal(0, common, years + 2), [1.0, 0.7, 0.4])[2 : years + 2]
    return [
        table(
            40.0 + k + slope * np.arange(years)[:, None] + shared[:, None] + random.normal(0, 0.15, (years, seasons)),
            well=name,
        )
        for k, (name, slope) in enumerate(zip("ABCDEFG", slopes, strict=False))
    ]


def test_numbers_of_several_wells_together():
    """All wells and seasons as blocks of one test (Helsel and Frans, 2006; covariance of Dietz and Killeen, 1981)."""
    records = wells()
    records[1].values[3, 0] = NAN
    found = trend_pooled._tested(records)
    values = np.column_stack([record.values for record in records])
    years = records[0].years.astype(float)
    kendall = seasonal_kendall(values)
    count = (~np.isnan(values)).sum(axis=0)
    assert (found["s"], found["n"], found["n_bounds"]) == (kendall.score, 14 * 6 - 1, 0)
    assert found["var_s"] == pytest.approx(kendall.variance, rel=1e-12)
    assert found["tau"] == pytest.approx(kendall.score / (count * (count - 1) / 2).sum(), rel=1e-12)
    z, p = normal_probabilities(kendall.score, kendall.variance)[:2]
    assert (found["z"], found["p_independent"]) == (pytest.approx(z), pytest.approx(p))
    slopes = pair_slopes(values, years)
    steep = slopes.limits(0.0)[0]
    together = residual_serial_correlation(values, np.zeros(values.shape, dtype=int), years, steep)
    own = np.mean([
        residual_serial_correlation(
            one.values, one.bound, years, pair_slopes(one.values, years).limits(0.0)[0]
        ).corrected
        for one in records
    ])  # fmt: skip
    correlation = max(together.corrected, own)
    widening = variance_ratio(14, correlation)
    variance = kendall.variance_correlated * widening
    assert found["p"] == pytest.approx(normal_probabilities(kendall.score, variance, continuity=False)[1], rel=1e-9)
    limits = [found[f"slope_{name}m_per_year"] for name in ("", "lower_", "upper_")]
    assert limits == pytest.approx(slopes.limits(variance), rel=1e-12)
    scores = [seasonal_kendall(one.values).score for one in records]
    assert (found["wells_rising"], found["wells_falling"]) == (sum(s > 0 for s in scores), sum(s < 0 for s in scores))
    without = normal_probabilities(kendall.score, kendall.variance_correlated, continuity=False)[1]
    assert widening > 1.0
    assert found["note"].split("; ")[:2] == [
        f"p with covariance among wells and seasons, with none {p_text(p)}",
        f"serial correlation {correlation:.2f}: p and limits with {widening:.2f} times the variance, without it "
        f"{p_text(without)}",
    ]
    assert (found["first"], found["last"]) == ("2001-04-15", "2014-10-15")


def parts_of(seed, count=3, years=12, apart=0.3):
    """Return signs of pairs of years of parts: antisymmetric, from values with a part in common."""
    random = np.random.default_rng(seed)
    common = random.normal(0, 1, years)
    made = []
    for k in range(count):
        value = common + random.normal(0, 1, years) + apart * k * np.arange(years)
        made.append(np.sign(value[None, :] - value[:, None]))
    return made


@pytest.mark.parametrize(("widening", "trend"), [(1.0, 0.3), (1.75, 0.3), (1.0, 0.0)])
def test_differences_among_wells_have_the_shared_part_taken_off(widening, trend):
    """Van Belle and Hughes (1984): the scores' spread about their mean, divided by 1 − ρ of the scores; chi-squared."""
    parts = parts_of(4, apart=trend)

    def variance(signs):
        """Dietz and Killeen (1981): Σ over years of the squared sums of signs, and the pairs."""
        from gwnet.hydro.trends.year_signs import correlated_variance

        return correlated_variance(signs)

    kept = [signs / math.sqrt(variance(signs)) for signs in parts]
    z = np.array([sum(signs[a, b] for a in range(12) for b in range(a + 1, 12)) for signs in kept])
    shared = (variance(kept[0] + kept[1] + kept[2]) - 3) / 6
    assert 0.05 < shared < 0.98
    apart = (z * z).sum() - 3 * z.mean() ** 2
    assert (apart < 1.0) == (trend == 0.0)
    expected = stats.chi2.sf(apart / ((1 - shared) * widening), 2)
    assert trend_pooled._differ(parts, widening) == pytest.approx(expected, rel=1e-9)
    # a part that cannot vary says nothing; one alone has nothing to differ from
    nothing = np.zeros((12, 12))
    assert trend_pooled._differ([*parts, nothing], widening) == pytest.approx(expected, rel=1e-9)
    assert math.isnan(trend_pooled._differ([parts[0], nothing], widening))
    # parts that move as one are not distinguishable
    assert math.isnan(trend_pooled._differ([parts[0], parts[0]], widening))


def test_wells_and_seasons_that_differ_are_noted():
    k = np.arange(14.0)[:, None]
    noise = np.random.default_rng(1).normal(0, 0.02, (14, 4))
    apart = [table(40.0 + 0.1 * k + noise[:, :2], well="A"), table(40.0 - 0.1 * k + noise[:, 2:], well="B")]
    found = trend_pooled._tested(apart)
    assert found["note"].split("; ")[-1] == "wells differ in their trends"
    assert (found["p_wells_differ"] < 0.05, math.isnan(found["p_seasons_differ"])) == (True, True)
    seasons = np.column_stack([0.1 * k, -0.1 * k])
    found = trend_pooled._tested([table(40.0 + seasons + noise[:, :2]), table(41.0 + seasons + noise[:, 2:])])
    assert found["note"].split("; ")[-1] == "seasons differ in their trends"
    assert (math.isnan(found["p_wells_differ"]), found["p_seasons_differ"] < 0.05) == (True, True)


@pytest.mark.parametrize(("makes", "wells_in", "left_out"), [
    # three years with values and two values of a season (common practice, no source)
    ({"A": 3, "B": 2}, 1, "fewer than 3 years with values: B"),
    ({"A": 4, "B": 3}, 2, ""), ({"A": 4, "B": "pair"}, 2, ""),
    ({"A": 4, "C": "gap", "B": "single"}, 1, "fewer than 3 years with values: B; no level for over a third of the record: C"),
])  # fmt: skip
def test_which_wells_are_pooled(makes, wells_in, left_out):
    def made(name, what):
        if what == "gap":
            return table([40.0, 40.1, 40.2, 40.1], years=[2001, 2002, 2012, 2013], well=name)
        if what == "pair":
            return table([[1.0, NAN, NAN], [NAN, 2.0, NAN], [NAN, 4.0, NAN]], well=name)
        if what == "single":
            return table([[1.0, NAN, NAN], [NAN, 2.0, NAN], [NAN, NAN, 4.0]], well=name)
        return table(40.0 + 0.1 * (np.arange(what) * 3 % 5), well=name)

    seasons = 3 if {"pair", "single"} & set(makes.values()) else 1
    records = [made(name, what) for name, what in makes.items()]
    if seasons == 3:
        records = [one if one.values.shape[1] == 3 else table(one.values * [1, NAN, NAN], years=one.years, days=one.days,
                                                              well=one.well) for one in records]  # fmt: skip
    row = trend_pooled._row(records, [*makes, "A"])
    assert (row["wells"], row["left_out"]) == (wells_in, left_out)
    nothing = trend_pooled._row([], ["B", "A"])
    assert (nothing["wells"], nothing["n"], nothing["wells_rising"], nothing["wells_falling"], nothing["n_bounds"]) == (
        0,
    ) * 5
    assert nothing["left_out"] == "fewer than 3 years with values: A, B"
    assert nothing["note"] == "no well has 3 years with values and no long gap"


def test_wells_that_rise_and_fall_are_counted_by_their_scores():
    """Scores of 3, 1, 0, -1 and -3; the one of 0 does neither."""
    values = [[1.0, 2.0, 3.0], [1.0, 3.0, 2.0], [2.0, 2.0, 2.0], [3.0, 1.0, 2.0], [3.0, 2.0, 1.0]]
    found = trend_pooled._tested([table(one, well=name) for name, one in zip("ABCDE", values, strict=True)])
    assert (found["wells_rising"], found["wells_falling"], found["s"]) == (2, 2, 0)


DAY = 1 / 365.25


def test_means_are_of_the_values_that_begin_within_the_times_before():
    """91 days before a level, and the 274 days before those; the first day of each counts, its end does not."""
    times = 2000.0 + DAY * np.arange(1200)
    values = np.cumsum(np.arange(1200) % 7) * 0.01
    when = 2000.0 + DAY * (np.array([364, 365, 366, 900, 1150.5, 1229, 1230.5, 1500]) + 0.25)
    found = antecedent_means(when, times, values)
    for moment, row in zip(when, found, strict=True):
        day = round((moment - 2000.0) * 365.25 - 0.25, 2)
        for k, (near, far) in enumerate(((0, 91), (91, 365))):
            inside = [v for t, v in enumerate(values) if day - far + 0.25 <= t < day - near + 0.25]
            covered = day - far + 0.25 >= -1.0 and day - near + 0.25 <= 1199 + 31.0
            assert row[k] == pytest.approx(np.mean(inside) if covered and inside else NAN, rel=1e-9, nan_ok=True)
    assert np.isnan(found[[0, 6]]).tolist() == [[False, False], [True, False]]


@pytest.mark.parametrize(("start", "is_covered"), [(-0.9, True), (-1.1, False)])
def test_a_series_may_begin_a_day_after_the_times(start, is_covered):
    times = 2000.0 + DAY * np.arange(500)
    found = antecedent_means(np.array([2000.0 + DAY * (365 + start)]), times, np.arange(500.0))
    assert np.isnan(found[0, 1]) != is_covered


def test_months_hold_until_the_next():
    times = 2000.0 + np.arange(24) / 12
    found = antecedent_means(np.array([2001.5]), times, np.arange(24.0))
    # from 2001.251 to 2001.5: months 16 and 17; from 2000.5007 to 2001.251: 7 to 15
    assert found.tolist() == [[16.5, 11.0]]
    # a time without a beginning of a month has no mean
    assert np.isnan(antecedent_means(np.array([2001.5]), 2000.0 + np.arange(2) * 1.6, np.arange(2.0))).any()


def context(count=40, seed=5):
    random = np.random.default_rng(seed)
    values = (
        40.0 + np.array([0.2, -0.1]) - 0.1 * np.arange(count // 2)[:, None] + random.normal(0, 0.2, (count // 2, 2))
    )
    times = 2000.0 + DAY * np.arange(365 * 25)
    rain = np.convolve(random.normal(2.0, 1.0, times.size + 60), np.ones(61) / 61, "valid")
    return table(values), (times, rain)


def test_a_line_with_its_inputs_is_fitted_to_levels_with_a_whole_year_before():
    record, (times, rain) = context()
    given = line_values(record)
    row = trend_context._row(given, {"R": (times[500:], rain[500:]), "Q": (times, 0.0 * rain + 3.0)}, None)
    means = antecedent_means(given.when, times[500:], rain[500:])
    here = ~np.isnan(means).any(axis=1)
    assert 30 < here.sum() < 40
    design, when, values = given.design[here], given.when[here], given.values[here]
    scaled = (means[here] - means[here].mean(axis=0)) / means[here].std(axis=0)
    for names, columns in ((("p_with", "slope_with_{}m_per_year"), design), (("p", "slope_{}m_per_year"),
                           np.column_stack([scaled, design]))):  # fmt: skip
        line = fit_correlated_line(when, values, columns)
        unit = np.eye(columns.shape[1])[-1:]
        assert row[names[0]] == pytest.approx(line.two_sided(columns.shape[1] - 1), rel=1e-9)
        found = [row[names[1].format(limit)] for limit in ("", "lower_", "upper_")]
        assert found == pytest.approx([line.quantile(unit, p)[0] for p in (0.5, 0.025, 0.975)], rel=1e-9)
    assert (row["n"], row["first"], row["last"], row["inputs"]) == (int(here.sum()), str(int(when[0])), "2020", "R; Q")
    assert row["note"] == "means over 0 to 91 and 91 to 365 days before each level taken out"
    assert row["direction"] == "falling"
    turned = line_values(table(-record.values))
    assert trend_context._row(turned, {"R": (times, rain)}, None)["direction"] == "rising"


def test_directions_with_inputs_are_at_five_per_cent(monkeypatch):
    record, series = context()
    for p, slope, direction in ((0.05, 0.1, "rising"), (0.05, -0.1, "falling"), (0.0501, 0.1, "no significant trend")):
        monkeypatch.setattr(trend_context, "_numbers", lambda _, p=p, slope=slope: (p, slope, -1.0, 1.0))
        assert trend_context._row(line_values(record), {"R": series}, None)["direction"] == direction


@pytest.mark.parametrize(("count", "is_fitted"), [(7, False), (8, True)])
def test_three_degrees_of_freedom_are_needed_with_inputs(count, is_fitted):
    """One season, a slope and two means leave three of seven and four of eight values: with the line's own three."""
    values = 40.0 + 0.1 * (np.arange(count) * 5 % 7)
    given = line_values(table(values))
    times = 1999.0 + DAY * np.arange(365 * 12)
    rain = 2.0 + np.sin(times * 3.1) + np.cos(times * 5.3)
    row = trend_context._row(given, {"R": (times, rain)}, None)
    assert (row["n"] == count) == (count - 4 >= 3)
    row = trend_context._row(given, {"R": (times, rain), "Q": (times, np.sin(times * 2.1))}, None)
    assert (row["n"] == 0) == (count - 6 < 3)


def test_too_few_levels_with_a_year_of_inputs_before_them_say_so():
    record, (times, rain) = context()
    given = line_values(record)
    late = {"R": (times[-2000:], rain[-2000:]), "Q": (times, rain)}
    row = trend_context._row(given, late, None)
    count = int((~np.isnan(antecedent_means(given.when, *late["R"])).any(axis=1)).sum())
    assert (row["n"], row["note"]) == (0, f"too few levels with a year of R, Q before them: {count}")
    none = trend_context._row(given, {"R": (times[-30:] + 10.0, rain[-30:])}, None)
    assert none["note"] == "too few levels with a year of R before them: 0"
    # the same series twice: nothing tells its columns apart
    twice = trend_context._row(given, {"R": (times, rain), "Q": (times, rain)}, None)
    assert twice["note"] == "too few levels with a year of R, Q before them: 40"
    assert twice["direction"] == "insufficient data"


def test_series_of_a_site_are_rainfall_and_abstraction_in_order_of_time():
    rows = [
        ("R", "rainfall", "2001-02-01", 5.0), ("R", "rainfall", "2001-01-01", 7.0), ("P", "abstraction", "2001-01-01", 1.0),
        ("T", "temperature", "2001-01-01", 9.0),
    ]  # fmt: skip
    found = trend_context._inputs(pd.DataFrame(rows, columns=["series", "quantity", "date", "value"]))
    assert sorted(found) == ["P", "R"]
    times, values = found["R"]
    assert values.tolist() == [7.0, 5.0]
    assert times == pytest.approx([2000 + 366.5 / 365.25, 2000 + 397.5 / 365.25], rel=1e-14)
