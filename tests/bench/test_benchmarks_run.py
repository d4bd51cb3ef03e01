"""Benchmarks never rot: each runs once, small; what they measure is printed by hand, not asserted."""

import pytest

from ..helpers import ROOT, run_forked, run_python

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(("script", "arguments"), [("bench_load.py", ["600"]), ("bench_levels.py", ["600"])])
def test_a_small_run_prints_its_ratios(script, arguments, tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / script), *arguments, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x barest" in ran.out


def test_a_small_run_of_the_start_prints_its_ratios(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_start.py"), "1", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count(" s of the processor; ") == 4


def test_a_small_run_of_digests_and_triggers_prints_their_ratios(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_integrity.py"), "600", "20", "1", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count("same rows each way") * 4 == ran.out.count("median of rounds") >= 8


def test_a_small_run_of_trends_prints_ratios_and_equal_values(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_trend.py"), "small", "40", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count("values the same") == ran.out.count("; values ") >= 3
    assert "peak" in ran.out
    assert "net.trends(seasons=12), 8 wells" in ran.out


def test_a_small_run_of_alarms_prints_their_shares(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_trend_alarms.py"), "5", "10", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count("seasonal     10") == 6
    assert "wells differ at 5 %" in ran.out


def test_a_small_run_of_limits_of_trends_prints_one_row_a_case(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_trend_limits.py"), "2", cwd=tmp_path)
    assert ran.code == 0, ran.err
    # of each part the heading and two memories; of trends by both methods, of dates for three distances
    assert len(ran.out.splitlines()) == 6 + 2 * (2 + 1 + 3 + 1 + 1 + 1)


def test_a_small_run_of_reading_logger_files_prints_its_ratios(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_logger_read.py"), "20000", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count(" x pandas") == 3


@pytest.mark.parametrize(
    ("script", "arguments", "last"),
    [("bench_samples.py", ["2000", "3"], "not measured"), ("bench_logger_load.py", ["500", "600"], "peak memory")],
)
def test_a_small_run_of_loggers_prints_its_ratios(script, arguments, last, tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / script), *arguments, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x" in ran.out
    assert last in ran.out.splitlines()[-1]


def test_a_small_run_of_heads_of_loggers_prints_its_ratios(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_logger_heads.py"), "3000", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x pandas" in ran.out
    assert "both say 0 h and 0 h" in ran.out.splitlines()[-1]


def test_a_small_run_of_worth_prints_its_ratio_and_equal_values(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_worth.py"), "12", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x; largest difference " in ran.out
    assert float(ran.out.split()[-2]) < 1e-9


def test_a_small_run_of_reports_prints_its_ratios_and_peak_memory(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_report.py"), "1", "1000", "1", "400", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count(" x plain matplotlib") == 2
    assert ran.out.count("peak memory") == 4


def test_a_small_run_of_changes_says_how_many_were_noticed(tmp_path):
    asked = ["2", "2", "gwnet/hydro/reduction", "--tests", "tests/hydro/test_reduction.py", "tests/hydro/test_tape.py"]
    ran = run_python(str(ROOT / "tests" / "bench" / "mutate.py"), *asked, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert len([line for line in ran.out.splitlines() if line.startswith(("noticed", "SURVIVED"))]) == 2
    assert "of 2 changes noticed" in ran.out


def test_a_small_run_of_detection_prints_shares_of_each_detector(demo_record, tmp_path):
    bench = str(ROOT / "tests" / "bench" / "bench_detection.py")
    ran = run_forked(bench, "100", "1", demo_record, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count("all gross, forms") == 5
    assert ran.out.count("all gross  ") == 5
    assert "miss 0.75 ft or more" in ran.out


def test_a_small_run_of_faults_of_loggers_prints_a_row_a_kind(open_data, tmp_path):
    kinds = ["spike", "slipped cable", "clock half an hour back", "barometer off at a visit", "rain"]
    bench = str(ROOT / "tests" / "bench" / "bench_logger_findings.py")
    ran = run_forked(bench, "1", "1", *kinds, cwd=tmp_path, env={"GWNET_OPEN_DATA": str(open_data)})
    assert ran.code == 0, ran.err
    rows = ran.out.splitlines()
    assert [row.split("  ")[0] for row in rows[1:-1]] == kinds
    assert sum("100%    100%" in row for row in rows) == 4
    assert rows[-1].startswith("findings of 120 days of the three untouched series: ")


def test_a_small_run_of_limits_of_efficiencies_prints_their_coverage(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_efficiency_limits.py"), "3", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count("% hold, half-width") == 3 * 3 * 8


def test_a_small_run_of_limits_of_pumping_tests_prints_their_coverage(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_pumping_limits.py"), "3", "theis", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert ran.out.count(" % hold; ") == 6


def test_a_small_run_of_fits_of_pumping_tests_prints_the_ratio_to_a_loop(tmp_path):
    ran = run_forked(str(ROOT / "tests" / "bench" / "bench_pumping_fit.py"), "20", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x loop" in ran.out
    assert ran.out.count(" fit of 20 readings with limits") == 3
