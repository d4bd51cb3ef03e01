"""What is due and why, which wells stand, and the order of the walk."""

import datetime as dt
import itertools
import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from gwnet import constants
from gwnet.analysis.fieldwork import field_sheet, planning
from gwnet.analysis.fieldwork.field_sheet import expected_range
from gwnet.analysis.fieldwork.walking_order import walking_order
from gwnet.errors import NotFoundError, SettingsError
from gwnet.store.save.downloads import add_download
from gwnet.store.save.samples import Appending
from gwnet.store.save.segments import segment_for
from gwnet.store.snapshot import Snapshot

from ..products.field_record import field_network, tables

DAY = dt.date(2026, 4, 20)
LOADED = dt.datetime(2026, 4, 2, 8, tzinfo=dt.UTC)


@pytest.fixture
def network(tmp_path):
    with field_network(tmp_path) as net:
        yield net


def programme(net, on=DAY):
    with net.store.reading() as connection:
        made = planning.Programme(Snapshot(connection).of_site(), on)
        assert len(made.due)
        return made


def only(table, what, **keys):
    for name, value in keys.items():
        table = table[table[name] == value]
    found = table[table["what"] == what]
    assert len(found) == 1, found
    return found.iloc[0]


# --- what is due ------------------------------------------------------------------------------------------------


def test_the_defaults_are_those_of_the_published_practice():
    """USGS TM 1-A1 (2011) p. 23: relevel every 3 to 5 years; p. 8 and 35: tapes yearly; OFR 95-398: bottoms yearly."""
    assert 3 * 365 <= constants.RESURVEY_INTERVAL_DAYS <= 5 * 365.25 + 1
    assert pytest.approx(365, abs=1) == constants.TAPE_CHECK_INTERVAL_DAYS
    assert pytest.approx(365, abs=1) == constants.SOUNDING_INTERVAL_DAYS


def test_each_kind_is_due_an_interval_after_it_was_done_last(network):
    table = programme(network).due
    gauge = only(table, planning.GAUGE, well="A1")
    assert (gauge["last_on"], gauge["due_on"]) == (dt.date(2025, 11, 12), dt.date(2026, 2, 11))
    assert gauge["overdue_days"] == (DAY - dt.date(2026, 2, 11)).days
    survey = only(table, planning.SURVEY, well="A1")
    assert (survey["last_on"], survey["due_on"]) == (dt.date(2018, 6, 1), dt.date(2023, 6, 1))
    assert "TM 1-A1 p. 23" in survey["rule"]
    sound = only(table, planning.SOUND, well="A1")
    assert (sound["last_on"], sound["due_on"]) == (dt.date(2025, 8, 12), dt.date(2026, 8, 12))
    assert sound["overdue_days"] < 0
    visit = only(table, planning.VISIT, instrument="L1")
    assert (visit["well"], visit["last_on"], visit["due_on"]) == ("A5", dt.date(2025, 12, 1), dt.date(2026, 3, 1))


@pytest.mark.slow
def test_each_access_is_surveyed_by_itself(network):
    table = programme(network).due
    tube = only(table, planning.SURVEY, well="A2", access="dip tube")
    assert (tube["last_on"], tube["due_on"]) == (dt.date(2022, 6, 1), dt.date(2027, 6, 1))
    assert only(table, planning.SURVEY, well="A2", access="main")["due_on"] == dt.date(2023, 6, 1)


def test_what_was_never_done_is_due_and_says_so(network):
    table = programme(network).due
    new = only(table, planning.SOUND, well="NEW")
    assert new["last_on"] is None
    assert new["due_on"] is None
    assert pd.isna(new["overdue_days"])
    assert new["rule"].startswith("never sounded; every 365 d")
    assert new["well"] in planning.due_by(table, dt.date(1990, 1, 1))["well"].tolist()


def test_a_visit_without_a_level_leaves_the_well_to_be_gauged(network, tmp_path):
    more = tmp_path / "level_events.csv"
    more.write_text("site,well,date,status\nF,A1,2026-03-20,no access\nF,A2,2026-03-20,dry\n")
    network.load([more], by="Keeper")
    table = programme(network).due
    assert only(table, planning.GAUGE, well="A1")["last_on"] == dt.date(2025, 11, 12)
    assert only(table, planning.GAUGE, well="A2")["last_on"] == dt.date(2026, 3, 20)


def test_only_tapes_in_service_are_to_be_checked(network):
    """The reference tape is neither used nor checked; a tape that rests for two intervals is out of service."""
    table = programme(network).due
    assert table[table["what"] == planning.CHECK]["instrument"].tolist() == ["T2", "T1"]
    assert only(table, planning.CHECK, instrument="T1")["due_on"] == dt.date(2026, 6, 1)
    assert only(table, planning.CHECK, instrument="T2")["due_on"] == dt.date(2025, 11, 1)
    later = programme(network, dt.date(2026, 12, 1)).due
    assert later[later["what"] == planning.CHECK]["instrument"].tolist() == ["T1"]
    # two intervals of 365 days after it was used or checked last
    used = programme(network).levels.groupby("instrument")["day"].max()["T2"]
    rests = max(pd.Timestamp(used).date(), dt.date(2024, 11, 1)) + dt.timedelta(days=730)
    for on, tapes in ((rests, ["T2", "T1"]), (rests + dt.timedelta(days=1), ["T1"])):
        table = programme(network, on).due
        assert table[table["what"] == planning.CHECK]["instrument"].tolist() == tapes


def test_a_logger_is_visited_when_it_is_read_out(network):
    with network.store.writing("load", "Keeper", now_utc=LOADED) as connection:
        series, _ = segment_for(connection, 4, "water pressure", "kPa")
        download = add_download(connection, series, layout="plain", zone="UTC", by="Keeper")
        when = int(dt.datetime(2026, 4, 2, 6, tzinfo=dt.UTC).timestamp() * 1000)
        appending = Appending(connection, series, download)
        appending.add(np.array([when]), np.array([1.0]))
        appending.finish()
    assert only(programme(network).due, planning.VISIT, well="A5")["last_on"] == dt.date(2026, 4, 2)


def test_the_site_s_own_intervals_hold_before_the_defaults(tmp_path):
    lines = tables()["sites"].splitlines()
    own = f"{lines[0]},gauging_interval_days,tape_check_interval_days\n{lines[1]},30,182.5\n"
    with field_network(tmp_path, sites=own) as net:
        table = programme(net).due
    gauge = only(table, planning.GAUGE, well="A1")
    assert gauge["due_on"] == dt.date(2025, 12, 12)
    assert gauge["rule"] == "every 30 d (the site's own interval)"
    assert only(table, planning.CHECK, instrument="T1")["due_on"] == dt.date(2025, 12, 1), "half a day counts as one"


def test_the_day_asked_for_is_looked_at_as_it_was(network):
    table = programme(network, dt.date(2025, 9, 1)).due
    assert only(table, planning.GAUGE, well="A1")["last_on"] == dt.date(2025, 8, 12)


@pytest.mark.slow
def test_only_wells_that_stand_are_planned(network):
    wells, others = programme(network).wells_in_use, programme(network).wells_left_out
    assert wells == ["A1", "A2", "A3", "A4", "A5", "NEW"]
    assert others == {"OLD": "decommissioned on 2024-01-01"}
    assert programme(network, dt.date(2023, 12, 31)).wells_left_out == {"NEW": "drilled only on 2026-03-15"}


def test_a_destroyed_well_is_left_out_until_it_is_seen_again(network, tmp_path):
    more = tmp_path / "level_events.csv"
    more.write_text("site,well,date,status\nF,A1,2026-03-20,destroyed\n")
    network.load([more], by="Keeper")
    assert programme(network).wells_left_out["A1"] == "found destroyed at the last visit"


# --- the walk ---------------------------------------------------------------------------------------------------


def wells_at(places, contamination=None, role=None):
    count = len(places)
    return pd.DataFrame(
        {
            "well": [f"W{n:02d}" for n in range(count)],
            "easting": [float(x) for x, _ in places],
            "northing": [float(y) for _, y in places],
            "contamination": contamination or [0] * count,
            "role": role or [""] * count,
        }
    )


def length(frame, order):
    place = frame.set_index("well")[["easting", "northing"]]
    steps = np.diff(place.loc[order].to_numpy(), axis=0)
    return float(np.hypot(*steps.T).sum())


def test_the_least_contaminated_wells_come_first_and_product_last(network):
    order = planning.planned_wells(programme(network), None)
    assert len(order) == 6
    assert order[0] == "A5", "the upgradient well starts the walk"
    assert order[-1] == "A4", "floating product was met there"
    assert order[-2] == "A3", "its hazards name contamination"


def test_a_walk_of_a_few_wells_is_close_to_the_shortest_one():
    """Every order of seven wells is tried: the walk may be a tenth longer than the best from the same start."""
    rng = np.random.default_rng(7)
    for _ in range(20):
        frame = wells_at(rng.uniform(0, 1000, size=(7, 2)).tolist())
        order = walking_order(frame)
        number = {well: at for at, well in enumerate(frame["well"])}
        walks = np.array([[0, *rest] for rest in itertools.permutations(range(1, 7))])
        # from the same start, in every order of the others
        walks = np.array([number[well] for well in order])[walks]
        steps = np.diff(frame[["easting", "northing"]].to_numpy()[walks], axis=1)
        best = np.hypot(steps[..., 0], steps[..., 1]).sum(axis=1).min()
        assert length(frame, order) <= 1.1 * best


def test_wells_on_a_line_are_walked_along_it():
    frame = wells_at([(x, 0) for x in (0, 300, 100, 200, 400)])
    assert walking_order(frame) == ["W00", "W02", "W03", "W01", "W04"]


def test_the_order_of_the_rows_does_not_matter():
    rng = np.random.default_rng(3)
    frame = wells_at(
        rng.uniform(0, 500, size=(40, 2)).round(-2).tolist(), contamination=rng.integers(0, 3, 40).tolist()
    )
    order = walking_order(frame)
    assert sorted(order) == frame["well"].tolist()
    for seed in range(5):
        assert walking_order(frame.sample(frac=1.0, random_state=seed)) == order


def test_a_start_and_wells_at_the_end_can_be_named():
    frame = wells_at([(x, 0) for x in range(0, 500, 100)])
    order = walking_order(frame, start="W03", last=["W01", "W00"])
    assert order[0] == "W03"
    assert order[-2:] == ["W01", "W00"]


def test_among_wells_at_one_place_the_named_one_starts():
    assert walking_order(wells_at([(0, 0), (0, 0), (5, 0)]), start="W01") == ["W01", "W00", "W02"]


def test_wells_without_coordinates_come_last_of_their_kind():
    frame = wells_at([(0, 0), (math.nan, math.nan), (100, 0), (50, 0)])
    assert walking_order(frame) == ["W00", "W03", "W02", "W01"]
    assert walking_order(wells_at([(math.nan, math.nan)] * 3)) == ["W00", "W01", "W02"]


def test_wells_that_are_unknown_or_gone_are_refused(network):
    made = programme(network)
    with pytest.raises(NotFoundError, match="B9"):
        planning.planned_wells(made, ["A1", "B9"])
    with pytest.raises(SettingsError, match="decommissioned on 2024-01-01"):
        planning.planned_wells(made, ["A1", "OLD"])


def test_the_stops_say_what_is_due_there(network):
    made = programme(network)
    stops = planning.stops(made, ["A5", "A1"], DAY).set_index("well")
    assert stops.loc["A1", "walk_m"] == pytest.approx(400.0, abs=0.05)
    assert math.isnan(stops.loc["A5", "walk_m"])
    assert "visit logger L1 (due 2026-03-01)" in stops.loc["A5", "due"]
    assert stops.loc["A1", "due"] == "gauge well (due 2026-02-11); survey measuring point (due 2023-06-01)"


# --- the range expected -----------------------------------------------------------------------------------------


def season(heads, days=None, **columns):
    days = days or [dt.date(2010 + n, 5, 10) for n in range(len(heads))]
    made = {
        "usable": [True] * len(heads),
        "bound": [""] * len(heads),
        "water_elevation_uncorrected_m": heads,
        "day": days,
    }
    return pd.DataFrame(made | columns)


def test_the_range_is_the_median_and_four_robust_deviations_as_scipy_has_them():
    heads = np.random.default_rng(1).normal(50.0, 0.3, 12)
    found = expected_range(season(heads), dt.date(2026, 5, 20))
    scale = stats.median_abs_deviation(heads, scale="normal")
    assert found.levels == 12
    assert (found.low_m + found.high_m) / 2 == pytest.approx(np.median(heads))
    assert (found.high_m - found.low_m) / 2 == pytest.approx(4.0 * scale, rel=1e-4)


def test_a_wild_level_does_not_widen_the_range():
    heads = [50.0, 50.1, 49.9, 50.05, 49.95, 50.02]
    sound = expected_range(season(heads), dt.date(2026, 5, 20))
    spoilt = expected_range(season([*heads, 80.0]), dt.date(2026, 5, 20))
    assert spoilt.high_m < sound.high_m + 0.3


def test_a_quiet_well_gets_a_range_of_ten_centimetres_at_least():
    found = expected_range(season([50.0] * 6), dt.date(2026, 5, 20))
    assert (found.low_m, found.high_m) == pytest.approx((49.9, 50.1))


@pytest.mark.parametrize("count", range(field_sheet.LEAST_IN_SEASON + 1))
def test_few_levels_give_no_expectation(count):
    found = expected_range(season([50.0] * count), dt.date(2026, 5, 20))
    assert found.levels == count
    assert math.isnan(found.low_m) == (count < field_sheet.LEAST_IN_SEASON)


def test_the_season_reaches_across_the_turn_of_the_year():
    days = [
        dt.date(2020, 12, 20),
        dt.date(2021, 12, 5),
        dt.date(2022, 1, 30),
        dt.date(2023, 2, 10),
        dt.date(2024, 7, 1),
    ]
    found = expected_range(season([50.0] * 5, days), dt.date(2026, 1, 5))
    assert found.levels == 4, "the level of July does not count"


def test_bounds_and_unusable_levels_do_not_count():
    heads = [50.0] * 7
    table = season(heads, bound=["<=", *[""] * 6], usable=[True, False, *[True] * 5])
    assert expected_range(table, dt.date(2026, 5, 20)).levels == 5
