"""Benchmarks never rot: each runs once, small; what they measure is printed by hand, not asserted."""

import pytest

from ..helpers import ROOT, run_python


@pytest.mark.parametrize(("script", "arguments"), [("bench_load.py", ["600"]), ("bench_levels.py", ["600"])])
def test_a_small_run_prints_its_ratios(script, arguments, tmp_path):
    ran = run_python(str(ROOT / "tests" / "bench" / script), *arguments, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert " x barest" in ran.out
