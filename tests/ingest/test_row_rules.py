"""Rules of a single row that need nothing of the record, and the files of rejected rows."""

import csv

import pytest

from gwnet.ingest.tables.rejected import write_rejected
from gwnet.ingest.tables.row_rules import check_rows

from .parsing import parsed_table, problems

EVENT = "site,well,date,status,depth_to_water,depth_to_water_2,depth_to_product,chosen_reading,water_elevation\n"
SITE = "site,crs,vertical_datum,length_unit,time_zone\n"


@pytest.mark.parametrize(
    ("table", "text", "problem"),
    [
        ("sites", f"{SITE}S,EPSG:25832,local,inch,UTC\n", ("length_unit", "unit-unknown")),
        ("sites", f"{SITE}S,EPSG:25832,local,m,Mars/Base\n", ("time_zone", "zone-unknown")),
        ("sites", f"{SITE}S,EPSG:4326,local,m,UTC\n", ("crs", "crs-unknown")),
        ("instruments", "instrument,kind,length_unit\nT1,steel tape,inch\n", ("length_unit", "unit-unknown")),
        ("wells", "site,well,easting,northing\nS,A,1,\n", (None, "no-coordinates")),
        ("rounds", "site,round,starts_on,ends_on\nS,R,2024-03-12,2024-03-11\n", ("ends_on", "after-its-end")),
        (
            "register",
            "site,entry,kind,raised_on,raised_by,text,state\nS,E,promise,2024-01-01,Rea,what,closed\n",
            ("answer", "answer-missing"),
        ),
        ("level_events", f"{EVENT}S,A,2024-03-12,static,,,,,\n", (None, "one-quantity-wanted")),
        ("level_events", f"{EVENT}S,A,2024-03-12,dry,3,,,,\n", (None, "number-not-allowed")),
        ("level_events", f"{EVENT}S,A,2024-03-12,static,3,,,2,\n", ("chosen_reading", "out-of-range")),
        ("level_events", f"{EVENT}S,A,2024-03-12,static,-3,,,,\n", ("depth_to_water", "wrong-sign")),
        ("level_events", f"{EVENT}S,A,2024-03-12,static,,3,,,9\n", ("depth_to_water_2", "repeats-without-first")),
        ("level_events", f"{EVENT}S,A,2024-03-12,static,,,2,,9\n", ("depth_to_product", "one-quantity-wanted")),
    ],
)
def test_a_row_that_contradicts_itself_is_rejected(table, text, problem):
    parsed = parsed_table(table, text)
    assert problems(parsed) == []
    check_rows(parsed)
    assert problems(parsed) == [(2, *problem)]
    assert parsed.good.tolist() == [False]


def test_a_row_of_a_round_that_was_not_filled_in_is_passed_over():
    head = "site,well,date,round,status,depth_to_water\n"
    parsed = parsed_table("level_events", f"{head}S,A,2027-03-12,R,,\nS,B,2024-03-12,R,,3\n")
    assert problems(parsed) == [(2, "date", "in-the-future")]
    check_rows(parsed)
    assert parsed.rejections == []
    assert parsed.good.tolist() == [False, True]
    assert parsed.values["status"].tolist() == [None, "static"]
    assert parsed.raw.warnings == ["1 row was not filled in (no reading and no status) and passed over: A"]


def test_rejected_rows_are_written_with_their_problem_and_no_file_is_overwritten(tmp_path):
    parsed = parsed_table("wells", "site;well;easting;northing\nS;A;1;2\nS;B;1;\n")
    check_rows(parsed)
    first, second = (write_rejected([(parsed, None)], tmp_path)[0] for _ in range(2))
    assert (first.name, second.name) == ("wells.rejected.csv", "wells.rejected-2.csv")
    with first.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, delimiter=";"))
    assert rows[0] == ["site", "well", "easting", "northing", "problem"]
    assert rows[1][:4] == ["S", "B", "1", ""]
    assert rows[1][4].startswith("The well has no coordinates.")
