import datetime as dt
import zlib

import pandas as pd
import pytest
from sqlalchemy import select, text

from gwnet.errors import (
    FileRejectedError,
    IngestError,
    OutputError,
    SettingsError,
    UnknownTableError,
    UnreadableFileError,
)
from gwnet.ingest.tables.problems import PROBLEMS
from gwnet.store.fetch.registry import measuring_points
from gwnet.store.models.sources import SourceFile

from .conftest import EVENTS, NOW, TABLES

SOON = NOW + dt.timedelta(seconds=1)
LATER = NOW + dt.timedelta(days=1)


def only(rejections):
    assert len(rejections) == 1, [str(r) for r in rejections]
    return rejections[0]


def test_a_folder_lands_in_order_of_dependence(loader):
    wells = loader.net.wells()
    assert wells["well"].tolist() == ["MW-1", "MW-2"]
    assert loader.net.rounds()["wells"].tolist() == [["MW-1", "MW-2"]]


def test_events_become_levels(loader):
    result = loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,3.476\n")
    assert (result.files[0].added, result.rejections, result.written) == (1, (), True)
    level = loader.net.levels().iloc[0]
    assert level["water_elevation_m"] == pytest.approx(97.225)
    assert level["measured_at"] == "2024-03-12T09:40+01:00"


def test_the_same_file_again_changes_nothing(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    loader.load(path)
    before = loader.counts()
    result = loader.load(path)
    assert "already loaded" in result.files[0].note
    assert not result.written
    assert loader.counts() == before


def test_the_same_rows_in_another_file_are_passed_over(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    result = loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n\n", "level_events_again.csv")
    assert (result.files[0].added, result.files[0].unchanged) == (0, 1)
    assert not result.written


def test_the_same_row_twice_in_one_file_counts_once(loader):
    row = "S,MW-1,2024-03-12,09:40,3.474,\n"
    result = loader.text(EVENTS + row + row)
    assert (result.files[0].added, result.files[0].unchanged) == (1, 1)


def test_original_bytes_are_kept(loader):
    content = (EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n").encode()
    loader.text(content)
    with loader.net.store.reading() as connection:
        row = connection.execute(select(SourceFile.__table__).where(SourceFile.name == "level_events.csv")).one()
    assert zlib.decompress(row.content) == content
    assert row.size_bytes == len(content)
    import hashlib

    assert row.sha256 == hashlib.sha256(content).hexdigest()


def test_every_problem_of_a_file_is_stated_at_once(loader):
    found = loader.rejected(
        EVENTS
        + "S,MW-9,2024-03-12,09:40,3.474,\n"
        + "S,MW-1,2024-03-12,9h40,3.474,\n"
        + "S,MW-1,2024-02-30,09:40,3.4a,\n"
        + "S,MW-2,2024-03-12,10:00,3.474,\n"
    )
    assert [(r.row, r.column, r.problem) for r in found] == [
        (4, "date", "date-impossible"),
        (3, "time", "not-a-time"),
        (4, "depth_to_water", "not-a-number"),
        (2, "well", "well-unknown"),
    ]
    assert "Did you mean MW-1" in found[-1].fix or "MW-2" in found[-1].fix


def test_nothing_of_several_files_lands_when_one_row_is_bad(loader):
    loader.write("thresholds.csv", "site,well,threshold,kind,water_elevation\nS,MW-1,low,lower,95\n")
    loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,x,\n")
    before = loader.counts()
    with pytest.raises(FileRejectedError, match="1 of 2 rows were rejected; nothing was written"):
        loader.load(loader.folder / "thresholds.csv", loader.folder / "level_events.csv")
    assert loader.counts() == before


def test_dry_run_tells_all_and_writes_nothing(loader):
    before = loader.counts()
    result = loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\nS,MW-1,2024-03-13,09:40,x,\n", dry_run=True)
    assert result.dry_run
    assert not result.written
    assert only(result.rejections).problem == "not-a-number"
    assert result.files[0].added == 1
    assert loader.counts() == before


def test_keep_good_lands_the_good_rows_and_hands_back_the_others(loader):
    text_of_file = EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\nS,MW-1,2024-03-13,09:40,x,\nS,MW-7,2024-03-13,09:40,3,\n"
    result = loader.text(text_of_file, "level_events_q1.csv", keep_good=True)
    assert result.written
    assert result.files[0].added == 1
    assert result.files[0].rejected == 2
    (path,) = result.rejected_files
    assert path.name == "level_events_q1.rejected.csv"
    lines = path.read_text().splitlines()
    assert lines[0] == EVENTS.strip() + ",problem"
    assert "not a number" in lines[1]
    assert len(lines) == 3
    fixed = path.read_text().replace("09:40,x,", "09:40,3.5,").replace("MW-7", "MW-2")
    again = loader.text(fixed, "level_events_mended.csv")
    assert again.files[0].added == 2
    assert again.files[0].warnings == ()


def test_keep_good_never_overwrites_earlier_rejected_rows(loader):
    for number in (1, 2):
        loader.text(EVENTS + f"S,MW-1,2024-03-1{number},09:40,x{number},\n", keep_good=True)
    names = sorted(path.name for path in loader.folder.glob("*.rejected*"))
    assert names == ["level_events.rejected-2.csv", "level_events.rejected.csv"]


def test_keep_good_without_a_place_for_the_rest_writes_nothing(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\nS,MW-1,2024-03-13,09:40,x,\n")
    before = loader.counts()
    (loader.folder / "taken").write_text("a file, so no folder of that name can be made")
    with pytest.raises(OutputError, match="Nothing was recorded"):
        loader.net.load([path], by="Ana", now_utc=NOW, keep_good=True, rejected_dir=loader.folder / "taken")
    assert loader.counts() == before


def test_other_values_are_refused_and_both_are_shown(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    found = only(loader.rejected(EVENTS + "S,MW-1,2024-03-12,09:40,3.574,\n"))
    assert found.problem == "already-recorded"
    assert "3.474 on record, 3.574 here" in found.message


def test_a_correction_retires_the_old_row_and_keeps_it(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    result = loader.text(
        EVENTS + "S,MW-1,2024-03-12,09:40,3.574,\n", "level_events_c.csv", correct=True, reason="misread", now=LATER
    )
    assert (result.files[0].corrected, result.files[0].added) == (1, 0)
    assert loader.net.levels()["depth_to_water_m"].tolist() == [3.574]
    assert loader.net.levels(known_on=SOON)["depth_to_water_m"].tolist() == [3.474]


def test_a_correction_without_reason_is_refused(loader):
    with pytest.raises(SettingsError, match="--reason"):
        loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.574,\n", correct=True)


@pytest.mark.slow
def test_correct_and_withdraw_together_are_refused(loader):
    with pytest.raises(SettingsError, match="not both"):
        loader.text(EVENTS, correct=True, withdraw=True, reason="x")


def test_going_back_to_an_earlier_file_by_correction(loader):
    first = loader.write("level_events_a.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    second = loader.write("level_events_b.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.574,\n")
    loader.load(first)
    loader.load(second, correct=True, reason="misread", now=LATER)
    loader.load(first, correct=True, reason="it was right", now=LATER + dt.timedelta(hours=1))
    assert loader.net.levels()["depth_to_water_m"].tolist() == [3.474]


def test_withdrawing_a_mistaken_file(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    loader.load(path)
    result = loader.load(path, withdraw=True, reason="wrong well", now=LATER)
    assert result.files[0].withdrawn == 1
    assert loader.net.levels().empty
    assert len(loader.net.levels(known_on=SOON)) == 1
    again = loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n", "level_events_2.csv", now=LATER)
    assert again.files[0].added == 1


def test_withdrawing_what_is_not_there(loader):
    found = loader.rejected(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n", withdraw=True, reason="x")
    assert only(found).problem == "nothing-to-withdraw"


@pytest.mark.parametrize(
    ("name", "needed_by"),
    [
        ("wells", "level record"),
        ("measuring_points", "level record"),
        ("sites", "well record"),
        ("aquifers", "well record"),
    ],
)
def test_withdrawing_what_others_hang_on_is_refused(loader, name, needed_by):
    for well in ("MW-1", "MW-2"):
        loader.text(EVENTS + f"S,{well},2024-03-12,09:40,3.4,\n", f"level_events_{well}.csv")
    found = loader.rejected(TABLES[name], f"{name}.csv", withdraw=True, reason="x")
    assert {r.problem for r in found} == {"needed-by-others"}
    assert needed_by in found[0].message


def test_withdrawing_a_whole_folder_runs_against_the_order(loader):
    loader.load(loader.folder / "first", withdraw=True, reason="start again", now=LATER)
    assert loader.net.wells().empty
    assert loader.net.sites().empty
    loader.load(loader.folder / "first", correct=True, reason="back again", now=LATER + dt.timedelta(hours=1))
    assert len(loader.net.wells()) == 2


def test_a_survey_corrected_moves_every_level(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.474,\n")
    before = loader.net.levels()["water_elevation_m"][0]
    loader.text(
        TABLES["measuring_points"].replace("100.7", "101.0"),
        "measuring_points.csv",
        correct=True,
        reason="resurveyed",
        now=LATER,
    )
    assert loader.net.levels()["water_elevation_m"][0] == pytest.approx(before + 0.3)
    assert loader.net.levels(known_on=SOON)["water_elevation_m"][0] == before


def test_altering_a_casing_takes_two_rows_and_a_correction(loader):
    heading = TABLES["measuring_points"].splitlines()[0].replace("valid_from,", "valid_from,valid_until,") + "\n"
    only_new = heading + "S,MW-1,2021-06-01,,100.4,0.4,0.005\n"
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    found = only(loader.rejected(only_new, "measuring_points.csv"))
    assert found.problem == "measuring-points-overlap"
    assert "--correct" in found.fix  # a level would move
    both = heading + "S,MW-1,2018-01-01,2021-06-01,100.7,0.7,0.005\nS,MW-1,2021-06-01,,100.4,0.4,0.005\n"
    result = loader.text(both, "measuring_points.csv", correct=True, reason="casing cut", now=LATER)
    assert (result.files[0].corrected, result.files[0].added) == (1, 1)


def test_an_accuracy_may_be_given_as_one_standard_deviation(loader):
    heading = "site,well,date,depth_to_water,accuracy_1sd,accuracy\n"
    found = only(loader.rejected(heading + "S,MW-1,2024-03-12,3.4,0.01,0.02\n"))
    assert found.problem == "one-quantity-wanted"
    loader.text(heading + "S,MW-1,2024-03-12,3.4,0.01,\nS,MW-2,2024-03-12,3.4,,0.02\n")
    loader.text(
        "site,well,valid_from,elevation,accuracy_1sd\nS,MW-1,2018-01-01,100.7,0.01\n",
        "measuring_points.csv",
        correct=True,
        reason="stated by the surveyor",
        now=LATER,
    )
    widths = dict(zip("12", loader.net.levels()["uncertainty_m"], strict=True))
    assert widths["1"] == pytest.approx(1.959964 * 0.01 * 2**0.5, rel=1e-5)
    assert widths["2"] == pytest.approx((0.005**2 + 0.02**2) ** 0.5)
    rows = "site,well,date,accuracy\nS,MW-1,2024-03-12,0.03\n"
    loader.text(rows, "level_events_b.csv", correct=True, reason="other way", now=LATER)
    assert loader.net.levels(["MW-1"])["uncertainty_m"].iloc[0] == pytest.approx(
        (0.0195996**2 + 0.03**2) ** 0.5, rel=1e-5
    )
    again = loader.text("site,well,valid_from,elevation,accuracy_1sd\nS,MW-1,2018-01-01,100.7,0.01\n\n", "points_2.csv")
    assert again.files[0].unchanged == 1


POINTS = "site,well,access,valid_from,valid_until,elevation\n"


def points_of(loader, access):
    """Return the ends of the live measuring points of an access, with their elevations."""
    with loader.net.store.reading() as connection:
        table = measuring_points(connection)
    own = table[table["access"] == access].sort_values("valid_from_utc")
    ends = [None if end is pd.NaT else f"{end:%Y-%m-%d %H:%M}" for end in own["valid_until_utc"]]
    return list(zip(ends, own["elevation_m"], strict=True))


def test_a_later_measuring_point_of_the_file_ends_the_one_before_it(loader):
    rows = "S,MW-1,port,2019-01-01,,100.5\nS,MW-1,port,2021-06-01,,100.2\nS,MW-1,port,2020-01-01,,100.4\n"
    result = loader.text(POINTS + rows, "measuring_points.csv")
    assert points_of(loader, "port") == [("2019-12-31 23:00", 100.5), ("2021-05-31 22:00", 100.4), (None, 100.2)]
    said = [warning for warning in result.files[0].warnings if "ends on" in warning]
    assert said[0].startswith("row 2: the measuring point of MW-1 (port) ends on 2020-01-01")
    again = loader.text(POINTS + rows + "\n", "measuring_points_again.csv")
    assert (again.files[0].unchanged, again.files[0].added) == (3, 0)


def test_a_later_measuring_point_ends_the_one_on_record_when_no_level_moves(loader):
    loader.text(POINTS + "S,MW-1,port,2019-01-01,,100.5\n", "measuring_points.csv")
    result = loader.text(POINTS + "S,MW-1,port,2021-06-01,,100.2\n", "measuring_points_2.csv", now=LATER)
    assert (result.files[0].added, result.files[0].corrected) == (1, 0)
    assert any("on record since 2019-01-01 ends on 2021-06-01" in warning for warning in result.files[0].warnings)
    assert points_of(loader, "port") == [("2021-05-31 22:00", 100.5), (None, 100.2)]
    with loader.net.store.reading() as connection:
        earlier = measuring_points(connection, SOON)
    assert earlier.loc[earlier["access"] == "port", "valid_until_utc"].isna().tolist() == [True]


@pytest.mark.slow
def test_a_point_on_record_is_ended_by_a_correction_when_levels_move(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    new = POINTS + "S,MW-1,main,2021-06-01,,100.4\n"
    loader.text(new, "measuring_points.csv", correct=True, reason="casing cut", now=LATER)
    assert points_of(loader, "main")[0] == ("2021-05-31 22:00", 100.7)
    assert loader.net.levels(["MW-1"])["water_elevation_m"].tolist() == pytest.approx([97.0])


def test_a_depth_below_the_well_as_built_is_recorded_and_found_by_the_checks(loader):
    result = loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,97.2,\nS,MW-1,2024-03-13,09:40,3.4,\n")
    assert any("deeper than the well as built" in warning for warning in result.files[0].warnings)
    level = loader.net.levels(["MW-1"]).iloc[0]
    assert level["depth_to_water_m"] == pytest.approx(97.2)
    assert not level["usable"]
    assert level["unusable_reason"] == "below the bottom of the well"
    findings = loader.net.checks()
    found = findings[findings["rule"] == "elevation in a depth column"]
    assert found["measured_at"].tolist() == ["2024-03-12T09:40+01:00"]
    assert "As an elevation it fits" in found["message"].iloc[0]


def test_a_negative_depth_is_offered_both_readings_and_may_be_accepted(loader):
    rows = EVENTS + "S,MW-1,2024-03-12,09:40,-0.061,\n"
    found = only(loader.rejected(rows))
    assert "above the measuring point, or a slip" in found.message
    assert "Drop" not in found.fix
    with pytest.raises(SettingsError, match="reason"):
        loader.text(rows, accept=["wrong-sign"])
    with pytest.raises(SettingsError, match="not-a-number cannot be accepted"):
        loader.text(rows, accept=["not-a-number"], reason="as written")
    result = loader.text(rows, accept=["wrong-sign"], reason="casing was extended")
    assert result.files[0].added == 1
    assert result.files[0].warnings[-1] == "accepted in spite of wrong-sign: row 2"
    level = loader.net.levels(["MW-1"]).iloc[0]
    assert level["water_elevation_m"] == pytest.approx(100.761)
    assert level["unusable_reason"] == "above the measuring point, not flowing"
    steps = {step.what: step.source for step in loader.net.levels.explain("MW-1", "2024-03-12")[0].steps}
    assert "accepted wrong-sign: casing was extended" in steps["read by"]


def test_a_level_without_a_measuring_point_can_be_kept_until_the_survey_comes(loader):
    rows = EVENTS + "S,MW-1,2017-12-31,09:40,3.4,\n"
    loader.text(rows, accept=["access-without-point"], reason="the survey of that time is looked for")
    assert loader.net.levels(["MW-1"])["depth_to_water_m"].tolist() == [3.4]
    assert loader.net.levels(["MW-1"])["finding"].tolist() == ["no measuring point in force"]


def test_two_measuring_points_of_one_file_may_not_overlap(loader):
    rows = "site,well,access,valid_from,valid_until,elevation\nS,MW-1,port,2019-01-01,2021-01-01,1\nS,MW-1,port,2020-01-01,,2\n"
    found = only(loader.rejected(rows, "measuring_points.csv"))
    assert found.problem == "measuring-points-overlap"
    assert "in row 2" in found.message


@pytest.mark.slow
@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("S,MW-1,2017-12-31,09:40,3.4,", "access-without-point"),
        ("S,MW-1,2024-03-31,02:30,3.4,", "time-does-not-exist"),
        ("S,MW-1,2024-10-27,02:30,3.4,", "time-exists-twice"),
        ("S,MW-1,2027-01-01,09:40,3.4,", "in-the-future"),
        ("S,MW-1,1799-12-31,09:40,3.4,", "before-1800"),
        ("S,MW-1,2024-03-12,09:40,-3.4,", "wrong-sign"),
        ("S,MW-1,2024-03-12,09:40,NaN,", "not-finite"),
        ("S,MW-1,2024-03-12,09:40,inf,", "not-finite"),
        ("S,MW-1,2024-03-12,09:40,1e400,", "not-finite"),
        ("S,MW-1,2024-03-12,09:40,3.4 m,", "not-a-number"),
        ("S,MW-1,2024-03-12,09:40,,", "one-quantity-wanted"),
        ("S,MW-1,2024-03-12,09:40,,3.4", "one-quantity-wanted"),
        ("S,MW-1,,09:40,3.4,", "one-quantity-wanted"),
        ("S,MW-1,12/03/2024,09:40,3.4,", "date-order-unclear"),
        ("S,MW-1,March,09:40,3.4,", "not-a-date"),
        ("S,MW-1,2024-03-12,25:00,3.4,", "not-a-time"),
        (",MW-1,2024-03-12,09:40,3.4,", "required"),
        ("S,,2024-03-12,09:40,3.4,", "required"),
        ("T,MW-1,2024-03-12,09:40,3.4,", "site-unknown"),
        ("S,MW-01,2024-03-12,09:40,3.4,", "well-unknown"),
        ('S,MW-1,2024-03-12,09:40,"3,4",', "other-decimal-mark"),
        ("S,MW-1,2024-03-12,09:40,3,4,5,6", "row-too-long"),
        ("S,MW-1,2024-03-12,09:40,3.4,3.4\x07", "not-a-number"),
    ],
)
def test_bad_cells_of_level_events(loader, row, problem):
    good = "S,MW-2,2024-03-12,10:40,3.40,3.41\n"
    found = only(loader.rejected(EVENTS + row + "\n" + good))
    assert found.problem == problem
    assert found.row == 2
    assert found.fix


@pytest.mark.slow
@pytest.mark.parametrize(
    ("extra", "problem"),
    [
        ("status,depth_to_water|dry,3.4", "number-not-allowed"),
        ("status,depth_to_water|no access,3.4", "number-not-allowed"),
        ("status,depth_to_water|leaking,3.4", "not-a-choice"),
        ("quality,depth_to_water|excellent,3.4", "not-a-choice"),
        ("round,depth_to_water|2024-Q9,3.4", "round-unknown"),
        ("instrument,depth_to_water|T9,3.4", "instrument-unknown"),
        ("access,depth_to_water|port,3.4", "access-without-point"),
        ("water_elevation,depth_to_water|97,3.4", "one-quantity-wanted"),
        ("depth_to_product,depth_to_water|3.6,3.4", "product-below-water"),
        ("product_relative_density,depth_to_water|7.5,3.4", "out-of-range"),
        ("water_elevation|3.4", "depth-in-elevation-column"),
        ("depth_to_water,chosen_reading|3.4,2", "out-of-range"),
        ("depth_to_water,chosen_reading|3.4,1.5", "not-whole"),
        ("depth_to_water_3,depth_to_water|3.4,3.4", "repeats-without-first"),
        ("sounded_depth,depth_to_water|0,3.4", "not-positive"),
    ],
)
def test_bad_combinations_of_level_events(loader, extra, problem):
    heading, cells = extra.split("|")
    found = only(loader.rejected(f"site,well,date,{heading}\nS,MW-1,2024-03-12,{cells}\n"))
    assert found.problem == problem


def test_flowing_may_be_negative(loader):
    loader.text("site,well,date,status,depth_to_water\nS,MW-1,2024-03-12,flowing,-0.4\n")
    assert loader.net.levels()["water_elevation_m"][0] == pytest.approx(101.1)


def test_every_status_without_a_number(loader):
    statuses = [
        "dry",
        "flowing",
        "pumping",
        "obstructed",
        "frozen",
        "no access",
        "not found",
        "destroyed",
        "not measured",
    ]
    rows = "".join(f"S,MW-1,2024-03-{day:02d},{status}\n" for day, status in enumerate(statuses, start=1))
    assert loader.text("site,well,date,status\n" + rows).files[0].added == len(statuses)


def test_time_with_an_offset_settles_the_clock_change(loader):
    rows = (
        "site,well,measured_at,depth_to_water\nS,MW-1,2024-10-27T02:30+02:00,3.4\nS,MW-1,2024-10-27T02:30+01:00,3.5\n"
    )
    loader.text(rows)
    assert loader.net.levels()["measured_at"].tolist() == ["2024-10-27T02:30+02:00", "2024-10-27T02:30+01:00"]


def test_utc_times_are_shown_in_local_time(loader):
    loader.text("site,well,measured_at,depth_to_water\nS,MW-1,2024-07-01T10:00Z,3.4\n")
    assert loader.net.levels()["measured_at"].tolist() == ["2024-07-01T12:00+02:00"]


def test_the_sources_own_number_keeps_two_events_of_one_time_apart(loader):
    rows = "site,well,date,time,event,depth_to_water\nS,MW-1,2024-03-12,09:40,1,3.4\nS,MW-1,2024-03-12,09:40,2,3.5\n"
    assert loader.text(rows).files[0].added == 2
    found = only(loader.rejected(rows.replace(",2,3.5", ",1,3.5"), "level_events_x.csv"))
    assert found.problem in {"duplicate-in-file", "already-recorded"}


def test_units_in_headings(loader):
    loader.text("site,well,date,Depth to water [ft],depth_to_water_2 [cm]\nS,MW-1,2024-03-12,10.00,304.8\n")
    level = loader.net.levels().iloc[0]
    assert level["depth_to_water_m"] == pytest.approx(3.048)
    assert "10.00 ft" in loader.net.levels.explain("MW-1", "2024-03-12")[0].text()


def test_the_unit_of_the_site_holds_without_one(empty):
    empty.text(TABLES["sites"].replace(",m,", ",ft,"), "sites.csv")
    empty.text("site,well,easting,northing,ground_elevation\nS,MW-1,1,2,1000\n", "wells.csv")
    empty.text("site,well,date,depth_below_ground\nS,MW-1,2024-03-12,100\n")
    assert empty.net.levels(unit="ft")["water_elevation_ft"][0] == pytest.approx(900.0)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("depth_to_water [in]", "decimal feet, never inches"),
        ("depth_to_water [fathom]", "Unknown unit of length"),
        ("depth_to_water,depth_to_water", "occurs twice"),
        ("depth_to_water,discharge [m3/h]", "is in L/s"),
        ("depth_to_water,observer [m]", "has no unit"),
    ],
)
def test_bad_headings(loader, heading, words):
    with pytest.raises(IngestError, match=words):
        loader.text(f"site,well,date,{heading}\nS,MW-1,2024-03-12,3.4,3.4\n")


def test_missing_columns_are_listed(loader):
    with pytest.raises(IngestError, match=r"'well' is missing; column measured_at or date is missing"):
        loader.text("site,depth_to_water\nS,3.4\n")


def test_unknown_columns_are_reported_and_passed_over(loader):
    result = loader.text("site,well,date,depth_to_water,observr,weather\nS,MW-1,2024-03-12,3.4,Ana,wet\n")
    assert result.files[0].warnings == (
        "column 'observr' is not known and was passed over; did you mean 'observer'?",
        "column 'weather' is not known and was passed over",
    )


@pytest.mark.parametrize(
    "encoded",
    [
        ("site;well;date;depth_to_water;observer\nS;MW-1;12.03.2024;3,474;Jürgen\n", "utf-8"),
        ("site;well;date;depth_to_water;observer\nS;MW-1;12.03.2024;3,474;Jürgen\n", "latin-1"),
        ("site\twell\tdate\tdepth_to_water\tobserver\nS\tMW-1\t2024-03-12\t3,474\tJürgen\n", "utf-8-sig"),
        ("site,well,date,depth_to_water,observer\r\nS,MW-1,2024-03-12,3.474,Jürgen\r\n", "utf-16"),
        ('site,well,date,depth_to_water,observer\nS,MW-1,2024-03-12,"3,474",Jürgen\n', "utf-8"),
    ],
    ids=["semicolon", "latin-1", "tab with mark", "utf-16", "quoted comma"],
)
def test_separators_decimal_marks_and_encodings(loader, encoded):
    loader.text(encoded[0].encode(encoded[1]))
    level = loader.net.levels().iloc[0]
    assert level["depth_to_water_m"] == 3.474
    assert level["observer"] == "Jürgen"


def test_thousands_marks_are_refused(loader):
    rows = "site,well,easting,northing\nS,MW-5,500.000,5300000.0\nS,MW-6,1'234'567.0,1.0\n"
    assert {r.problem for r in loader.rejected(rows, "wells.csv")} == {"thousands-mark"}


def test_a_comma_in_a_decimal_comma_file_is_never_a_thousands_mark(loader):
    loader.text("site;well;date;depth_to_water\nS;MW-1;2024-03-12;1,234\n")
    assert loader.net.levels()["depth_to_water_m"][0] == 1.234


def test_rows_are_numbered_as_in_the_file(loader):
    rows = 'site,well,date,depth_to_water,notes\n\nS,MW-1,2024-03-12,3.4,"two\nlines"\n\nS,MW-1,2024-03-13,x,\n'
    assert only(loader.rejected(rows)).row == 6


def test_a_table_is_known_by_its_columns(loader):
    result = loader.text("site,well,date,depth_to_water\nS,MW-1,2024-03-12,3.4\n", "dips_in_spring.csv")
    assert result.files[0].table == "level_events"


def test_a_table_that_nothing_tells(loader):
    with pytest.raises(UnknownTableError, match="Neither its name nor its columns"):
        loader.text("a,b\n1,2\n", "things.csv")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b" \n \n", "The file is empty"),
        (b"site,well\x00", "zero bytes"),
        (b"x" * 2_000_000, "2,000,000 bytes"),
        (b'site,well,date,depth_to_water\nS,"MW-1,2024-03-12,3.4\n', "not well-formed"),
        (b"\xef\xbb\xbfsite\xff\xfe,well", "byte-order mark"),
    ],
    ids=["empty", "blank", "binary", "long line", "open quote", "broken mark"],
)
def test_unreadable_files(loader, content, words):
    before = loader.counts()
    with pytest.raises(UnreadableFileError, match=words):
        loader.text(content)
    assert loader.counts() == before


@pytest.mark.slow
def test_a_line_of_100_megabytes(loader):
    with pytest.raises(UnreadableFileError, match="104,857,600 bytes"):
        loader.text(b"7" * (100 << 20))


def test_files_and_folders_that_are_not_there(loader):
    with pytest.raises(UnreadableFileError, match="no such file"):
        loader.load(loader.folder / "nowhere.csv")
    (loader.folder / "hollow").mkdir()
    with pytest.raises(IngestError, match="holds no tables"):
        loader.load(loader.folder / "hollow")
    with pytest.raises(UnreadableFileError, match="not read"):
        loader.text("x", "letter.docx")


def test_other_files_of_a_folder_are_stated(loader):
    folder = loader.folder / "mixed"
    folder.mkdir()
    (folder / "readme.md").write_text("hello")
    for name in ("gwnet.sqlite", "gwnet.sqlite-wal", "gwnet.sqlite-shm"):
        (folder / name).write_bytes(b"a database of its own")
    (folder / "level_events.csv").write_text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    result = loader.load(folder)
    assert {f.file: f.note for f in result.files} == {"readme.md": "not a table, passed over", "level_events.csv": ""}


def test_markup_in_a_wells_name_is_only_a_name(loader):
    name = "<b>MW</b> & $x_1$ =1+1"
    loader.text(f'site,well,easting,northing\nS,"{name}",1,2\n', "wells_more.csv")
    assert name in loader.net.wells()["well"].tolist()


def test_a_well_that_was_rejected_explains_its_events(empty):
    empty.text(TABLES["sites"], "sites.csv")
    folder = empty.folder / "set"
    folder.mkdir()
    (folder / "wells.csv").write_text("site,well,easting,northing\nS,MW-1,x,2\n")
    (folder / "level_events.csv").write_text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    with pytest.raises(FileRejectedError) as caught:
        empty.load(folder)
    assert "Its own row was rejected" in caught.value.rejections[-1].fix


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "rows", "problem"),
    [
        ("sites", "site,crs,vertical_datum,length_unit,time_zone\nX,EPSG:1,d,m,UTC", "crs-unknown"),
        ("sites", "site,crs,vertical_datum,length_unit,time_zone\nX,EPSG:4326,d,m,UTC", "crs-unknown"),
        ("sites", "site,crs,vertical_datum,length_unit,time_zone\nX,EPSG:25832,d,yard,UTC", "unit-unknown"),
        ("sites", "site,crs,vertical_datum,length_unit,time_zone\nX,EPSG:25832,d,m,Mars", "zone-unknown"),
        ("wells", "site,well,easting,northing\nS,MW-5,1,", "no-coordinates"),
        ("wells", "site,well,longitude,latitude\nS,MW-5,10,95", "out-of-range"),
        ("wells", "site,well,easting,northing,aquifer\nS,MW-5,1,2,lower", "aquifer-unknown"),
        ("construction", "site,well,part,top_depth,bottom_depth\nS,MW-1,screen,9,5", "wrong-order"),
        ("construction", "site,well,part,top_depth,bottom_depth,diameter\nS,MW-1,screen,5,9,1.15e8", "out-of-range"),
        ("construction", "site,well,part,top_depth,bottom_depth [ft]\nS,MW-1,screen,6.5,13.5", "wrong-order"),
        ("construction", "site,well,part,top_depth,bottom_depth\nS,MW-1,filter,5,9", "not-a-choice"),
        ("measuring_points", "site,well,valid_from,elevation\nS,MW-2,0001-01-01,1", "before-1800"),
        (
            "measuring_points",
            "site,well,valid_from,valid_until,elevation\nS,MW-2,2017-01-01,2016-01-01,1",
            "after-its-end",
        ),
        ("rounds", "site,round,starts_on,ends_on\nS,r,2024-02-01,2024-01-01", "after-its-end"),
        ("rounds", "site,round,starts_on,wells\nS,r,2024-02-01,MW-1;MW-3", "well-unknown"),
        (
            "tape_checks",
            "instrument,checked_on,tape_reading,reference_reading\nT7,2024-01-01,1,1",
            "instrument-unknown",
        ),
        ("tape_checks", "instrument,checked_on,tape_reading,reference_reading\nT1,2027-01-01,1,1", "in-the-future"),
        (
            "thresholds",
            "site,well,threshold,kind,water_elevation,depth_to_water\nS,MW-1,t,lower,1,1",
            "one-quantity-wanted",
        ),
        ("thresholds", "site,well,threshold,kind,water_elevation\nS,MW-1,t,middle,1", "not-a-choice"),
        ("stages", "site,gauge,date,water_elevation,aquifer\nS,G,2024-01-01,1,lower", "aquifer-unknown"),
        ("context", "site,series,quantity,unit,date,value\nS,r,rainfall,mm,2024-01-01,", "required"),
        (
            "deployments",
            "site,well,instrument,installed_at,removed_at\nS,MW-1,T1,2024-01-02,2024-01-01",
            "after-its-end",
        ),
    ],
)
def test_bad_rows_of_the_registry(loader, name, rows, problem):
    assert only(loader.rejected(rows + "\n", f"{name}_more.csv")).problem == problem


def test_every_other_table_lands(loader):
    more = {
        "tape_checks": "instrument,checked_on,tape_reading,reference_reading\nT1,2024-01-10,10.00,9.99",
        "construction": "site,well,part,top_depth,bottom_depth,diameter [mm]\nS,MW-1,screen,5,9,100",
        "thresholds": "site,well,threshold,kind,depth_to_water,consecutive\nS,MW-1,low,lower,8.5,2",
        "stages": "site,gauge,date,time,water_elevation,easting,northing,aquifer\nS,G,2024-03-12,10:00,96.1,1,2,upper",
        "context": "site,series,quantity,unit,date,value\nS,rain,rainfall,mm,2024-03-01,12.5",
        "deployments": "site,well,instrument,installed_at,hanging_depth\nS,MW-1,T1,2024-01-10,8.0",
    }
    for name, rows in more.items():
        assert loader.text(rows + "\n", f"{name}.csv").files[0].added == 1
        again = loader.text(rows + "\n\n", f"{name}_again.csv")
        assert again.files[0].unchanged == 1


def test_disagreeing_repeats_get_a_verdict_and_choosing_retires_it(loader):
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.400,3.500\n")
    with loader.net.store.reading() as connection:
        query = text("SELECT message FROM verdict WHERE retired_at_utc IS NULL")
        assert connection.execute(query).scalars().all() == ["The repeats differ by 0.100 m; the site allows 0.006 m."]
    assert not loader.net.levels()["usable"][0]
    chosen = EVENTS.strip() + ",chosen_reading\nS,MW-1,2024-03-12,09:40,3.400,3.500,1\n"
    loader.text(chosen, "level_events_c.csv", correct=True, reason="second was misread", now=LATER)
    with loader.net.store.reading() as connection:
        assert connection.execute(query).scalars().all() == []
    assert loader.net.levels()["depth_to_water_m"][0] == 3.4


def test_rejections_name_only_known_problems(loader):
    source = loader.rejected(EVENTS + "S,MW-9,x,y,z,-\n")
    assert {r.problem for r in source} <= set(PROBLEMS)


def test_progress_is_stated(loader):
    told = []
    loader.text(EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n", progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 1)]


def test_a_refused_correction_leaves_what_stood(loader):
    """A corrected measuring point that is refused beside good rows must not take the old one with it."""
    heading = "site,well,valid_from,valid_until,elevation,height_above_ground,accuracy\n"
    both = heading + "S,MW-1,2018-01-01,2021-06-01,100.7,0.7,0.005\nS,MW-1,2021-06-01,,100.4,0.4,0.005\n"
    loader.text(both, "measuring_points_a.csv", correct=True, reason="casing cut", now=LATER)
    loader.text(EVENTS + "S,MW-1,2020-03-12,09:40,3.4,\nS,MW-1,2024-03-12,09:40,3.4,\n")
    before = loader.net.levels()["water_elevation_m"].tolist()
    rows = heading + "S,MW-1,2018-01-01,2022-01-01,100.9,0.7,0.005\nS,MW-2,2018-01-01,,101.3,0.7,0.005\n"
    result = loader.text(
        rows, "measuring_points_b.csv", correct=True, reason="x", keep_good=True, now=LATER + dt.timedelta(hours=1)
    )
    (told,) = (f for f in result.files if f.table)
    assert (told.added, told.corrected, told.rejected) == (0, 1, 1)
    assert loader.net.levels()["water_elevation_m"].tolist() == before


def test_a_withdrawn_event_with_disagreeing_repeats_can_be_loaded_again(loader):
    row = EVENTS + "S,MW-1,2024-03-12,09:40,3.400,3.500\n"
    loader.text(row, "level_events_a.csv")
    loader.text(row, "level_events_a.csv", withdraw=True, reason="wrong sheet", now=LATER)
    loader.text(row + "\n", "level_events_b.csv", now=LATER + dt.timedelta(hours=1))
    assert loader.net.levels()["finding"].tolist() == ["repeats disagree"]
    with loader.net.store.reading() as connection:
        live = text("SELECT count(*) FROM verdict WHERE retired_at_utc IS NULL")
        assert connection.execute(live).scalar_one() == 1


def test_water_above_ground_but_below_the_rim(loader):
    loader.text("site,well,date,depth_below_ground\nS,MW-1,2024-03-12,-0.2\n")
    assert loader.net.levels()["water_elevation_m"][0] == pytest.approx(100.2)
    found = only(loader.rejected("site,well,date,depth_below_ground\nS,MW-1,2024-03-13,-0.9\n", "level_events_b.csv"))
    assert found.problem == "wrong-sign"


def test_product_and_water_are_compared_whatever_their_units(loader):
    rows = "site,well,date,depth_to_water [m],depth_to_product [cm]\nS,MW-1,2024-03-12,5.2,540\n"
    assert only(loader.rejected(rows)).problem == "product-below-water"


def test_a_file_of_which_rows_were_rejected_may_be_loaded_again(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2017-03-12,09:40,3.4,\nS,MW-2,2024-03-12,09:40,3.4,\n")
    assert loader.load(path, keep_good=True).files[0].rejected == 1
    survey = "site,well,valid_from,valid_until,elevation\nS,MW-1,2016-01-01,2018-01-01,100.9\n"
    loader.text(survey, "measuring_points_old.csv")
    result = loader.load(path)
    assert (result.files[0].added, result.files[0].unchanged) == (1, 1)
    assert "already loaded" in loader.load(path).files[0].note


def test_a_withdrawn_file_may_be_loaded_again(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    loader.load(path)
    loader.load(path, withdraw=True, reason="wrong", now=LATER)
    assert loader.load(path, now=LATER + dt.timedelta(hours=1)).files[0].added == 1


def test_a_corrected_file_counts_as_loaded(loader):
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\nS,MW-2,2024-03-12,09:40,3.4,\n")
    loader.load(path)
    changed = EVENTS + "S,MW-1,2024-03-12,09:40,3.5,\n"
    loader.text(changed, "level_events_b.csv", correct=True, reason="misread", now=LATER)
    assert "already loaded" in loader.load(path, now=LATER).files[0].note


@pytest.mark.slow
def test_a_withdrawn_well_takes_no_more_events(loader):
    rows = "site,well,easting,northing\nS,MW-9,1,2\n"
    loader.text(rows, "wells_a.csv")
    loader.text(rows, "wells_a.csv", withdraw=True, reason="never drilled", now=LATER)
    events = "site,well,date,water_elevation\nS,MW-9,2024-03-12,95\n"
    assert only(loader.rejected(events)).problem == "well-unknown"


def test_a_site_with_rounds_is_not_withdrawn(empty):
    empty.text(TABLES["sites"], "sites.csv")
    empty.text("site,round,starts_on\nS,R1,2024-01-01\n", "rounds.csv")
    found = only(empty.rejected(TABLES["sites"], "sites.csv", withdraw=True, reason="x"))
    assert found.problem == "needed-by-others"
    assert "round record" in found.message


def test_a_decimal_comma_in_a_comma_separated_file_is_stated(loader):
    result = loader.text('site,well,easting,northing,ground_elevation\nS,MW-9,1,2,"4,812"\n', "wells_c.csv")
    assert "decimal comma" in result.files[0].warnings[0]
