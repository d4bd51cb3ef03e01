"""Files cut short, and numbers that no place on earth has: refused with a sentence, never read as something else."""

import warnings

import pytest

from gwnet.ingest.tables.last_line import check_last_line

from .conftest import TABLES
from .parsing import parsed_table, problems

HEADING = "site,well,date,time,status,depth_to_water\n"
ROWS = f"{HEADING}S,MW-1,2024-03-12,09:40,static,13.449\nS,MW-2,2024-03-12,10:15,static,13.551"


def depths(loader):
    return loader.net.levels()["depth_to_water_m"].tolist()


@pytest.mark.slow
def test_a_table_cut_anywhere_in_its_last_row_is_refused_or_loads_what_it_says(loader):
    for end in range(ROWS.index("\nS,MW-2") + 2, len(ROWS) + 1):
        found = {r.problem for r in loader.rejected(ROWS[:end])}
        complete = ROWS[:end].count(",") == ROWS.count(",")
        expected = {"line-not-ended", "one-quantity-wanted"} if complete else {"row-too-short"}
        assert expected & found, ROWS[:end]
    assert loader.text(f"{ROWS}\n").files[0].added == 2
    assert depths(loader) == [13.449, 13.551]


def test_a_cut_row_says_that_the_file_ends_there(loader):
    (found,) = loader.rejected(ROWS[: ROWS.rindex(",")])
    assert (found.row, found.column, found.value) == (3, None, "static")
    assert found.message == "The row has 5 cells, the heading 6; nothing stands under 'depth_to_water'."
    assert found.fix == "The file ends in this row: copy or download it again."


def test_a_short_row_in_the_middle_is_told_once(loader):
    text = f"{HEADING}S,MW-1\nS,MW-2,2024-03-12,10:15,static,13.551\n"
    (found,) = loader.rejected(text)
    assert (found.row, found.problem) == (2, "row-too-short")
    assert "leave its delimiter" in found.fix


def test_a_last_line_without_its_end_is_taken_once_it_is_said_to_be_complete(loader):
    (found,) = loader.rejected(ROWS)
    assert (found.row, found.column, found.value) == (3, "depth_to_water", "13.551")
    assert "may have been longer" in found.message
    assert "--last-line-complete" in found.fix
    (done,) = loader.text(ROWS, last_line_complete=True).files
    assert done.added == 2
    assert done.warnings == ("row 3, the last line, has no line end; it was taken as complete",)


def test_who_is_asked_decides_and_is_told_what_is_read(loader):
    asked = []

    def answer(rejection):
        asked.append((rejection.row, rejection.value))
        return len(asked) > 1

    loader.rejected(ROWS, last_line_complete=answer)
    loader.text(ROWS, last_line_complete=answer)
    assert asked == [(3, "13.551")] * 2
    assert depths(loader) == [13.449, 13.551]


def test_a_text_at_the_end_is_only_told(loader):
    text = "site,well,date,depth_to_water,notes\nS,MW-1,2024-03-12,13.449,after rain"
    (done,) = loader.text(text).files
    assert done.warnings == ("row 2, the last line, has no line end; nothing shows that something is missing",)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("last", "cell", "risky"),
    [
        ("instrument", "T1", True),
        ("time", "10:15", True),
        ("sounded_depth", "", True),
        ("status", "", True),
        ("status", "static", False),
        ("quality", "good", False),
        ("unknown_heading", "7", False),
    ],
)
def test_what_a_cut_could_make_another_value_of_is_asked_for(loader, last, cell, risky):
    text = f"site,well,date,depth_to_water,{last}\nS,MW-1,2024-03-12,3.5,{cell}"
    if risky:
        assert [r.problem for r in loader.rejected(text)] == ["line-not-ended"]
    else:
        assert loader.text(text).written


def test_the_good_rows_of_a_cut_file_can_be_kept_and_the_last_one_loaded_when_it_is_known(loader):
    result = loader.text(ROWS, keep_good=True)
    assert (result.files[0].added, result.files[0].rejected) == (1, 1)
    (path,) = result.rejected_files
    assert path.read_bytes().endswith(b"\n")
    loader.load(path)
    assert depths(loader) == [13.449, 13.551]


@pytest.mark.parametrize("cell", ["١٣.٥", "１３.５", "3٫5"])
def test_digits_of_other_scripts_are_refused_with_a_sentence(loader, cell):
    (found,) = loader.rejected(f"{HEADING}S,MW-1,2024-03-12,,static,{cell}\n")
    assert (found.problem, found.column, found.value) == (
        "not-a-number" if "٫" in cell else "other-digits",
        "depth_to_water",
        cell,
    )


@pytest.mark.parametrize(("date", "time"), [("٢٠٢٤-٠٣-١٢", "10:15"), ("2024-03-12", "１０:１５")])
def test_dates_and_times_of_other_digits_are_refused(loader, date, time):
    (found,) = loader.rejected(f"{HEADING}S,MW-1,{date},{time},static,3.5\n")
    assert found.problem in {"not-a-date", "not-a-time"}


@pytest.mark.parametrize("cell", ["1E99", "1e308", "-5000", "14000", "1e300"])
def test_a_depth_that_nothing_has_is_refused(loader, cell):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = loader.rejected(f"{HEADING}S,MW-1,2024-03-12,,flowing,{cell}\n")
    assert [(r.problem, r.column) for r in found] == [("out-of-range", "depth_to_water")]
    assert found[0].message.endswith("m lies outside -1000 to 13000 m.")


@pytest.mark.slow
@pytest.mark.parametrize("cell", ["inf", "-inf", "nan", "1e999", "Infinity"])
def test_what_is_no_finite_number_is_refused(loader, cell):
    found = loader.rejected(f"{HEADING}S,MW-1,2024-03-12,,static,{cell}\n")
    assert "not-finite" in {r.problem for r in found}


def test_ranges_of_lengths_hold_in_metres_whatever_the_unit(loader):
    heading = "site,well,valid_from,elevation [mm],height_above_ground [cm]\n"
    (found,) = loader.rejected(f"{heading}S,MW-1,2017-01-01,2e7,150\n", "measuring_points.csv")
    assert (found.problem, found.column) == ("out-of-range", "elevation [mm]")
    assert found.message == "20000000 mm lies outside -1.2e+07 to 1.3e+07 mm."
    heading = "site,well,valid_from,valid_until,elevation,height_above_ground [cm]\n"
    assert loader.text(f"{heading}S,MW-1,2017-01-01,2018-01-01,100.7,150\n", "measuring_points.csv").written


@pytest.mark.parametrize(
    ("table", "text", "column"),
    [
        ("wells", "site,well,easting,northing\nS,N,1e99,5300000\n", "easting"),
        ("wells", "site,well,easting,northing,total_depth\nS,N,500000,5300000,1e6\n", "total_depth"),
        ("context", "site,series,quantity,unit,date,value\nS,r,rainfall,mm,2024-03-12,1E99\n", "value"),
        (
            "tape_checks",
            "instrument,checked_on,tape_reading,reference_reading\nT1,2024-03-12,1e5,1e5\n",
            "tape_reading",
        ),
    ],
)
def test_every_column_of_numbers_has_its_limits(loader, table, text, column):
    found = loader.rejected(text, f"{table}.csv")
    assert (found[0].problem, found[0].column) == ("out-of-range", column)


@pytest.mark.parametrize("limit", ["nan", "inf", "1_000", "١", "1e999"])
def test_limits_of_checks_are_plain_numbers(loader, limit):
    text = TABLES["sites"].replace("time_zone\n", "time_zone,check_limits\n").replace("S,", "T,")
    text = text.replace("Vienna\n", f"Vienna,usual={limit}\n")
    assert [r.problem for r in loader.rejected(text, "sites.csv")] == ["not-a-number"]


def test_an_extra_cell_is_named_with_the_last_heading():
    parsed = parsed_table("aquifers", "aquifer,name\nupper,Upper, gravel,x\n")
    assert problems(parsed) == [(2, None, "row-too-long")]
    assert parsed.rejections[0].message == (
        "The row has 4 cells, the heading 2; beyond the last, 'name', is 'gravel', 'x'."
    )


@pytest.mark.parametrize(("answer", "found"), [(True, []), (False, [(2, "confinement", "line-not-ended")])])
def test_an_empty_last_choice_may_have_been_filled(answer, found):
    parsed = parsed_table("aquifers", "aquifer,confinement\nupper,")
    check_last_line(parsed, answer)
    assert problems(parsed) == found
    assert parsed.good.tolist() == [answer]
    assert len(parsed.raw.warnings) == answer
