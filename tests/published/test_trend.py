"""Trend tests and slopes against printed numbers, to the precision in which they were printed.

Sources stand at each test. Where a printed number was recalled and not read, it says "from memory"; where a number
beside the printed ones was worked out with other code, it says "computed".
"""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.hamed_rao import autocorrelation, hamed_rao
from gwnet.hydro.trends.kendall import exact_upper_tail, mann_kendall, normal_probabilities, score_variance
from gwnet.hydro.trends.linear_regression import linear_trend
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.theil_sen import limit_ranks, pairwise_slopes, theil_sen

CASES = Path(__file__).parent / "cases"


def table(name):
    return pd.read_csv(CASES / name, comment="#")


def epa(example):
    """Return times and values of an example of US EPA (2009), Unified Guidance, EPA 530/R-09-007."""
    rows = table("trend_epa_2009.csv").query("dataset == @example")
    return rows["time"].to_numpy(), rows["value"].to_numpy(dtype=float)


def close(value, digits):
    """A printed number: half a unit of its last digit either way."""
    return pytest.approx(value, abs=0.5000001 * 10.0**-digits, rel=0)


def with_covariance(found):
    """Return Z and p with the covariance among the blocks, which the sources take without correction for continuity."""
    return normal_probabilities(found.score, found.variance_correlated, continuity=False)[:2]


def corrected(values):
    """Return the plain test of a series, its slope, and the correction for autocorrelation.

    A gap keeps its place in time for the slope and is closed up for the residuals, as in the published code.
    """
    plain, slope = mann_kendall(values, method="normal"), theil_sen(values).slope
    known = values[np.isfinite(values)]
    residuals = known - slope * np.arange(1, known.size + 1)
    return plain, slope, hamed_rao(residuals, plain.score, plain.variance)


def test_sulfate_with_ties():
    """US EPA (2009), Example 17-6, p. 17-33, reworked by the R package EnvStats (Chapter17Examples.R)."""
    times, values = epa("sulfate_17_6")
    times = times.astype(float)
    found, line = mann_kendall(values, times), theil_sen(values, times)
    assert (found.count, found.score, found.variance, found.method) == (23, 194, 1428.0, "normal")
    assert math.sqrt(found.variance) == close(37.789, 3)
    assert found.z == close(5.107322, 6)
    assert found.p_value == pytest.approx(3.267574e-07, rel=2e-7)
    assert found.tau_a == close(0.7667984, 7)
    assert found.tau_b == close(0.774490, 6)  # computed
    assert line.slope == close(26.6666667, 7)
    assert line.intercept == close(-1909.3333333, 7)
    assert (line.lower, line.upper) == (close(20.00000, 5), close(35.71182, 5))
    # computed: ranks rounded; and true decimal years, which EPA's code of time is not
    assert theil_sen(values, times, ranks="rounded").upper == close(35.849057, 6)
    months = np.round((times - np.floor(times)) * 10)
    assert theil_sen(values, 1900 + np.floor(times) + (months - 1) / 12).slope == close(26.4935, 4)


def test_sodium_without_ties():
    """US EPA (2009), Example 17-7, pp. 17-36 to 17-38, reworked by EnvStats."""
    times, values = epa("sodium_17_7")
    times = times.astype(float)
    found, line = mann_kendall(values, times, method="normal"), theil_sen(values, times)
    assert (found.score, found.variance) == (25, 125.0)
    assert (found.z, found.p_value) == (close(2.146625, 6), close(0.03182313, 8))
    assert found.tau_a == close(0.5555556, 7)
    assert (line.slope_count, line.slope, line.intercept) == (45, close(1.3333333, 7), close(-65.9666667, 7))
    assert (line.lower, line.upper) == (close(0.3992083, 7), close(2.3333333, 7))
    assert limit_ranks(45, 125.0) == (close(11.5435, 4), close(34.4565, 4))
    rounded = theil_sen(values, times, ranks="rounded")
    assert (rounded.lower, rounded.upper) == (close(0.4545455, 7), close(2.3333333, 7))  # computed


def test_four_and_five_values():
    """Gilbert (1987), section 16.4.1, Table A18, and US EPA QA/G-9 (2000), both from memory."""
    four, five = mann_kendall([10, 15, 14, 20]), mann_kendall([5, 6, 11, 8, 10])
    assert (four.score, four.p_rise, four.method) == (4, close(0.167, 3), "exact")
    assert (five.score, five.p_rise, five.method) == (6, close(0.117, 3), "exact")


def test_eleven_values_with_ties():
    """US EPA QA/G-9S (2006), EPA/240/B-06/003, p. 109, as quoted in a public help page."""
    found = mann_kendall([10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15])
    assert (found.score, found.variance, found.z) == (22, close(155.33, 2), close(1.685, 3))


def test_fourteen_values_by_hand():
    """J. Little, College of the Holy Cross, "Mann-Kendall by hand"; the slope was computed."""
    values = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
    found = mann_kendall(values)
    assert (found.score, found.variance) == (54, close(332.667, 3))
    assert (found.z, found.p_rise) == (close(2.9058, 4), close(0.0018, 4))
    assert theil_sen(values).slope == close(0.566667, 6)


def test_five_values_with_a_tie_by_the_wisconsin_code():
    """Wisconsin Administrative Code NR 746, Appendix A, Table A."""
    assert mann_kendall([100, 50, 85, 75, 50]).score == -5


def test_critical_values_of_the_wisconsin_code():
    """NR 746, Table B: a falling trend at alpha 0.2 when S is at or below minus these numbers."""
    critical = {4: 4, 5: 5, 6: 6, 7: 7, 8: 8, 9: 10, 10: 11}
    for count, score in critical.items():
        pairs = count * (count - 1) // 2
        attained = [s for s in range(pairs % 2, pairs + 1, 2) if exact_upper_tail(s, (1,) * count) <= 0.2]
        # 5 and 6 are of the other parity: without ties S cannot take them, and the decision is the same
        assert min(attained) == score + (pairs - score) % 2


def test_table_of_the_exact_upper_tail():
    """The quantity of Gilbert (1987), Table A18, for 3 to 20 values; computed, see the file."""
    rows = table("kendall_upper_tail.csv")
    assert len(rows) > 500
    for count, score, expected in rows.itertuples(index=False):
        assert exact_upper_tail(int(score), (1,) * int(count)) == pytest.approx(expected, abs=1e-10)


def test_ties_in_both():
    """Kendall (1976), Rank Correlation Methods, 4th ed., Examples 3.4 (pp. 42-43) and 4.3 (p. 55).

    As quoted in the manual of the R package Kendall; tau-b to seven digits, Z and p were computed.
    """
    a = [2.5, 2.5, 2.5, 2.5, 5, 6.5, 6.5, 10, 10, 10, 10, 10, 14, 14, 14, 16, 17]
    b = [1, 1, 1, 1, 2, 1, 1, 2, 1, 1, 1, 1, 1, 1, 2, 2, 2]
    first = mann_kendall(b, a)
    assert (first.score, first.tau_b) == (34, close(0.41, 2))
    assert first.score / first.tau_b == close(83.43, 2)
    assert (first.tau_b, first.variance) == (close(0.4075438, 7), close(344.559, 3))
    x = [1.5, 1.5, 3, 4, 6, 6, 6, 8, 9.5, 9.5, 11, 12]
    y = [2.5, 2.5, 7, 4.5, 1, 4.5, 6, 11.5, 11.5, 8.5, 8.5, 10]
    second = mann_kendall(y, x)
    assert (second.score, second.variance, second.method) == (34, close(203.30, 2), "normal")
    assert (second.tau_b, second.z, second.p_value) == (close(0.5528638, 7), close(2.314419, 6), close(0.020645, 6))
    assert mann_kendall(y, x, continuity=False).p_value == close(0.017100, 6)


def test_textbook_kendall_tau():
    """Helsel and Hirsch (2002), USGS TWRI 4-A3, chapter 8, from memory."""
    x = [2, 24, 99, 197, 377, 544, 632, 3452, 6587, 53170]
    y = [1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96]
    exact, normal = mann_kendall(y, x), mann_kendall(y, x, method="normal")
    assert (exact.score, exact.tau_a) == (21, close(0.47, 2))
    assert (exact.method, exact.p_value) == ("exact", pytest.approx(2 * 0.036275, abs=1e-6))
    assert (normal.z, normal.p_value) == (close(1.79, 2), close(0.074, 3))


def test_textbook_theil_sen_line():
    """Helsel and Hirsch (2002), USGS TWRI 4-A3, chapter 10, from memory."""
    x, y = [1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7]
    found, line = mann_kendall(y, x), theil_sen(y, x)
    assert (found.score, found.tau_a) == (19, close(0.90, 2))
    assert (line.slope_count, line.slope, line.intercept) == (21, 1.0, 0.0)


def test_several_values_at_one_time():
    """Gilbert (1987), pp. 217-219, from memory: 24 slopes, var 58.1, 90 % limits 2.6 and 9.3; the rest computed."""
    times, values = [1, 1, 1, 2, 3, 3, 4, 5], [10, 22, 21, 30, 22, 30, 40, 40]
    found, line = mann_kendall(values, times), theil_sen(values, times, confidence=0.9)
    assert (found.score, found.variance) == (19, close(58.1, 1))
    assert found.variance == close(58.095238, 6)
    assert (line.slope_count, line.slope) == (24, 5.5)
    assert (line.lower, line.upper) == (close(2.6, 1), close(9.3, 1))
    assert (line.lower, line.upper) == (close(2.5724, 4), close(9.2686, 4))
    rounded = theil_sen(values, times, confidence=0.9, ranks="rounded")
    assert (rounded.lower, rounded.upper) == (close(3.3333, 4), 9.0)


def test_three_years_of_months():
    """US EPA (2009), Example 14-10, pp. 14-38 to 14-40, reworked by EnvStats (Chapter14Examples.R)."""
    times, values = epa("seasonal_14_8")
    years = np.unique(times.astype(float))
    months = values.reshape(3, 12)
    found, slopes = seasonal_kendall(months), pair_slopes(months, years)
    assert found.scores.tolist() == [3, 2] + [3] * 10
    assert (found.score, found.variance) == (35, pytest.approx(43.0, rel=1e-12))
    assert (found.z, found.p_value) == (close(5.1849514, 7), pytest.approx(2.160712e-07, rel=3e-7))
    assert found.tau_a == close(0.9722222, 7)
    assert (found.heterogeneity, found.heterogeneity_p) == (close(0.1071882, 7), close(1.0, 4))
    assert slopes.first.size == 36
    assert slopes.limits(found.variance) == (close(0.06, 7), close(0.05786914, 8), close(0.07213086, 8))


def test_twenty_years_of_months():
    """Vignette of the R package trend (Pohlert, 2023), sections 1.2, 1.3 and 2.2; scores of the months computed."""
    months = table("trend_nottingham_air.csv")["temp_f"].to_numpy().reshape(20, 12)
    found = seasonal_kendall(months)
    assert found.scores.tolist() == [-7, 3, 1, 31, -23, 45, -9, 80, 67, -2, 59, -21]
    assert found.variances == pytest.approx(
        [944.333, 949, 949, 947, 944.333, 949, 949, 946, 944.333, 946, 947, 949], abs=5e-4
    )
    assert (found.score, found.variance) == (224, pytest.approx(11364, rel=1e-12))
    assert (found.z, found.p_value) == (close(2.0919, 4), close(0.03645, 5))
    assert found.variance_correlated == close(19663.33, 2)
    assert with_covariance(found) == (close(1.5974, 4), close(0.1102, 4))
    slopes = pair_slopes(months)
    assert (slopes.first.size, slopes.limits(found.variance)[0]) == (2280, close(0.05, 2))
    august, september = (mann_kendall(months[:, k], continuity=False).p_value for k in (7, 8))
    assert (august, september) == (close(0.009, 3), close(0.029, 3))


def test_rhine_at_maxau():
    """Vignette of the R package trend, sections 1.1 and 2.1: discharge and sediment."""
    rows = table("trend_rhine_maxau.csv")
    sediment, discharge = rows["s_mg_l"].to_numpy(), rows["Q_m3_s"].to_numpy()
    flow, load = mann_kendall(discharge), mann_kendall(sediment)
    assert (flow.score, flow.variance, flow.z, flow.p_value) == (-144, 10450.0, close(-1.3989, 4), close(0.1619, 4))
    assert flow.tau_a == close(-0.1454545, 7)
    assert (load.score, load.z, load.p_value) == (-394, close(-3.8445, 4), close(0.0001208, 7))
    line = theil_sen(sediment, ranks="rounded")
    assert (line.slope_count, line.slope) == (990, close(-0.2876139, 7))
    assert (line.lower, line.upper) == (close(-0.4196477, 7), close(-0.1519026, 7))
    between = theil_sen(sediment)
    assert (between.lower, between.upper) == (close(-0.4196916, 7), close(-0.1516999, 7))  # computed


def test_six_stations_of_the_rhine():
    """Vignette of the R package trend, section 1.4: single stations with, all together without continuity correction."""
    stations = table("trend_rhine_hcb.csv")[["we", "ka", "mz", "ko", "bh", "bi"]].to_numpy()
    found = seasonal_kendall(stations)
    assert found.scores.tolist() == [-3402, -2043, -837, -1617, -3340, -4120]
    alone = [mann_kendall(stations[:, k]) for k in range(6)]
    assert [one.z for one in alone] == pytest.approx([-5.8753, -3.5283, -1.4447, -2.7916, -5.7681, -7.1165], abs=5.1e-5)
    printed = [-0.3317108, -0.1998191, -0.08198541, -0.1575802, -0.3254744, -0.4023498]
    assert [one.tau_b for one in alone] == pytest.approx(printed, abs=5.1e-8)
    assert (found.score, found.variance_correlated) == (-15359, close(5277014, 0))
    assert with_covariance(found) == (close(-6.686, 3), pytest.approx(2.293e-11, rel=3e-4))


def test_serial_correlation_of_36_months():
    """Example notebook of pyMannKendall (Hussain and Mahmud, 2019)."""
    values = table("trend_monthly_series.csv").query("series == 'shampoo'")["value"].to_numpy(dtype=float)
    plain, slope, correction = corrected(values)
    assert (plain.score, slope) == (440, close(11.509375, 6))
    assert plain.variance * correction.ratio == close(7322.011164, 6)
    assert (correction.z, correction.p_value) == (close(5.130377555, 9), pytest.approx(2.8916e-07, rel=2e-5))
    assert correction.ratio == close(1.3584436, 7)  # computed


def test_36_months_without_correction():
    """The same series: slope and intercept of that notebook; Z and p computed."""
    values = table("trend_monthly_series.csv").query("series == 'shampoo'")["value"].to_numpy(dtype=float)
    found, line = mann_kendall(values), theil_sen(values)
    assert (found.score, found.variance, found.tau_a) == (440, 5390.0, close(0.6984127, 7))
    assert (found.z, found.p_value) == (close(5.979573, 6), pytest.approx(2.237e-09, rel=3e-4))
    assert (line.slope, line.intercept) == (close(11.509375, 6), close(78.7359375, 7))


def test_360_months_with_gaps():
    """Unit tests of pyMannKendall, checked there against the R packages modifiedmk, fume, rkt and trend."""
    values = table("trend_months_with_gaps.csv")["value"].to_numpy(dtype=float)
    plain, _, correction = corrected(values)
    assert (plain.score, plain.variance) == (-1959, close(4889800.3333, 4))
    assert (plain.z, plain.p_value) == (close(-0.8854562843, 10), close(0.3759105874, 10))
    assert plain.variance * correction.ratio == close(259723.8132, 4)
    assert (correction.z, correction.p_value) == (close(-3.8419950614, 10), close(0.0001220383, 10))
    seasonal = seasonal_kendall(values.reshape(-1, 12))
    assert (seasonal.score, seasonal.variance) == (-399, close(34702.3333, 4))
    assert (seasonal.z, seasonal.p_value) == (close(-2.1365041145, 10), close(0.0326383460, 10))


def test_360_months_slopes_and_complete_years():
    """The same series: gaps keep their place in time; the test with covariance leaves out years with a gap."""
    values = table("trend_months_with_gaps.csv")["value"].to_numpy(dtype=float)
    months = values.reshape(-1, 12)
    found = seasonal_kendall(months[np.isfinite(months).all(axis=1)])
    assert (found.score, found.variance_correlated) == (-333, close(31427.6667, 4))
    assert with_covariance(found) == (close(-1.8784003669, 10), close(0.0603264154, 10))
    assert mann_kendall(values).tau_a == close(-0.0315316765, 10)
    assert seasonal_kendall(months).tau_a == close(-0.0794979079, 10)
    assert theil_sen(values).slope == close(-0.0063694268, 10)
    assert theil_sen(values[np.isfinite(values)]).slope == close(-0.0064516129, 10)  # gaps closed: not the same
    assert pair_slopes(months).limits(found.variance)[0] == close(-0.0869565217, 10)


def test_two_series():
    """Unit tests of pyMannKendall: regional, and multivariate with covariance."""
    pair = table("trend_two_series.csv")[["a", "b"]].to_numpy(dtype=float)
    region, whole = seasonal_kendall(pair), seasonal_kendall(pair[np.isfinite(pair).all(axis=1)])
    assert (region.score, region.variance, region.z) == (-362, pytest.approx(103278), close(-1.1233194854, 10))
    assert (whole.score, whole.variance_correlated) == (-317, pytest.approx(27913, rel=1e-12))
    assert with_covariance(whole)[0] == close(-1.8973873659, 10)


def test_strong_seasonal_trend():
    """Example notebook of pyMannKendall: passengers 1949-1960; the variant with covariance computed."""
    months = table("trend_monthly_series.csv").query("series == 'airpassengers'")["value"].to_numpy(dtype=float)
    found = seasonal_kendall(months.reshape(-1, 12))
    assert (found.score, found.variance) == (784, pytest.approx(2550, rel=1e-12))
    assert (found.z, found.tau_a) == (close(15.50571052, 8), close(0.98989899, 8))
    assert pair_slopes(months.reshape(-1, 12)).limits(found.variance)[0] == close(30.23611111, 8)
    assert found.variance_correlated == pytest.approx(30472)
    assert with_covariance(found)[0] == close(4.491233, 6)


@pytest.mark.parametrize(
    ("count", "score", "continuity", "tau", "z", "p_value"),
    [
        # USGS SIR 2005-5275 (Helsel, Mueller and Slack, 2006), output file MKL4b
        (21, -110, True, -0.524, -3.291, 0.0010),
        # files of a county (San Joaquin EHD 599999 p. 605, 600462 p. 154), without continuity correction
        (22, 85, False, 0.368, 2.397, 0.0165),
        (10, -19, False, -0.422, -1.699, 0.0892),
    ],
)
def test_printed_tau_z_and_p_follow_from_printed_count_and_score(count, score, continuity, tau, z, p_value):
    """The measured series were not published: tau, Z and p are those of a record of that count without ties."""
    steps = np.arange(float(count))
    found = normal_probabilities(score, score_variance(steps, steps), continuity=continuity)
    assert found[:2] == (close(z, 3), close(p_value, 4))
    assert score / pairwise_slopes(steps, steps).size == close(tau, 3)


def test_printed_relation_for_eighty_values():
    """USGS SIR 2005-5275, output file MKL4a: S −179, tau −0.057, Z −0.740, p 0.4596.

    Of 80 values without ties S is even, so the printed odd S had ties; the variance without them meets the print.
    """
    variance = mann_kendall(np.arange(80)).variance
    assert variance == close(57933.33, 2)
    z, p_value, _, _ = normal_probabilities(-179, variance)
    assert (z, p_value, -179 / (80 * 79 / 2)) == (close(-0.740, 3), close(0.4596, 4), close(-0.057, 3))


def test_serial_correlation_of_alkalinity():
    """US EPA (2009), Example 14-3, reworked by EnvStats: lags count values, not days."""
    printed = [0.641, 0.313, 0.043, -0.230, -0.453, -0.496, -0.374, -0.174, 0.040]
    printed += [0.171, 0.303, 0.416, 0.368, 0.228, -0.015, -0.175, -0.382]
    assert autocorrelation(epa("alkalinity_14_3")[1])[1:18] == pytest.approx(printed, abs=5.1e-4)


def test_serial_correlation_of_arsenic():
    """US EPA (2009), Example 14-4, reworked by EnvStats."""
    assert autocorrelation(epa("arsenic_14_4")[1])[1] == close(0.1084613, 7)


def test_sorted_slopes_of_the_textbook_line():
    """Helsel and Hirsch (2002), chapter 10, from memory: −9, fifteen times 1, 3, 3.5, 4.333, 6, 11."""
    slopes = np.sort(pairwise_slopes(np.array([1.0, 2, 3, 4, 5, 16, 7]), np.arange(1.0, 8)))
    assert slopes == pytest.approx([-9, *[1] * 15, 3, 3.5, 4.333, 6, 11], abs=5e-4)


def test_nile():
    """Annual flow of the Nile at Aswan 1871-1970 (data set of statsmodels, sum 91935): computed by two other codes."""
    flow = sm.datasets.nile.load_pandas().data["volume"].to_numpy()
    assert flow.sum() == 91935
    plain, slope, correction = corrected(flow)
    assert (plain.score, plain.z, slope) == (-1387, close(-4.128067, 6), close(-2.6, 1))
    assert plain.variance == close(112728.3333, 4)
    assert (plain.variance * correction.ratio, correction.z) == (close(241565.3569, 4), close(-2.819979, 6))


@pytest.mark.parametrize(("z", "p_value"), [(-0.584, 0.5592), (-1.808, 0.0705), (-4.096, 0.0000)])
def test_printed_seasonal_p_follows_from_printed_z(z, p_value):
    """USGS SIR 2005-5275, output files SK1c, SKL1a and SKL2b: p is two-sided and normal.

    Neither the series nor the variance of S were published, so nothing else of them can be checked. Z and p are rounded:
    p must lie between those of the two ends of Z.
    """
    ends = [normal_probabilities(z + half, 1.0, continuity=False)[1] for half in (-5e-4, 5e-4)]
    assert min(ends) - 5e-5 <= p_value <= max(ends) + 5e-5


def test_chloride_by_linear_regression():
    """US EPA (2009), Example 17-5, p. 17-26 to 17-30, reworked by the R package EnvStats; intercepts computed."""
    case = table("trend_regression_epa_2009.csv")
    days, values = case["days"].to_numpy(float), case["value"].to_numpy(float)
    line = linear_trend(values, days)
    assert line.count == 19
    assert line.slope == close(0.003095753, 9)
    assert line.standard_error == close(0.0003345330, 10)
    assert line.t == close(9.253952, 6)
    assert line.p_value == close(4.764303e-08, 14)
    assert line.intercept == close(11.516032, 6)
    np.testing.assert_allclose(line.residuals, case["residual"], rtol=0, atol=5.000001e-7)
    # counted from 1970-01-01: 11688 days before 2002-01-01
    assert linear_trend(values, days + 11688).intercept == close(-24.667125, 6)
    beside = sm.OLS(values, sm.add_constant(days)).fit()
    assert [line.lower, line.upper] == pytest.approx(beside.conf_int()[1].tolist(), rel=1e-9)
