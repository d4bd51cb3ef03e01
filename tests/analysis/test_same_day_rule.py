"""One control for maps, gradients and changes of an aquifer on a day. The invented demo record."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps import (
    bounds,
    change,
    data_worth,
    method_choice,
    paired,
    parts,
    result,
    round_gradients,
    vertical_pairs,
)
from gwnet.analysis.maps.same_day_loggers import count_text
from gwnet.analysis.maps.site_maps import SetRule, check_wells, control_of, controls_of, gradient_between, map_of
from gwnet.errors import NotFoundError
from gwnet.hydro.surfaces.surface import Grid
from gwnet.network import Network
from gwnet.store.snapshot import Snapshot

DAY, BEFORE = dt.date(2026, 2, 17), dt.date(2025, 11, 18)
READ = SetRule(loggers=False)


@pytest.fixture(scope="module")
def record(demo_record):
    with Network(demo_record) as net, net.store.reading() as connection:
        yield Snapshot(connection).of_site()


def used(control):
    return set(control.loc[control["used"], "well"])


def test_a_set_is_made_once_and_has_loggers_and_gauges_unless_the_rule_leaves_them_out(record):
    control = control_of(record, "upper", DAY)
    assert control_of(record, "upper", DAY) is control
    kinds = control.loc[control["used"], "source"].value_counts()
    assert kinds["logger"] > 0
    assert kinds["stage"] > 0
    assert used(control_of(record, "upper", DAY, READ)) == used(control) - set(
        control.loc[control["source"] == "logger", "well"]
    )


def test_levels_are_counted_by_kind_and_gauges_never_as_wells():
    control = pd.DataFrame(
        {
            "kind": ["well", "well", "well", "stage", "river", "well"],
            "source": ["manual", "manual", "logger", "stage", "", "manual"],
            "used": [True, True, True, True, True, False],
        }
    )
    assert count_text(control) == "2 manual readings, 1 logger, 1 gauge and 1 river point"
    assert count_text(control[control["source"] == "logger"]) == "1 logger"
    assert count_text(control.iloc[:0]) == "no level"


@pytest.mark.slow
def test_the_gradient_of_a_round_is_that_of_the_map_of_its_day(record):
    days = dict(round_gradients.days_of_rounds(record, "upper"))
    rounds = {found.round: found for found in round_gradients.gradients_by_round(record, "upper")}
    for code in ("2025-Q4", "2026-Q1"):
        drawn = map_of(record, "upper", days[code])
        assert isinstance(drawn, result.MapResult)
        assert rounds[code].gradient.magnitude == drawn.gradient.magnitude
        assert rounds[code].count() == len(drawn.used)
        stated = drawn.gradient if drawn.gradient_sound is None else drawn.gradient_sound
        assert rounds[code].without_findings().gradient.magnitude == stated.magnitude


@pytest.mark.slow
def test_a_change_and_a_pair_take_the_levels_of_the_sets_of_both_days(record):
    sets = controls_of(record, "upper", [BEFORE, DAY])
    both = used(sets[0]) & used(sets[1])
    table = change.change_of(record, "upper", DAY, BEFORE).wells
    assert tuple(table.columns) == change.CHANGE_COLUMNS
    assert set(table.loc[table["used"], "well"]) == both
    pair = paired.paired_maps_of(record, "upper", (DAY, BEFORE))
    assert set(pair.common) == both
    without = change.change_of(record, "upper", DAY, BEFORE, READ).wells
    assert set(without.loc[without["used"], "well"]) <= both


def test_a_name_that_is_in_no_set_cannot_be_left_out(record):
    assert "W-01" not in used(control_of(record, "upper", DAY, SetRule(exclude=("W-01",))))
    for ask in (
        lambda rule: control_of(record, "upper", DAY, rule),
        lambda rule: round_gradients.gradients_by_round(record, "upper", dates=[DAY], rule=rule),
        lambda rule: change.change_of(record, "upper", DAY, BEFORE, rule),
    ):
        with pytest.raises(NotFoundError, match="cannot be left out: W-99"):
            ask(SetRule(exclude=("W-99",)))


def test_named_wells_are_of_one_aquifer_and_on_record(record):
    assert check_wells(record, ["W-01", "W-04"]) == "upper"
    with pytest.raises(NotFoundError, match="more than one aquifer"):
        check_wells(record, ["N1-U", "N1-L"])
    with pytest.raises(NotFoundError, match="no such well"):
        gradient_between(record, ["W-01", "W-98", "W-04"], DAY)


def test_data_worth_and_the_choice_of_a_method_are_of_the_same_set(record):
    drawn = map_of(record, "upper", DAY, method=method_choice.AUTO)
    assert {score.n for score in drawn.scores} == {drawn.scores[0].n}
    worth = data_worth.worth_of(map_of(record, "upper", DAY)).wells
    assert tuple(worth.columns) == data_worth.WORTH_COLUMNS
    assert set(worth["well"]) == used(control_of(record, "upper", DAY))


def test_vertical_gradients_are_of_clusters_on_record(record):
    table = vertical_pairs.site_vertical_table(record)
    assert tuple(table.columns) == vertical_pairs.VERTICAL_COLUMNS
    assert set(table["direction"]) <= {"upward", "downward", "not determined", ""}


def test_nothing_is_drawn_below_the_base_and_a_part_shows_arrows_within_its_region():
    heads = np.array([[1.0, 2.0], [3.0, 4.0]])
    lines = np.array([0.0, 1.0])
    grid = Grid(lines, lines, heads, heads, np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]))
    above, _, text = bounds.above_base(grid, (), 2.0, "m")
    assert np.isnan(above.water_elevation_m).tolist() == [[True, True], [False, False]]
    assert "over 50% of the control" in text
    assert bounds.above_base(grid, (), 0.5, "m")[2] == ""
    making = parts.Making("kriging", None, "linear", 0.5, 11, 5)
    assert making.interval_m == 0.5
