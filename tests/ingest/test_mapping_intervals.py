"""Several depth intervals in one cell of a source table."""

import pytest

from gwnet.errors import FileRejectedError, LayoutError
from gwnet.ingest.mapping import intervals
from gwnet.ingest.mapping.intervals import read_intervals
from gwnet.ingest.mapping.mapping import parse_mapping

from .mapped import Known, columns, imported, proposed

READINGS = "Well,Day,Depth below ground [ft]\nA,2024-03-12,3.1\nB,2024-03-12,3.2\nC,2024-03-12,3.2\n"
WELLS = (
    "Well,Easting,Northing,Ground elevation [ft],Screened interval\n"
    'A,1,2,99,"20-30; 45-60"\nB,1,3,98,20 to 30.5 ft and 45 to 60 ft\nC,1,4,97,none\n'
)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("20-30; 45-60", [("20", "30"), ("45", "60")]),
        ("20 to 30, 45 to 60", [("20", "30"), ("45", "60")]),
        ("20-30,45-60", [("20", "30"), ("45", "60")]),
        ("20.5–30.2 / 40—50", [("20.5", "30.2"), ("40", "50")]),
        ("(20 to 30) (45 to 60)", [("20", "30"), ("45", "60")]),
        ("Screen: 20'-30', perforated 35'-40'", [("20 ft", "30 ft"), ("35 ft", "40 ft")]),
        ("6.1 m - 9.1 m", [("6.1 m", "9.1 m")]),
        ("20 bis 30 m unter", None),
        ("20-30; 45", None),
        ("20-30-40", None),
        ("2019-10-01", None),
        ("casing 0-20; screen 20-30", None),
        ("20 ft to 30 ft and 5 m - 6 m", None),
        ("20,5-30,2", None),
        ("", None),
    ],
)
def test_intervals_of_a_cell(cell, expected):
    assert read_intervals(cell) == expected


def test_decimal_commas():
    assert read_intervals("20,5-30,2; 45-60", ",") == [("20,5", "30,2"), ("45", "60")]


def test_each_interval_of_a_cell_is_proposed_as_a_screen(tmp_path):
    made = proposed(tmp_path, Known("S", "UTC", "EPSG:25832", "local", "ft"), levels=READINGS, wells=WELLS)
    assert 'intervals = "Screened interval"' in made.text
    assert 'top_depth = { column = "interval top", unit = "ft" }' in made.text
    assert not made.doubts


def test_screens_come_in_and_what_is_no_interval_is_passed_over_with_a_remark(empty):
    made = proposed(empty.folder, Known("S", "UTC", "EPSG:25832", "local", "ft"), levels=READINGS, wells=WELLS)
    result = imported(empty.net, empty.folder, made.text, levels=READINGS, wells=WELLS)
    built = columns(result.applied, "construction")
    assert built["well"] == ["A", "A", "B", "B"]
    assert built["top_depth [ft]"] == ["20", "45", "20", "45"]
    assert built["bottom_depth [ft]"] == ["30", "60", "30.5", "60"]
    [remark] = [remark for table in result.applied.tables for remark in table.remarks if "interval" in remark]
    assert "'none' (1)" in remark
    assert "Screened interval" not in result.applied.unused["wells.csv"]


def test_a_cell_that_cannot_be_read_is_rejected_with_its_place(empty):
    known = Known("S", "UTC", "EPSG:25832", "local", "ft")
    made = proposed(empty.folder, known, levels=READINGS, wells=WELLS)
    with pytest.raises(FileRejectedError) as caught:
        imported(
            empty.net, empty.folder, made.text, levels=READINGS, wells=WELLS.replace("C,1,4,97,none", "C,1,4,97,20-TD")
        )
    [found] = caught.value.rejections
    assert (found.file, found.row, found.column, found.value) == ("wells.csv", 4, "Screened interval", "20-TD")
    assert found.problem == "interval-unclear"


def test_intervals_need_a_source():
    with pytest.raises(LayoutError, match="need a source"):
        parse_mapping('[[table]]\nname = "construction"\nintervals = "x"\n', "test")


def test_the_module_is_the_one_that_is_meant():
    assert intervals.spread_intervals
