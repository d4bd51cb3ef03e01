"""Effects on heads of loggers: corrected installations and hanging depths, and what else moves heads."""

import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.review.effects import EFFECT_COLUMNS, Watch, find_effects
from gwnet.analysis.review.logger_effects import compare_loggers
from gwnet.store.snapshot import Snapshot

from .record import RECORDED_ON
from .test_logger_heads import Installed

LATER = RECORDED_ON + dt.timedelta(days=1)


@pytest.fixture
def made(tmp_path):
    made = Installed(tmp_path / "a.sqlite", count=200)
    made.loggers.instrument("P")
    made.deployment = made.loggers.install("P", "W", depth=12.0)
    made.loggers.samples("P", "water column", "m", made.when, made.water - 88.0)
    yield made
    made.record.store.close()


def hang(made, depth, when=LATER):
    """Correct the hanging depth."""
    with made.record.act(when):
        made.record.retire("deployment", made.deployment)
        made.loggers.install("P", "W", depth=depth, recorded_by="Ben", reason="cable measured")


@pytest.mark.slow
def test_a_corrected_hanging_depth_lists_the_heads_it_moves(made):
    with made.record.store.reading() as connection:
        assert find_effects(Snapshot(connection, RECORDED_ON)).empty
    hang(made, 11.893)
    with made.record.store.reading() as connection:
        table = find_effects(Snapshot(connection))
        named = find_effects(Snapshot(connection), since=RECORDED_ON)
    assert tuple(table.columns) == EFFECT_COLUMNS
    (row,) = table.to_dict("records")
    assert (row["site"], row["well"], row["event_id"]) == ("S", "W", -1)
    assert row["difference_m"] == pytest.approx(0.107)
    assert row["water_elevation_after_m"] - row["water_elevation_before_m"] == pytest.approx(0.107)
    assert row["cause"] == "200 samples of logger P, 2024-01-01 to 2024-01-09"
    assert "cable measured" in row["reason"]
    assert named.drop(columns="reason").equals(table.drop(columns="reason"))


def test_heads_that_a_corrected_depth_does_not_touch_are_not_listed(made):
    made.read(10, 150)
    hang(made, 11.893)
    with made.record.store.reading() as connection:
        # anchored to manual readings, the heads do not rest on the hanging depth
        assert find_effects(Snapshot(connection)).empty


def test_a_survey_moves_heads_that_rest_on_the_measuring_point(made):
    with made.record.act(LATER) as connection:
        old = connection.exec_driver_sql("SELECT id FROM measuring_point").scalar_one()
        made.record.retire("measuring_point", old)
        made.record.point("W", 100.25, height_above_ground_m=0.5, recorded_by="Ben", reason="levelled")
    with made.record.store.reading() as connection:
        table = find_effects(Snapshot(connection))
    assert table["difference_m"].tolist() == pytest.approx([0.25])
    assert "levelled" in table["reason"].iloc[0]


def test_an_exclusion_lists_what_it_takes_and_a_bound_that_moves_is_a_level_that_moves(made):
    made.loggers.correct("P", "water column", "exclusion", "2024-01-02", "2024-01-03", now=LATER, cause="other")
    with made.record.store.reading() as connection:
        before, after = Snapshot(connection, RECORDED_ON), Snapshot(connection)
        table = compare_loggers(before, after, set(), ["W"])
        assert compare_loggers(before, after, set(), ["X"]).empty
    assert table["cause"].tolist() == ["24 samples of logger P, 2024-01-02 to 2024-01-03 (24 lost)"]
    assert np.isnan(table["difference_m"].iloc[0])


@pytest.mark.slow
def test_a_dry_run_shows_the_heads_that_would_move(made):
    watch = Watch()
    with made.record.store.reading() as connection:
        watch.before(connection)
    hang(made, 12.5)
    with made.record.store.reading() as connection:
        watch.after(connection)
    assert watch.moved["difference_m"].tolist() == pytest.approx([-0.5])
