"""Cells of text to typed columns."""

import numpy as np
import pytest

from gwnet.ingest.tables.parse import Moments

from .parsing import parsed_table, problems

CONTEXT = "site,series,quantity,unit,date,value\n"


def value_of(cell, heading=CONTEXT):
    parsed = parsed_table("context", f'{heading}S,rain,rainfall,mm,2024-03-12,"{cell}"\n')
    return parsed.values["value"][0], [problem.problem for problem in parsed.rejections]


@pytest.mark.parametrize(
    ("cell", "value", "problem"),
    [
        ("3.5", 3.5, []),
        ("-.5e1", -5.0, []),
        ("  7 ", 7.0, []),
        ("nan", np.nan, ["not-finite"]),
        ("1e999", np.inf, ["not-finite"]),
        ("1,234.5", np.nan, ["thousands-mark"]),
        ("about 3", np.nan, ["not-a-number"]),
    ],
)
def test_a_number_is_read_or_its_problem_is_named(cell, value, problem):
    got, found = value_of(cell)
    np.testing.assert_equal(got, value)
    assert found == problem


def test_the_decimal_mark_is_that_of_most_cells_and_others_are_rejected():
    rows = [
        "S;rain;rainfall;mm;2024-03-12;3,5",
        "S;rain;rainfall;mm;2024-03-13;4,5",
        "S;rain;rainfall;mm;2024-03-14;4.5",
    ]
    parsed = parsed_table("context", CONTEXT.replace(",", ";") + "\n".join(rows))
    assert parsed.values["value"][:2].tolist() == [3.5, 4.5]
    assert problems(parsed) == [(4, "value", "other-decimal-mark")]
    assert parsed.good.tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("cell", "day", "problem"),
    [
        ("2024-03-12", "2024-03-12", None),
        ("12.03.2024", "2024-03-12", None),
        ("2024-03-12 00:00:00", "2024-03-12", None),
        ("03/12/2024", "NaT", "date-order-unclear"),
        ("2023-02-29", "NaT", "date-impossible"),
        ("spring", "NaT", "not-a-date"),
        ("1799-12-31", "1799-12-31", "before-1800"),
        ("2026-04-07", "2026-04-07", "in-the-future"),
    ],
)
def test_a_day_is_read_or_its_problem_is_named(cell, day, problem):
    parsed = parsed_table("context", f"{CONTEXT}S,rain,rainfall,mm,{cell},1\n")
    np.testing.assert_equal(parsed.values["date"][0], np.datetime64(day, "D"))
    assert problems(parsed) == ([] if problem is None else [(2, "date", problem)])


def test_a_time_keeps_the_offset_that_is_written_with_it():
    head = "site,gauge,measured_at,water_elevation\n"
    stamps = ("2024-03-12T09:40+01:00", "2024-03-12 09:40:30", "2024-03-12", "2024-03-12T9.40")
    parsed = parsed_table("stages", head + "".join(f"S,G1,{stamp},1\n" for stamp in stamps))
    moments = parsed.values["measured_at"]
    assert isinstance(moments, Moments)
    assert moments.offset[0] == 60.0
    assert np.isnan(moments.offset[1:]).all()
    assert str(moments.local[1]) == "2024-03-12T09:40:30.000000"
    assert moments.has_time.tolist() == [True, True, False, False]
    assert problems(parsed) == [(5, "measured_at", "not-a-time")]


def test_a_choice_is_found_however_it_is_written_and_a_near_one_is_suggested():
    head = "site,well,part,top_depth,bottom_depth\n"
    parsed = parsed_table("construction", f"{head}S,A,Open_Hole,1,2\nS,A,scren,1,2\n")
    assert parsed.values["part"].tolist() == ["open hole", None]
    (problem,) = parsed.rejections
    assert (problem.problem, problem.fix) == ("not-a-choice", "Did you mean 'screen'?")


def test_lists_and_limits_are_split_at_semicolons():
    head = "site,crs,vertical_datum,length_unit,time_zone,self_review,check_limits\n"
    parsed = parsed_table("sites", f"{head}S,EPSG:25832,local,m,UTC,YES,spike=0.1; step = 2 ;\n")
    assert parsed.values["check_limits"][0] == ["spike=0.1", "step = 2"]
    assert parsed.values["self_review"][0] == "yes"


def test_empty_required_cells_and_unprintable_text_are_problems_of_their_cells():
    parsed = parsed_table("aquifers", "aquifer,name\n,Upper\nlower,bad\x07name\n")
    assert problems(parsed) == [(2, "aquifer", "required"), (3, "name", "control-character")]
