"""Layouts and kinds of instruments that the record remembers, so that next month's folder loads in one command."""

import pytest

from gwnet.errors import IngestError, LayoutError
from gwnet.ingest.loggers.folders import list_logger_files
from gwnet.ingest.loggers.remembered import name_without_dates, read_known

from .test_logger_load import NOW, Loggers

#: Months apart that two shapes of file were exported, each with its layout.
SECOND = """
[text]
delimiter = ";"
decimal = ","
[table]
heading_pattern = "^When"
[time]
column = "When"
formats = ["%d.%m.%Y %H:%M"]
zone = "UTC+01:00"
[[columns]]
quantity = "water pressure"
column = "Reading"
unit = "kPa"
"""


@pytest.fixture
def on_sqlite(tmp_path):
    made = Loggers(tmp_path / "record.sqlite", tmp_path)
    yield made
    made.net.close()


def second(loggers, name, hours, values):
    rows = "".join(f"01.01.2024 {hour:02d}:00;{value}\n" for hour, value in zip(hours, values, strict=True))
    return loggers.write(name, f"When;Reading\n{rows}")


def test_next_months_folder_of_mixed_shapes_loads_in_one_command(on_sqlite):
    loggers = on_sqlite
    loggers.one(loggers.file("north_2024-01.csv", [1.0, 1.1]), layout=loggers.layout)
    loggers.one(
        second(loggers, "south 2024-01-01.txt", (2, 3), ("2,0", "2,1")),
        layout=loggers.write("second.toml", SECOND),
        instrument="L2",
    )
    folder = loggers.folder / "next"
    folder.mkdir()
    loggers.file("next/north_2024-02.csv", [1.2, 1.3], start=2)
    second(loggers, "next/south 2024-02-01.txt", (4, 5), ("2,2", "2,3"))
    said = []
    result = loggers.net.loggers.load([folder], by="Ana", now_utc=NOW, say=said.append)
    assert [(file.instrument, file.layout, file.error) for file in result.files] == [
        ("L1", "layout", None),
        ("L2", "second", None),
    ]
    assert loggers.samples() == {0: 1.0, 1: 1.1, 2: 1.2, 3: 1.3}
    assert loggers.samples(instrument="L2") == {0: 2.0, 1: 2.1, 2: 2.2, 3: 2.3}
    assert said[0] == "north_2024-02.csv: read with the layout of north_2024-01.csv, loaded for L1 before."
    assert "the file gives no serial number; by its name it is of L2" in result.files[1].notes


def test_of_two_layouts_of_an_instrument_the_one_that_reads_the_file_is_taken(on_sqlite):
    loggers = on_sqlite
    loggers.one(loggers.file("a.csv", [1.0]), layout=loggers.layout)
    first = second(loggers, "b.txt", (4,), ("2,0",))
    loggers.one(first, layout=loggers.write("second.toml", SECOND), instrument="L1")
    again = loggers.file("c.csv", [1.5], start=1)
    assert loggers.one(again, layout="auto").layout == "layout"
    assert loggers.one(second(loggers, "d.txt", (5,), ("2,5",)), layout="auto", instrument="L1").layout == "second"


def test_another_zone_than_that_of_the_remembered_layout_is_looked_at_afresh(on_sqlite):
    loggers = on_sqlite
    loggers.one(loggers.file("a.csv", [1.0]), layout=loggers.layout)
    path = loggers.file("b.csv", [1.1], start=4)
    with pytest.raises(LayoutError, match="leaves doubts"):
        loggers.one(path, layout="auto", zone="UTC+02:00")


def test_a_withdrawn_download_is_not_remembered(on_sqlite):
    loggers = on_sqlite
    loggers.one(loggers.file("a.csv", [1.0]), layout=loggers.layout)
    loggers.net.loggers.withdraw("a.csv", reason="wrong layout", by="Ana")
    with pytest.raises(LayoutError, match="leaves doubts"):
        loggers.one(loggers.file("b.csv", [1.1], start=4), layout="auto")


def test_a_lone_column_that_was_said_to_be_something_else_stays_so(on_sqlite):
    loggers = on_sqlite
    text = "time,level [m]\n2024-01-01 02:00,{0}\n2024-01-01 03:00,{1}\n"
    first = loggers.write("B1 2024-01.csv", text.format("1.0", "1.1"))
    loggers.one(first, layout="auto", instrument="L1", quantity="depth to water", zone="UTC+01:00")
    later = loggers.write("B1 2024-02.csv", text.replace("-01 0", "-02 0").format("1.2", "1.3"))
    [made] = loggers.one(later, layout="auto", instrument="L1").series
    assert (made.quantity, made.counts.added) == ("depth to water", 2)


@pytest.mark.parametrize(
    ("heading", "instrument", "quantity"),
    [
        ("Pressure [kPa]", "L1", "water pressure"),
        ("Abs Pressure [kPa]", "B1", "air pressure"),
        ("Pressure [kPa]", "B1", "air pressure"),
    ],
)
def test_the_kind_of_the_instrument_says_what_its_pressure_is(on_sqlite, heading, instrument, quantity):
    loggers = on_sqlite
    rows = "".join(f"2024-01-{day:02d} 02:00:00Z,{100 + day / 10}\n" for day in range(1, 29))
    path = loggers.write(f"{instrument}.csv", f"time,{heading}\n{rows}")
    made = loggers.one(path, layout="auto", instrument=instrument)
    assert [series.quantity for series in made.series] == [quantity]


def test_the_code_of_an_instrument_in_the_name_of_a_file_says_which_it_is(on_sqlite):
    loggers = on_sqlite
    path = loggers.file("meadow_L2_2024-03.csv", [1.0], serial="")
    assert loggers.one(path).instrument == "L2"
    both = loggers.file("L1_L2.csv", [1.0], serial="")
    with pytest.raises(IngestError, match="gives no serial number"):
        loggers.one(both)
    known = read_known(loggers.net.store)
    assert known.instrument_by_name("meadow_L2_2024-04.csv") == "L2"
    assert known.instrument_of("78", "other.csv") == "L2"
    assert known.instrument_of("99", "meadow_L2_2024-04.csv") == ""
    assert (known.pressure_of("B1"), known.pressure_of("none")) == ("air pressure", "")


@pytest.mark.parametrize(
    ("one", "other", "is_same"),
    [
        ("N-3_2026-04-07.csv", "N-3_2026-05.csv", True),
        ("N-3 (2).csv", "N-3 (3).csv", True),
        ("N-3 07.04.2026.csv", "N-3 04.05.2026.csv", True),
        ("export_202604071015.csv", "export_202605041015.csv", True),
        ("well 12.csv", "well 13.csv", False),
        ("MW-2019.csv", "MW-2020.csv", False),
        ("N-3_2026-04.csv", "N-4_2026-04.csv", False),
        ("CM3W_download_2020-07.csv", "CM4W_download_2020-07.csv", False),
        ("a_2026-04.csv", "a_2026-04.txt", False),
    ],
)
def test_names_are_compared_without_their_dates(one, other, is_same):
    assert (name_without_dates(one) == name_without_dates(other)) is is_same


def test_the_files_of_a_folder_are_those_that_a_logger_can_have_written(tmp_path):
    for name in ("b.csv", "a.txt", ".hidden.csv", "~$a.xlsx", "layout.toml", "c.csv.part"):
        (tmp_path / name).write_text("x")
    (tmp_path / "inside").mkdir()
    (tmp_path / "inside" / "d.csv").write_text("x")
    assert [path.name for path in list_logger_files([tmp_path / "b.csv", tmp_path])] == ["b.csv", "a.txt"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(IngestError, match="holds no file"):
        list_logger_files([tmp_path / "empty"])
