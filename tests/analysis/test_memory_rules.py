"""Memory shared among wells and trends of all values: who counts, at each limit, and the numbers; constructed.

Project defaults as documented: records of eight years with one and a half values a year, four other wells, thirty wells at
most, a quarter of the mean squared correlation, twelve seasons in common.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from gwnet.analysis.series import trend_memory, trend_values
from gwnet.analysis.series.trend_lines import line_values
from gwnet.analysis.series.trend_memory import memory_weights, shared_memory, with_curves
from gwnet.hydro.trends.correlated_line import error_grid, fit_correlated_line, whiten
from gwnet.hydro.trends.hamed_rao import hamed_rao
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.shared_memory import even_weights, share_memory
from gwnet.hydro.trends.theil_sen import theil_sen

from .trend_tables import table

NAN = np.nan


def values_of(count=3, years=10, seed=1, common=0.5):
    random = np.random.default_rng(seed)
    shared = random.normal(0, common, (years, 4))
    return {f"W{k}": line_values(table(40.0 + shared + random.normal(0, 0.3, (years, 4)))) for k in range(count)}


@pytest.mark.parametrize(("years", "values", "speaks"), [
    # from the first year to the last there are eight, and one and a half values a year of those with values
    ([2001, 2003, 2004, 2005, 2006, 2007, 2008], 12, True), ([2001, 2003, 2004, 2005, 2006, 2007], 12, False),
    (range(2001, 2009), 12, True), (range(2001, 2009), 11, False),
])  # fmt: skip
def test_which_records_say_something_of_their_memory(years, values, speaks):
    made = np.full((len(years), 2), NAN)
    made[:, 0] = 40.0 + 0.1 * (np.arange(len(years)) * 3 % 5)
    made[np.arange(values - len(years)), 1] = 39.0 + 0.1 * (np.arange(values - len(years)) * 2 % 5)
    assert (trend_memory._values(table(made, years=list(years))) is not None) == speaks
    assert trend_memory._values(None) is None


def test_curves_are_powers_of_the_time_over_the_record():
    given = values_of(1)["W0"]
    curved = with_curves({"W": given})["W"]
    time = (given.when - given.when.mean()) / (given.when[-1] - given.when[0])
    expected = np.column_stack([given.design, time**2, time**3, time**4])
    assert curved.design == pytest.approx(expected, rel=1e-12)
    assert (curved.values is given.values, curved.when is given.when) == (True, True)
    # a time of less than a year is not stretched
    when = np.array([2001.0, 2001.1, 2001.2, 2001.6])
    one = replace(given, when=when, origin=2001.2, design=np.zeros((4, 1)), values=np.zeros(7))
    time = when - 2001.2
    expected = np.column_stack([time**2, time**3, time**4])
    assert with_curves({"W": one})["W"].design[:, 1:] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("count", "is_curved"), [(10, False), (11, True)])
def test_a_curve_needs_three_values_more_than_its_coefficients(count, is_curved):
    """A season and a slope, three powers: of 5 + 2 values none is left, so 8 are the fewest; of four seasons 11."""
    values = np.full((4, 4), NAN).ravel()
    values[:count] = 40.0 + 0.1 * (np.arange(count) * 3 % 7)
    given = line_values(table(values.reshape(4, 4)))
    assert given.design.shape == (count, 5)
    assert (with_curves({"W": given})["W"].design.shape[1] == 8) == is_curved


def likelihoods_of(values):
    return np.array([fit_correlated_line(v.when, v.values, v.design).weights / even_weights() for v in values.values()])


def shared_part(values):
    """Return the mean squared correlation of the independent disturbances of quarters of two wells, less 1/n."""
    correlation, scatter, _ = error_grid()
    likelihoods = likelihoods_of(values)
    best = int(np.argmax(np.log(likelihoods / likelihoods.max(axis=1, keepdims=True) + 1e-300).sum(axis=0)))
    columns = []
    for one in values.values():
        rest = one.values - one.design @ np.linalg.lstsq(one.design, one.values, rcond=None)[0]
        white = whiten(one.when, rest[:, None], correlation[[best]], scatter[[best]])[0][0, :, 0]
        columns.append({math.floor(when * 4): value for when, value in zip(one.when, white, strict=True)})
    pairs = []
    for a in range(len(columns)):
        for b in range(a + 1, len(columns)):
            both = sorted(set(columns[a]) & set(columns[b]))
            if len(both) >= 12:
                r = np.corrcoef([columns[a][k] for k in both], [columns[b][k] for k in both])[0, 1]
                pairs.append(r * r - 1 / len(both))
    return float(np.clip(np.mean(pairs), 0.0, 1.0)) if pairs else 0.0


def test_disturbances_in_common_are_the_mean_squared_correlation_less_chance():
    values = values_of(4)
    found = trend_memory._shared_part(list(values.values()), likelihoods_of(values))
    assert 0.1 < found < 0.9
    assert found == pytest.approx(shared_part(values), rel=1e-9)
    # wells that differ in the years they were read
    other = values_of(4, seed=2)
    for k, name in enumerate(other):
        record = table(np.random.default_rng(k).normal(40, 0.3, (10, 4)) + 0.1 * np.arange(40).reshape(10, 4) % 3,
                       years=np.arange(2001 + 2 * k, 2011 + 2 * k))  # fmt: skip
        other[name] = line_values(record)
    found = trend_memory._shared_part(list(other.values()), likelihoods_of(other))
    assert found == pytest.approx(shared_part(other), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("apart", "is_compared"), [(7, True), (8, False)])
def test_twelve_seasons_in_common_are_needed(apart, is_compared):
    """Records of ten years, one of which begins seven or eight years later: 12 or 8 quarters in common."""
    random = np.random.default_rng(3)
    common = random.normal(0, 0.5, (18, 4))
    given = [
        line_values(table(40.0 + common[start : start + 10] + random.normal(0, 0.05, (10, 4)),
                          years=np.arange(2001 + start, 2011 + start)))
        for start in (0, apart)
    ]  # fmt: skip
    found = trend_memory._shared_part(given, likelihoods_of(dict(enumerate(given))))
    assert (found > 0.5) == is_compared
    assert is_compared or found == 0.0


def test_weights_of_a_well_are_those_that_the_others_give():
    values = values_of(5)
    names, weights = memory_weights(values)
    likelihoods, shared = likelihoods_of(values), 0.25 * shared_part(values)
    assert names == list(values)
    assert weights[:5] == pytest.approx(share_memory(likelihoods, shared), rel=1e-9)
    # one that is not among them hears all
    more = np.vstack([likelihoods, np.ones(likelihoods.shape[1])])
    assert weights[5] == pytest.approx(share_memory(more, shared)[-1], rel=1e-9)
    names, alone = memory_weights(dict(list(values.items())[:1]))
    assert (names, alone.tolist()) == (["W0"], [even_weights().tolist()] * 2)
    two = memory_weights(dict(list(values.items())[:2]))[1]
    assert two.shape == (3, even_weights().size)
    assert np.abs(two[0] - even_weights()).max() > 1e-4


@pytest.fixture
def asked(monkeypatch):
    """Give a record of an aquifer and what its wells were weighed with; W0 and W1 say nothing of their memory."""
    calls = []

    def weigh(record, own, given, end, approved):
        calls.append((own["well"].tolist(), given, end, approved))
        names = [name for name in own["well"] if name not in ("W0", "W1")]
        rows = np.arange(len(names) + 1)[:, None] + np.zeros(2)
        return names, rows, 100 + rows

    monkeypatch.setattr(trend_memory, "_weigh_wells", weigh)

    def ask(wells, names=None, **more):
        table = pd.DataFrame({"site": "S", "well": [f"W{k}" for k in range(wells)], "aquifer": "upper"})
        others = pd.DataFrame({"site": ["S", "T", "S", "S"], "well": "W3", "aquifer": ["lower", "upper", "", None]})
        record = SimpleNamespace(wells=pd.concat([table, others]), once=lambda key, make: make())
        these = table if names is None else table[table["well"].isin(names)]
        return shared_memory(record, pd.concat([these, others.iloc[2:]]), **more)

    return SimpleNamespace(ask=ask, calls=calls)


def test_a_well_is_given_what_four_others_say(asked):
    found = asked.ask(7)
    # five of seven wells speak: each of them hears four, the others five
    assert {well: one.wells for (_, well), one in found.items()} == {
        "W0": 5,
        "W1": 5,
        **{f"W{k}": 4 for k in range(2, 7)},
    }
    assert found["S", "W4"].weights.tolist() == [2.0, 2.0]
    assert found["S", "W4"].curve_weights.tolist() == [102.0, 102.0]
    assert (found["S", "W0"].weights.tolist(), found["S", "W0"].aquifer) == ([5.0, 5.0], "upper")
    # of six wells four speak: only a well that does not is given what they say
    assert set(asked.ask(6)) == {("S", "W0"), ("S", "W1")}
    asked.calls.clear()
    assert asked.ask(4) == {}
    assert asked.calls == []
    assert asked.ask(5) == {}
    assert len(asked.calls) == 1


def test_levels_at_hand_serve_where_they_are_of_every_well(asked):
    asked.ask(7, at_hand="levels", end="a day", approved=True)
    asked.ask(7, ["W0", "W2"], at_hand="levels")
    assert [call[1:] for call in asked.calls] == [("levels", "a day", True), (None, None, False)]


@pytest.mark.parametrize(("count", "spoke"), [(30, 30), (31, 30), (33, 30)])
def test_wells_with_most_visits_are_weighed(monkeypatch, count, spoke):
    wells = pd.DataFrame({"site": "S", "well": [f"W{k:02d}" for k in range(count)], "well_id": np.arange(count)})
    record = SimpleNamespace(visits={k: 10 + (k % 2) for k in range(1, count)})
    seen, curves = [], []
    monkeypatch.setattr(trend_memory, "reduced_levels", lambda _, selection: seen.append(selection) or pd.DataFrame(
        {"site": ["S"], "well": ["W05"], "source": ["manual"]}))  # fmt: skip
    monkeypatch.setattr(trend_memory, "used_levels", lambda levels, *, approved: (levels, None))
    monkeypatch.setattr(trend_memory, "well_records", lambda used, seasons: {})
    monkeypatch.setattr(trend_memory, "memory_weights", lambda values: curves.append(values) or ([], np.zeros((1, 2))))
    trend_memory._weigh_wells(record, wells, None, None, approved=False)
    (selection,) = seen
    order = sorted(range(count), key=lambda k: (-record.visits.get(k, 0), k))
    assert list(selection.wells) == sorted(f"W{k:02d}" for k in order[:spoke])
    assert curves == [{}, {}]


def test_loggers_and_other_sites_do_not_speak(monkeypatch):
    rows = [("S", "A", "manual"), ("S", "A", "logger"), ("T", "A", "manual"), ("S", "X", "manual")]
    at_hand, seen = pd.DataFrame(rows, columns=["site", "well", "source"]), []
    wells = pd.DataFrame({"site": "S", "well": ["A", "B"], "well_id": [1, 2]})
    monkeypatch.setattr(trend_memory, "used_levels", lambda levels, *, approved: (levels.assign(was=approved), None))
    monkeypatch.setattr(trend_memory, "well_records", lambda used, seasons: seen.append((used, seasons)) or {})
    trend_memory._weigh_wells(SimpleNamespace(), wells, at_hand, None, approved=True)
    ((used, seasons),) = seen
    assert (used.index.tolist(), used["was"].tolist(), seasons) == ([0], [True], 4)


WALK = 40.0 + np.cumsum(np.random.default_rng(12).normal(0, 0.2, 40)).round(2)
DAYS = np.arange(40) * 30 / 365.25


def test_the_test_of_all_values_is_corrected_for_autocorrelation():
    """Mann–Kendall, and the variance of Hamed and Rao (1998) of the ranks less the Theil–Sen line."""
    bound = np.zeros(40, dtype=int)
    bound[[5, 9]] = -1
    numbers, notes = trend_values._test(DAYS, WALK, bound)
    plain = mann_kendall(WALK, DAYS, bound=bound)
    known = bound == 0
    slope = stats.theilslopes(WALK[known], DAYS[known]).slope
    corrected = hamed_rao(WALK[known] - slope * DAYS[known], plain.score, plain.variance)
    assert corrected.lags > 1
    assert corrected.ratio > 1.0
    line = theil_sen(WALK[known], DAYS[known], variance=plain.variance * corrected.ratio)
    expected = {
        "s": plain.score, "var_s": plain.variance, "tau": plain.tau_a, "z": plain.z, "p_independent": plain.p_value,
        "var_s_corrected": plain.variance * corrected.ratio, "z_corrected": corrected.z, "p": corrected.p_value,
        "slope_m_per_year": slope, "slope_lower_m_per_year": line.lower, "slope_upper_m_per_year": line.upper,
    }  # fmt: skip
    assert numbers == pytest.approx(expected, rel=1e-9)
    assert notes == [
        f"autocorrelation at {corrected.lags} lags (lag 1: {corrected.lag1:.2f}): p and limits with {corrected.ratio:.2f} "
        f"times the variance, without it p {plain.p_value:.2g}",
        "2 of 40 values are bounds: in the test by rank, not in the slope",
    ]


def test_without_autocorrelation_the_numbers_are_those_of_independent_values():
    values = np.array([40.0, 40.3, 39.9, 40.1, 40.6, 40.2, 40.4, 40.9])
    numbers, notes = trend_values._test(DAYS[:8], values, np.zeros(8, dtype=int))
    plain = mann_kendall(values, DAYS[:8])
    line = theil_sen(values, DAYS[:8], variance=plain.variance)
    assert hamed_rao(values - line.slope * DAYS[:8], plain.score, plain.variance).lags == 0
    assert (numbers["var_s_corrected"], numbers["z_corrected"], numbers["p"]) == (
        plain.variance,
        plain.z,
        plain.p_value,
    )
    limits = [numbers[f"slope_{name}m_per_year"] for name in ("", "lower_", "upper_")]
    assert limits == pytest.approx([line.slope, line.lower, line.upper], rel=1e-12)
    assert notes == ["no autocorrelation beyond chance: p as of independent values"]


@pytest.mark.parametrize(("numbers", "more"), [(3, True), (4, False)])
@pytest.mark.parametrize("test", [trend_values._test, trend_values._regression])
def test_four_numbers_are_needed_for_a_slope(test, numbers, more):
    bound = np.array([0] * numbers + [-1] * (6 - numbers))
    found, notes = test(DAYS[:6], np.array([40.0, 40.3, 40.1, 40.6, 40.0, 40.0]), bound)
    assert any("too few levels that are numbers" in note for note in notes) == more
    assert ("slope_m_per_year" in found) == (not more)
    one_time = test(np.array([1.0] * 4 + [2.0, 3.0]), np.arange(6.0), np.array([0, 0, 0, 0, -1, -1]))
    assert "slope_m_per_year" not in one_time[0]


def test_a_regression_is_least_squares_of_the_numbers():
    bound = np.zeros(40, dtype=int)
    bound[3] = 1
    numbers, notes = trend_values._regression(DAYS, WALK, bound)
    line = stats.linregress(np.delete(DAYS, 3), np.delete(WALK, 3))
    width = stats.t.ppf(0.975, 37) * line.stderr
    expected = {
        "p_independent": line.pvalue, "p": line.pvalue, "slope_m_per_year": line.slope,
        "slope_lower_m_per_year": line.slope - width, "slope_upper_m_per_year": line.slope + width,
    }  # fmt: skip
    assert numbers == pytest.approx(expected, rel=1e-9)
    assert notes[1:] == ["1 of 40 values are bounds, which take no part"]
    assert len(trend_values._regression(DAYS, WALK, 0 * bound)[1]) == 1


@pytest.mark.parametrize(("lags", "ratio", "words"), [
    (0, 1.0, "no autocorrelation beyond chance: p as of independent values"),
    (1, 1.5, "autocorrelation at 1 lag (lag 1: 0.25): p and limits with 1.50 times the variance, without it p 0.03"),
    (2, 1.5, "autocorrelation at 2 lags (lag 1: 0.25): p and limits with 1.50 times the variance, without it p 0.03"),
    (1, 0.5, "autocorrelation at 1 lag (lag 1: 0.25): p and limits with 0.50 times the variance, without it p 0.03"),
    (2, 0.0, "autocorrelation at 2 lags makes the corrected variance negative, so there is no p: see method seasonal"),
    (1, -0.2, "autocorrelation at 1 lag makes the corrected variance negative, so there is no p: see method seasonal"),
])  # fmt: skip
def test_a_correction_in_words(lags, ratio, words):
    corrected = SimpleNamespace(lags=lags, ratio=ratio, lag1=0.25)
    assert trend_values._correction_text(corrected, 0.03) == words


def test_limits_that_bounds_or_the_correction_leave_open():
    line = theil_sen(WALK, DAYS, variance=900.0)
    expected = [line.slope, line.lower, line.upper]
    assert list(trend_values._limits(WALK, DAYS, 900.0).values()) == pytest.approx(expected, rel=1e-12)
    assert list(trend_values._limits(WALK, DAYS, NAN).values()) == pytest.approx([line.slope, NAN, NAN], nan_ok=True)
    wide = list(trend_values._limits(WALK[:5], DAYS[:5], 1e6).values())
    assert np.isnan(wide[1:]).all()
