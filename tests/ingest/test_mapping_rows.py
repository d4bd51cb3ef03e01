"""Rows of tables of ours: levels with their status, measuring points by their changes, repeats, constants."""

import pytest

from gwnet.errors import FileRejectedError, LayoutError, NotFoundError
from gwnet.ingest.mapping import apply, level_rows, point_rows, rows
from gwnet.ingest.mapping.load import find_mapping
from gwnet.ingest.tables.load import MappedFile

from .mapped import EVENTS, applied, columns, events, imported

BOTH = 'date = "Date"\nstatus = { column = "s" }\n'


def test_of_several_ways_to_say_a_level_the_first_filled_counts(tmp_path):
    text = "Well,Date,s,d,e\nA,2020-01-01,,1.5,98.5\nA,2020-01-02,,,98.4\n"
    made = events(tmp_path, text, BOTH + 'depth_to_water = "d"\nwater_elevation = "e"')
    assert made["depth_to_water"] == ["1.5", ""]
    assert made["water_elevation"] == ["", "98.4"]


def test_two_tape_readings_that_contradict_each_other_give_way_and_are_kept_in_a_note(tmp_path):
    text = "Well,Date,s,m,w,e\nA,2020-01-01,,25,1.5,98\nA,2020-01-02,,1.5,25,97\n"
    rules = BOTH + 'tape_at_mark = { column = "m", unit = "ft" }\ntape_at_water = { column = "w", unit = "ft" }\n'
    made = events(tmp_path, text, rules + 'water_elevation = "e"')
    assert made["tape_at_mark [ft]"] == ["25", ""]
    assert made["water_elevation"] == ["", "97"]
    assert made["notes"] == ["", "tape at mark 1.5 ft, tape at water 25 ft as given"]


@pytest.mark.parametrize(
    ("status", "number", "expected"),
    [
        ("", "", ("not measured", "", "", "")),
        ("static", "", ("not measured", "", "", "")),
        ("obstructed", "", ("obstructed", "", "", "")),
        ("pumping", "1.5", ("pumping", "1.5", "", "")),
        ("dry", "12.5", ("dry", "", "12.5", "")),
        ("obstructed", "3", ("obstructed", "", "", "depth to water 3 as given")),
    ],
)
def test_a_status_and_a_number_go_together(tmp_path, status, number, expected):
    text = f"Well,Date,s,d\nA,2020-01-01,{status},{number}\nA,2020-01-02,dry,9\nA,2020-01-03,frozen,1\n"
    made = events(tmp_path, text, BOTH + 'depth_to_water = "d"')
    got = tuple(made[name][0] for name in ("status", "depth_to_water", "sounded_depth", "notes"))
    assert got == expected


POINTS = """
site = "S"
[source.t]
[[table]]
name = "measuring_points"
from = "t"
changes = true
[table.columns]
well = "Well"
valid_from = "Date"
elevation = { column = "rp", unit = "ft" }
height_above_ground = { column = "rp", minus = "gs", unit = "ft" }
"""


def test_measuring_points_begin_where_their_elevation_changes(tmp_path):
    text = (
        "Well,Date,rp,gs\nA,2020-03-01,100.4,99\nA,2020-01-01,100.0,99\nA,2020-02-01,100.00,99\n"
        "B,2020-01-01,50,49\nB,2020-02-01,,\nB,2020-03-01,50,48.5\n"
    )
    result = applied(tmp_path, text, POINTS)
    made = columns(result, "measuring_points")
    assert made["well"] == ["A", "A", "B", "B"]
    assert made["valid_from"] == ["2020-01-01", "2020-03-01", "2020-01-01", "2020-03-01"]
    assert made["valid_until"] == ["2020-03-01", "", "2020-03-01", ""]
    assert made["height_above_ground [ft]"] == ["1", "1.4", "1", "1.5"]
    shown = [(c.well, c.valid_from, c.was, c.elevation, c.readings, c.row) for c in result.tables[0].changes if c.was]
    assert shown == [("A", "2020-03-01", "100.0", "100.4", 1, 2), ("B", "2020-03-01", "50", "50", 1, 7)]


def test_two_elevations_on_one_day_are_parted_by_the_time_of_day(tmp_path):
    text = "Well,Date,rp,gs\nA,2020-01-01T08:00,100,99\nA,2020-01-01T12:00,101,99\n"
    made = columns(applied(tmp_path, text, POINTS), "measuring_points")
    assert made["valid_from"] == ["2020-01-01", "2020-01-01T12:00"]


def test_a_reading_before_the_first_measuring_point_of_its_well_keeps_its_elevation(tmp_path):
    text = "Well,Date,rp,gs,d,e\nA,2020-01-01,,99,2,98\nA,2020-02-01,100,99,2.5,97.5\nB,2020-02-01,,49,3,46\nC,2020-01-01,,,4,\n"
    events_of = EVENTS.format(source="", columns='date = "Date"\ndepth_to_water = "d"\nwater_elevation = "e"')
    mapping = POINTS + events_of[events_of.index("[[table]]") :]
    result = applied(tmp_path, text, mapping)
    made = columns(result)
    assert made["depth_to_water"] == ["", "2.5", "", "4"]
    assert made["water_elevation"] == ["98", "", "46", ""]
    assert "2 rows before any measuring point of their well keep another way of saying the level" in "".join(
        result.tables[-1].remarks
    )


WELLS = """
name = "wells-of-s"
site = "S"
[source.t]
[[table]]
name = "wells"
from = "t"
given = [{ well = "N-2", easting = 500200, northing = 5300000 }]
[table.columns]
well = "Well"
ground_elevation = "g"
easting = "x"
northing = "y"
"""


def test_repeated_wells_are_one_the_last_value_counts_and_given_cells_fill_what_is_empty(tmp_path):
    text = "Well,g,x,y\nN-1,100,500000,5300000\nN-1,100.5,,\nN-2,99,,\n"
    result = applied(tmp_path, text, WELLS)
    made = columns(result, "wells")
    assert made["ground_elevation"] == ["100.5", "99"]
    assert made["easting"] == ["500000", "500200"]
    assert result.tables[0].remarks == [
        "wells: repeated rows differ and the last counts: S N-1: ground_elevation '100', in line 3 '100.5'"
    ]
    assert result.unused == {"t.csv": []}


def test_what_a_lookup_takes_from_another_table(tmp_path):
    text = "Well,Date,d\n1,2020-01-01,1.5\n"
    mapped = EVENTS.format(source="", columns='date = "Date"\ndepth_to_water = "d"').replace(
        'well = "Well"', 'well = { column = "Well", lookup = { from = "t", key = "Well", value = "d" } }'
    )
    assert columns(applied(tmp_path, text, mapped))["well"] == ["1.5"]


LEVELS = EVENTS.format(
    source="",
    columns='date = { column = "Datum", formats = ["%d.%m.%Y"] }\ndepth_to_water = { column = "Abstich", unit = "m" }',
).replace('well = "Well"', 'well = "Messstelle"')


def test_mapped_rows_are_on_record_with_the_cells_line_and_mapping_that_they_came_from(loader):
    text = "Messstelle;Datum;Abstich\nMW-1;12.03.2024;3,474\n"
    mapping = LEVELS.replace("[source.t]", '[source.t]\ndecimal = ","').replace("site =", 'name = "m"\nsite =')
    result = imported(loader.net, loader.folder, mapping, levels=text)
    assert [(file.table, file.added) for file in result.loaded.files] == [("level_events", 1)]
    explained = str(loader.net.levels.explain("MW-1", "2024-03-12"))
    assert "3,474 m" in explained
    assert "levels.csv, row 2" in explained
    listed = loader.net.imports.mappings()
    assert listed[["name", "files"]].to_numpy().tolist() == [["m", 1]]
    assert find_mapping(loader.net.store, "m").text == mapping
    again = imported(loader.net, loader.folder, mapping, levels=text)
    assert "already imported" in again.loaded.files[0].note


def test_a_changed_mapping_of_the_same_name_replaces_the_one_on_record(loader):
    mapping = LEVELS.replace("site =", 'name = "m"\nsite =')
    imported(loader.net, loader.folder, mapping, a="Messstelle,Datum,Abstich\nMW-1,12.03.2024,3.474\n")
    changed = mapping + "# changed\n"
    imported(loader.net, loader.folder, changed, b="Messstelle,Datum,Abstich\nMW-1,13.03.2024,3.5\n")
    assert find_mapping(loader.net.store, "m").text == changed
    assert loader.net.imports.mappings()["files"].tolist() == [1]


def test_a_rejection_names_file_line_column_and_cell_of_the_source_and_nothing_is_written(loader):
    text = "Messstelle;Datum;Abstich\nMW-1;12.03.2024;3,474\n\nMW-9;13.03.2024;3,5 ft\n"
    mapping = LEVELS.replace("[source.t]", '[source.t]\ndecimal = ","')
    before = loader.counts()
    with pytest.raises(FileRejectedError) as caught:
        imported(loader.net, loader.folder, mapping, levels=text)
    assert loader.counts() == before
    found = {(r.file, r.row, r.column, r.value, r.problem) for r in caught.value.rejections}
    assert found == {
        ("levels.csv", 4, "Abstich", "3,5 ft", "not-a-number"),
        ("levels.csv", 4, "Messstelle", "MW-9", "well-unknown"),
    }


def test_an_open_line_of_a_mapping_stops_the_import(loader):
    mapping = LEVELS + "# CHECK: the unit\n"
    with pytest.raises(LayoutError, match="1 line marked CHECK"):
        imported(loader.net, loader.folder, mapping, levels="Messstelle,Datum,Abstich\nMW-1,12.03.2024,3\n")


def test_a_mapping_that_is_nowhere_is_said_to_be(loader):
    with pytest.raises(NotFoundError, match="no mapping 'nowhere'"):
        find_mapping(loader.net.store, "nowhere")


def test_the_modules_are_those_that_are_meant():
    assert {apply.MappedTable, rows.Rows, point_rows.PointChange, MappedFile}
    assert level_rows.settle_levels


def test_a_negative_depth_gives_way_to_the_water_elevation_beside_it(tmp_path):
    text = "Well,Day,Depth,WSE\nA,2024-03-12,-0.20,101.2\nA,2024-03-13,3.1,97.9\nB,2024-03-12,-0.30,\n"
    rules = 'date = "Day"\ndepth_to_water = "Depth"\nwater_elevation = "WSE"'
    made = applied(tmp_path, text, EVENTS.format(source="", columns=rules))
    found = columns(made)
    assert found["depth_to_water"] == ["", "3.1", "-0.30"]
    assert found["water_elevation"] == ["101.2", "", ""]
    assert "1 row with a negative depth keep" in "\n".join(made.tables[0].remarks)


def test_different_events_of_one_time_are_numbered_and_repeated_ones_are_not(tmp_path):
    text = "Well,Day,Depth\nA,2024-03-12,3.1\nA,2024-03-12,3.4\nA,2024-03-12,3.1\nB,2024-03-12,3.1\nA,2024-03-12,3.5\n"
    rules = 'date = "Day"\ndepth_to_water = "Depth"'
    made = applied(tmp_path, text, EVENTS.format(source="", columns=rules))
    assert columns(made)["event"] == ["", "2", "", "", "3"]
    assert "2 rows of a well and time that another row has" in "\n".join(made.tables[0].remarks)
    own = applied(tmp_path, text, EVENTS.format(source="", columns=rules + '\nevent = { value = "7" }'))
    assert set(columns(own)["event"]) == {"7"}


def test_screens_with_one_end_are_passed_over_and_counted(tmp_path):
    mapping = """
site = "S"
[source.t]
[[table]]
name = "construction"
from = "t"
[table.columns]
well = "Well"
part = { value = "screen" }
top_depth = "Top"
bottom_depth = "Bottom"
"""
    made = applied(tmp_path, "Well,Top,Bottom\nA,1,2\nB,,2\nC,,\n", mapping)
    assert columns(made, "construction")["well"] == ["A"]
    assert made.tables[0].remarks == [
        "construction: 2 rows without top_depth and bottom_depth passed over; 1 of them had one of the two"
    ]
