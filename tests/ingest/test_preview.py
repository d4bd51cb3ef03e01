"""A dry run of a correction shows what would change and which levels would move, and changes nothing."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gwnet.ingest.tables.preview import RowChange
from gwnet.records import Selection

from .conftest import EVENTS, NOW, TABLES, Loader

LATER = NOW + dt.timedelta(days=1)
LAST = NOW + dt.timedelta(days=2)
CORRECT = {"correct": True, "reason": "checked again", "now": LATER}
LEVELS = (
    "site,well,round,date,time,depth_to_water,instrument,observer\n"
    "S,MW-1,2024-Q1,2024-03-12,09:40,3.5,T1,Rea\n"
    "S,MW-2,2024-Q1,2024-03-12,10:40,4.5,T1,Rea\n"
    "S,MW-1,,2024-06-12,09:40,3.6,,Rea\n"
)
POINTS = TABLES["measuring_points"]


@pytest.fixture
def stored(store_url, tmp_path):
    """Give a loader whose record holds two wells and three levels, on either database."""
    folder = tmp_path / "tables"
    (folder / "first").mkdir(parents=True)
    made = Loader(store_url, folder)
    for name, text in {**TABLES, "level_events": LEVELS}.items():
        (folder / "first" / f"{name}.csv").write_text(text)
    made.load(folder / "first")
    yield made
    made.net.close()


def changes(result):
    return [change for done in result.files for change in done.changes]


def dry(loader, text, name, **options):
    """Preview a load; nothing may have been written."""
    before = loader.counts()
    result = loader.text(text, name, dry_run=True, **options)
    assert loader.counts() == before
    assert (result.dry_run, result.written) == (True, False)
    return result


@pytest.mark.slow
def test_a_survey_shows_its_values_and_the_levels_that_it_would_move(stored):
    text = POINTS.replace("100.7,0.7", "100.58,0.58")
    result = dry(stored, text, "measuring_points.csv", **CORRECT)
    assert changes(result) == [
        RowChange("measuring_points", "measuring_points.csv", 2, "S MW-1 2018-01-01", column, was, now)
        for column, was, now in (
            ("elevation [m]", "100.7", "100.58"),
            ("height above ground [m]", "0.7", "0.58"),
        )
    ]
    assert result.moved["well"].tolist() == ["MW-1", "MW-1"]
    assert result.moved["difference_m"].tolist() == pytest.approx([-0.12, -0.12])
    assert set(result.moved["cause"]) == {"survey"}


def test_the_preview_tells_what_then_happens(stored):
    text = POINTS.replace("100.7,0.7", "100.58,0.58")
    before = stored.net.levels().set_index("event_id")["water_elevation_m"]
    told = dry(stored, text, "measuring_points.csv", **CORRECT).moved.set_index("event_id")
    done = stored.text(text, "measuring_points.csv", **CORRECT)
    assert changes(done)
    after = stored.net.levels().set_index("event_id")["water_elevation_m"]
    moved = (after - before)[(after - before).abs() > 1e-9]
    assert moved.index.tolist() == told.index.tolist()
    assert told["water_elevation_before_m"].to_dict() == pytest.approx(before[told.index].to_dict())
    assert told["water_elevation_after_m"].to_dict() == pytest.approx(after[told.index].to_dict())
    effects = stored.net.levels.effects().set_index("event_id")
    assert effects["difference_m"].to_dict() == pytest.approx(told["difference_m"].to_dict())
    assert set(effects["reason"]) == {"checked again (Ana, 2026-04-07)"}


def test_a_new_tape_check_moves_levels_without_any_correction(stored):
    text = "instrument,checked_on,tape_reading,reference_reading\nT1,2024-03-01,3.0,3.004\nT1,2024-03-01,9.0,9.012\n"
    result = dry(stored, text, "tape_checks.csv", now=LATER)
    assert changes(result) == []
    assert result.moved["well"].tolist() == ["MW-1", "MW-2"]
    assert (result.moved["by_tape_m"] < -0.004).all()
    assert set(result.moved["cause"]) == {"tape check"}


def test_a_reading_and_codes_are_shown_as_people_write_them(stored):
    text = LEVELS.replace("3.5,T1,Rea", "3.45,,Rea").replace("MW-1,,2024-06-12", "MW-1,2024-Q1,2024-06-12")
    result = dry(stored, text, "level_events.csv", **CORRECT)
    assert [(c.row, c.key, c.column, c.was, c.now) for c in changes(result)] == [
        (2, "S MW-1 2024-03-12 09:40", "instrument", "T1", "nothing"),
        (2, "S MW-1 2024-03-12 09:40", "depth to water", "3.5", "3.45"),
        (4, "S MW-1 2024-06-12 09:40", "round", "nothing", "2024-Q1"),
    ]
    assert result.moved["difference_m"].tolist() == pytest.approx([0.05])


def test_a_withdrawal_shows_its_rows(stored):
    text = LEVELS.splitlines(keepends=True)[0] + LEVELS.splitlines(keepends=True)[1]
    result = dry(stored, text, "level_events.csv", withdraw=True, reason="another well", now=LATER)
    assert changes(result) == [
        RowChange("level_events", "level_events.csv", 2, "S MW-1 2024-03-12 09:40", "whole row", "on record", "")
    ]
    assert result.moved[["status_before", "status_after", "cause"]].to_numpy().tolist() == [
        ["static", "withdrawn", "withdrawn"]
    ]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "old", "new", "column"),
    [
        ("sites", "local,m", "older,m", "vertical datum"),
        ("aquifers", "unconfined", "confined", "confinement"),
        ("wells", "500000", "500001", "easting"),
        ("wells", "upper,100.0", ",100.0", "aquifer"),
        ("instruments", "0.11", "0.12", "length below sensing point [m]"),
        ("rounds", "2024-03-13", "2024-03-14", "ends on"),
        ("measuring_points", "0.005\nS", "0.015\nS", "accuracy [m]"),
    ],
)
def test_every_table_shows_what_a_correction_changes(stored, name, old, new, column):
    result = dry(stored, TABLES[name].replace(old, new, 1), f"{name}.csv", **CORRECT)
    assert [change.column for change in changes(result)] == [column]


def test_a_plain_load_of_levels_is_not_compared(stored):
    result = dry(stored, EVENTS + "S,MW-1,2024-09-12,09:40,3.5,3.5\n", "level_events.csv", now=LATER)
    assert result.moved is None


def test_a_refused_row_shows_codes_and_not_numbers(stored):
    [found] = stored.rejected(TABLES["wells"].replace("upper,100.0", ",100.0"), "wells.csv", now=LATER)
    assert "aquifer: upper on record, nothing here" in found.message


def test_an_approved_level_is_neither_corrected_nor_withdrawn_until_it_is_reopened(stored):
    march = Selection(start=dt.date(2024, 3, 12), end=dt.date(2024, 3, 12))
    stored.net.review.approve(march, by="Vera", now_utc=LATER)
    text = LEVELS.replace("3.5,T1", "3.45,T1").replace(",3.6,", ",3.65,")
    [found] = stored.rejected(text, correct=True, reason="misread", now=LATER)
    assert (found.row, found.problem) == (2, "level-approved")
    assert "reopen" in found.fix
    withdrawn = stored.rejected(LEVELS, withdraw=True, reason="wrong well", now=LATER)
    assert [found.row for found in withdrawn] == [2, 3]
    unchanged = stored.text(LEVELS, correct=True, reason="again", now=LATER)
    assert not unchanged.written, "the same values are no correction"
    stored.net.review.reopen(march, by="Vera", reason="misread", now_utc=LAST)
    stored.text(text, correct=True, reason="misread", now=LAST)
    levels = stored.net.levels().set_index("measured_at")
    assert levels.loc["2024-03-12T09:40+01:00", ["depth_to_water_m", "review"]].tolist() == [3.45, "provisional"]
    assert stored.net.levels(known_on=LATER)["review"].tolist() == ["approved", "provisional", "approved"]


def test_a_survey_still_moves_an_approved_level_and_says_so(stored):
    stored.net.review.approve(Selection(round="2024-Q1"), by="Vera", now_utc=LATER)
    result = dry(stored, POINTS.replace("100.7,0.7", "100.58,0.58"), "measuring_points.csv", **CORRECT)
    assert result.moved["review"].tolist() == ["approved", "provisional"]


elevations = st.integers(90_000, 110_000).map(lambda n: n / 1000)


@pytest.mark.slow
@settings(deadline=None, max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(elevation=elevations, depth=st.integers(0, 15_000).map(lambda n: n / 1000))
def test_a_preview_is_what_the_load_does(loader, elevation, depth):
    """For any survey and reading: the levels that a preview moves are those that move, by the same amounts."""
    events = EVENTS + f"S,MW-1,2024-03-12,09:40,{depth:.3f},\n"
    points = POINTS.replace("100.7,0.7", f"{elevation:.3f},{elevation - 100:.3f}")
    files = [loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,1.0,\n")]
    loader.load(*files, correct=True, reason="start")
    loader.load(loader.write("measuring_points.csv", POINTS), correct=True, reason="start")
    before = loader.net.levels()["water_elevation_m"].tolist()
    both = [loader.write("measuring_points.csv", points), loader.write("level_events.csv", events)]
    told = loader.load(*both, correct=True, reason="x", dry_run=True)
    assert loader.net.levels()["water_elevation_m"].tolist() == before
    loader.load(*both, correct=True, reason="x")
    after = loader.net.levels()["water_elevation_m"].tolist()
    if abs(after[0] - before[0]) < 1e-7:
        assert told.moved.empty
    else:
        assert told.moved["water_elevation_after_m"].tolist() == pytest.approx(after)
        assert told.moved["difference_m"].tolist() == pytest.approx([after[0] - before[0]])
