"""Many series at once: each has the numbers that it has by itself, with whole arrays and compiled."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.trends import compiled
from gwnet.hydro.trends.inversions import count_inversions
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.many_series import many_trends
from gwnet.hydro.trends.theil_sen import theil_sen

NUMBERS = (
    st.integers(-3, 3).map(float) | st.floats(-1e6, 1e6).map(lambda value: round(value, 2)) | st.just(float("nan"))
)


@pytest.fixture(scope="module")
def made_ready():
    """Compile once, and forget it afterwards."""
    pytest.importorskip("numba")
    assert compiled.prepare()
    kept = dict(compiled._made)
    yield kept
    compiled._made.clear()


@pytest.fixture(params=["whole arrays", "compiled"])
def way(request, made_ready):
    compiled._made.clear()
    if request.param == "compiled":
        compiled._made.update(made_ready)
    return request.param


def assert_as_alone(table, times=None, **options):
    found = many_trends(table, times, **options)
    for row, values in enumerate(table):
        test, line = mann_kendall(values, times), theil_sen(values, times, **options)
        alone = (test.count, test.score, test.variance, test.z, test.p_value, line.slope, line.lower, line.upper)
        together = tuple(getattr(found, name)[row] for name in found.__dataclass_fields__)
        assert together == alone


@pytest.mark.parametrize("count", [11, 40, 120, 500])
@pytest.mark.parametrize("kind", ["noise", "walk", "tied", "line", "level", "steep"])
def test_each_series_has_the_numbers_that_it_has_alone(way, count, kind):
    random = np.random.default_rng(count)
    noise = random.normal(size=(6, count))
    table = {
        "noise": noise,
        "walk": np.round(np.cumsum(noise, axis=1), 2),
        "tied": np.round(noise),
        "line": np.arange(count) * 0.1 + np.zeros((6, 1)),
        "level": np.full((6, count), 3.5),
        "steep": noise * 1e200,
    }[kind]
    assert_as_alone(table, ranks="rounded")
    assert_as_alone(table, 2000 + np.sort(random.uniform(0, 30, count)), confidence=0.9)


@settings(deadline=None, max_examples=60)
@given(st.tuples(st.integers(1, 6), st.integers(2, 40)).flatmap(lambda shape: arrays(float, shape, elements=NUMBERS)))
def test_gaps_ties_and_short_series(table):
    table = table[np.isfinite(table).sum(axis=1) >= 2]
    table = table[[np.unique(np.flatnonzero(np.isfinite(row))).size >= 2 for row in table]] if len(table) else table
    assert_as_alone(table)


def test_inversions_are_counted_alike(way):
    random = np.random.default_rng(0)
    for count in (257, 1000, 4097):
        values = np.round(random.normal(size=count), 1)
        expected = sum(int((values[:k] > values[k]).sum()) for k in range(count))
        assert count_inversions(values) == expected


def test_what_is_no_table_is_refused():
    with pytest.raises(ShapeError, match="row for each series"):
        many_trends([1.0, 2.0])
    with pytest.raises(ShapeError, match="ascend"):
        many_trends([[1.0, 2.0]], [1.0, 1.0])
    with pytest.raises(AnalysisError, match="confidence"):
        many_trends([[1.0, 2.0]], confidence=2.0)


def test_small_work_never_compiles(monkeypatch):
    monkeypatch.setattr(compiled, "_made", {})
    monkeypatch.setattr(compiled, "prepare", lambda: pytest.fail("compiled for small work"))
    many_trends(np.random.default_rng(0).normal(size=(20, 60)))
    count_inversions(np.random.default_rng(0).normal(size=5000))


def test_large_work_compiles_and_without_numba_goes_on(monkeypatch):
    table = np.random.default_rng(1).normal(size=(5, 60))
    expected = many_trends(table)
    monkeypatch.setattr(compiled, "_made", {})
    monkeypatch.setattr(compiled, "LARGE", 1)
    monkeypatch.setattr(compiled, "find_spec", lambda name: None)
    assert not compiled.prepare()
    found = many_trends(table)
    for name in found.__dataclass_fields__:
        assert np.array_equal(getattr(found, name), getattr(expected, name))
