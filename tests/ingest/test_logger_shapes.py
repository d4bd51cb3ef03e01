"""Shapes of logger files for which a layout is proposed: preambles, notes, late columns, sheets, and what is doubted."""

import datetime as dt
import gc
import re

import numpy as np
import openpyxl
import pytest

from gwnet.errors import FileRejectedError, LayoutError, PartialLayoutError, UnreadableFileError
from gwnet.ingest.loggers import sheets
from gwnet.ingest.loggers.guess import propose_layout
from gwnet.ingest.loggers.guess_preamble import START_PATTERN
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.rows import open_logger_file
from gwnet.ingest.loggers.sheets import sheet_text
from gwnet.ingest.loggers.trial import try_file
from gwnet.ingest.loggers.words import QUANTITIES, unit_of, units_of

START = dt.datetime(2026, 5, 1, 6, tzinfo=dt.UTC)


def lines(form, count=60, **values):
    """Return rows every 15 minutes: t the time, n the number, v a value from 1.00 up."""
    return [
        form.format(t=START + dt.timedelta(minutes=15 * n), n=n, v=1 + n / 100, e=900 * n, **values)
        for n in range(count)
    ]


def proposed(path, content, **options):
    path.write_text("\n".join(content) + "\n", encoding="utf-8")
    return propose_layout(path, **{"zone": "UTC", **options})


def read(path, layout):
    """Return times and values of a file by a layout that went through its text."""
    file = open_logger_file(path, parse_layout(layout.toml(), name=layout.name))
    chunks = list(file.chunks())
    file.require_good()
    return (
        file,
        np.concatenate([c.time_ms for c in chunks]),
        np.column_stack([np.concatenate([c.values[n] for c in chunks]) for n in range(len(file.columns))]),
    )


# --- long preambles ------------------------------------------------------------------------------------------------

PREAMBLE = [
    "Field recorder",
    "Serial number:",
    "LB-0042",
    "Project: north field",
    *(f"Calibration point {n}: {n * 10}" for n in range(40)),
    "COLUMN",
    "UNIT: cm",
    "Offset: 0.000000",
    "TEMPERATURE",
    "UNIT: °C",
    "",
]


def test_units_that_stand_above_the_table_under_the_names_of_the_columns_are_read(path):
    made = proposed(
        path, [*PREAMBLE, "Date,Time,ms,COLUMN,TEMPERATURE", *lines("{t:%Y/%m/%d},{t:%H:%M:%S},0,{v:.2f},11.2")]
    )
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [("water temperature", "degC")]
    made = proposed(
        path,
        [*PREAMBLE, "Date,Time,ms,WATER COLUMN,TEMPERATURE", *lines("{t:%Y/%m/%d},{t:%H:%M:%S},0,{v:.2f},11.2")],
    )
    assert made.doubts == ()
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [
        ("water column", "cm"),
        ("water temperature", "degC"),
    ]
    file, times, values = read(path, made.layout)
    assert file.serial == "LB-0042"
    assert (times.size, values[0].tolist()) == (60, [1.0, 11.2])


@pytest.mark.parametrize(
    "above",
    [
        ["Temperature: °C"],
        ["Temperature unit: °C"],
        ["UNIT: °C"],
        ["Unit;°C", "Interval;15 min"],
        ["Interval unit: min", "TEMPERATURE", "Units = °C"],
    ],
)
def test_a_unit_above_the_table_is_found_by_name_or_as_the_only_one_that_fits(path, above):
    made = proposed(path, [*above, "", "time,Temperature", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")])
    assert made.doubts == ()
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [("water temperature", "degC")]


def test_of_two_units_that_fit_none_is_taken(path):
    made = proposed(path, ["UNIT: °C", "UNIT: °F", "", "time,Temperature", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")])
    assert "its unit is not said" in made.doubts[0]


# --- notes right of the headings -----------------------------------------------------------------------------------


def test_words_right_of_the_headings_are_notes(path):
    table = lines("{t:%Y-%m-%d %H:%M},{v:.2f}")
    table[4] += ",pump on"
    table[9] = f"{START + dt.timedelta(minutes=135):%Y-%m-%d %H:%M},,taken out, cable wet"
    made = proposed(path, ["time,water column [m]", *table])
    assert made.doubts == ()
    assert "2 rows have words right of the headings, such as 'pump on': they are notes" in made.reasons
    file, times, _ = read(path, made.layout)
    assert times.size == 59
    assert [(odd.row, odd.kind, odd.why) for odd in file.odd()] == [
        (6, "remark", "pump on"),
        (11, "event", "taken out; cable wet"),
    ]


@pytest.mark.parametrize("extra", [",3.25", ",7", ",9.81 psi", ",note,5"])
def test_a_number_right_of_the_headings_refuses_the_file(path, extra):
    table = lines("{t:%Y-%m-%d %H:%M},{v:.2f}")
    table[30] += extra
    made = proposed(path, ["time,water column [m]", *table])
    assert "what is under a heading may not be of it" in made.doubts[0]
    with pytest.raises(FileRejectedError, match="row 32: the row has"):
        read(path, made.layout)


# --- columns that begin late ---------------------------------------------------------------------------------------


def test_a_column_whose_first_thousands_of_cells_are_empty_is_no_event_column(path):
    table = lines("{t:%Y-%m-%d %H:%M},{v:.2f},", 12_486) + lines("2027-{n:02d}-01 00:00,1.0,{n}.5", 13)[1:]
    made = proposed(path, ["time,water column [m],Temperature [degC]", *table])
    assert (made.layout.events, made.doubts) == ((), ())
    assert [rule.quantity for rule in made.layout.columns] == ["water column", "water temperature"]
    _, _, values = read(path, made.layout)
    assert np.isfinite(values[:, 1]).sum() == 12


def test_a_quantity_without_any_value_is_no_event_column_either(path):
    made = proposed(path, ["time,water column [m],Conductivity [uS/cm],Noted", *lines("{t:%Y-%m-%d %H:%M},{v:.2f},,")])
    assert made.layout.events == ("Noted",)
    assert [rule.quantity for rule in made.layout.columns] == ["water column"]


# --- the air within a height of water ------------------------------------------------------------------------------


def level(form, low):
    return [f"time,Water column [{form}]", *lines("{t:%Y-%m-%d %H:%M},{x:.3f}", x=low)]


@pytest.mark.parametrize(("unit", "low"), [("m", 9.81), ("m", 8.6), ("cm", 1031.0), ("ft", 33.9)])
def test_a_height_of_water_that_may_hold_the_air_is_doubted(path, unit, low):
    made = proposed(path, level(unit, low))
    assert "about the height of water that the air weighs (8.5 to 11 m)" in made.doubts[0]
    assert "--series 'absolute pressure'" in made.doubts[0]
    asked = proposed(path, level(unit, low), quantity="absolute pressure")
    assert asked.doubts == ()
    file, _, _ = read(path, asked.layout)
    assert [(column.quantity, column.unit) for column in file.columns] == [("absolute pressure", f"{unit}H2O")]
    assert proposed(path, level(unit, low), quantity="water column").doubts == ()


@pytest.mark.parametrize(("unit", "low"), [("m", 3.2), ("m", 12.5), ("ft", 9.8)])
def test_other_heights_of_water_are_not_doubted(path, unit, low):
    assert proposed(path, level(unit, low)).doubts == ()


def test_an_absolute_instrument_says_that_the_air_is_in_its_height_of_water(path):
    content = level("m", 9.8)
    content[0] = "time,Level [m]"
    assert len(proposed(path, content).doubts) == 2
    made = proposed(path, content, pressure="absolute pressure")
    assert made.doubts == ()
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [("absolute pressure", "mH2O")]


# --- workbooks -----------------------------------------------------------------------------------------------------


def workbook(path, *titles, start=5):
    book = openpyxl.Workbook()
    book.active.title = "About"
    book.active["A1"] = "Export of the north field"
    for title in titles:
        sheet = book.create_sheet(title)
        sheet["A1"] = "Serial number: LB-0042"
        sheet.cell(start, 1, "Date and time")
        sheet.cell(start, 2, "Water pressure [kPa]")
        for n in range(40):
            sheet.cell(start + 1 + n, 1, dt.datetime(2026, 5, 1) + dt.timedelta(minutes=10 * n))  # noqa: DTZ001
            sheet.cell(start + 1 + n, 2, 10 + n / 8)
    book.save(path)
    return path


def test_a_sheet_of_a_workbook_is_read_like_a_file(tmp_path):
    path = workbook(tmp_path / "north.xlsx", "Readings")
    made = propose_layout(path, zone="UTC+01:00")
    assert (made.layout.sheet, made.doubts) == ("Readings", ())
    file, times, values = read(path, made.layout)
    assert (file.serial, times.size, values[1, 0]) == ("LB-0042", 40, 10.125)
    assert np.diff(times).tolist() == [600_000] * 39
    assert str(times[0].astype("datetime64[ms]"))[:16] == "2026-04-30T23:00"
    trial = try_file(path, zone="UTC")
    # rows are those of the sheet
    assert list(trial.first["row"])[:2] == [6, 7]


def test_of_several_sheets_with_readings_one_is_chosen_by_name(tmp_path):
    path = workbook(tmp_path / "two.xlsx", "North", "South")
    made = propose_layout(path, zone="UTC")
    assert made.layout.sheet == "North"
    assert "sheet 'South' holds readings as well: give sheet under [text]" in made.doubts
    south = parse_layout(made.toml().replace('sheet = "North"', 'sheet = "South"'))
    assert open_logger_file(path, south).layout.sheet == "South"
    with pytest.raises(LayoutError, match="no filled sheet 'West'"):
        open_logger_file(path, parse_layout(made.toml().replace('"North"', '"West"')))
    (tmp_path / "cut.xlsx").write_bytes(path.read_bytes()[:900])
    with pytest.raises(UnreadableFileError, match="no workbook can be read from it"):
        propose_layout(tmp_path / "cut.xlsx")


def test_the_text_of_a_sheet_has_its_rows_and_goes_when_nobody_needs_it(tmp_path):
    path = workbook(tmp_path / "north.xlsx", "Readings", start=3)
    text = sheet_text(path, "readings")
    assert (text.title, text.titles) == ("Readings", ("About", "Readings"))
    assert text.path.read_text().split("\n")[:4] == [
        "Serial number: LB-0042",
        "",
        "Date and time,Water pressure [kPa]",
        "2026-05-01,10",
    ]
    assert sheet_text(tmp_path / "none.xlsx") is None
    (tmp_path / "plain.csv").write_text("a,b\n")
    assert sheet_text(tmp_path / "plain.csv") is None
    place = text.path
    del text
    sheets._written.cache_clear()
    gc.collect()
    assert not place.exists()


# --- elapsed time --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "start"),
    [
        ("Start of record: 2026-05-01 06:00:00", "2026-05-01 06:00:00"),
        ('"Launched (local)","01.05.2026 06:00"', "01.05.2026 06:00"),
        ("start = 5/1/26 6:00:00,,", "5/1/26 6:00:00"),
        ("Restarted the pump", None),
    ],
)
def test_the_line_that_says_when_elapsed_times_begin(line, start):
    match = re.search(START_PATTERN, line)
    assert (match and match[1]) == start


@pytest.mark.parametrize(
    ("heading", "cell", "form"),
    [
        ("Elapsed (sec)", "{e}", "elapsed s"),
        ("Elapsed time [min]", "{m}", "elapsed min"),
        ("Elapsed", "{h}:{r:02d}:00", "elapsed H:M:S"),
    ],
)
def test_times_that_elapse_since_a_start_above_the_table_are_proposed(path, heading, cell, form):
    body = [
        f"{n + 1},{cell.format(e=900 * n, m=15 * n, h=n // 4, r=15 * (n % 4))},{1 + n / 100:.2f}" for n in range(40)
    ]
    made = proposed(path, ["Start of record: 2026-05-01 06:00:00", "", f"No.,{heading},water column [m]", *body])
    assert made.doubts == ()
    assert made.layout.formats == (form,)
    _, times, _ = read(path, made.layout)
    assert (times[1] - times[0], times.size) == (900_000, 40)
    assert times[0] == round(START.timestamp() * 1000)


def test_elapsed_time_without_a_start_is_a_doubt(path):
    made = proposed(path, ["", "Elapsed (s),water column [m]", *lines("{e},{v:.2f}")])
    assert "nothing above the table says when its elapsed times begin" in made.doubts[0]


def test_a_quantity_that_is_asked_for_names_the_only_column_in_such_a_unit(path):
    content = ["date,depth_below_land_surface_ft", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")]
    assert "no column could be recognized" in proposed(path, content).doubts[0]
    made = proposed(path, content, quantity="depth to water")
    assert made.doubts == ()
    file, _, _ = read(path, made.layout)
    assert [(column.quantity, column.unit) for column in file.columns] == [("depth to water", "ft")]
    assert proposed(path, content, quantity="battery").doubts


# --- what cannot be read yet ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "holds"),
    [
        (lines("{t:%d.%m.%Y %H:%M};{v:.2f}", 2000), ['delimiter = ";"', "first_row = 1", '"%d.%m.%Y %H:%M"', "column 2 holds 1 to 20.99"]),
        (["time,reading", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")], ['heading_pattern = "time"', "no column could be recognized"]),
        (["time,Temperature", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")], ['column = "Temperature"', "its unit is not said"]),
        (["some words", "and more words"], ["No rows were found"]),
    ],
)  # fmt: skip
def test_what_could_be_inferred_is_given_even_where_it_does_not_read_the_file(path, content, holds):
    path.write_text("\n".join(content) + "\n")
    with pytest.raises(PartialLayoutError) as partial:
        try_file(path, zone="UTC")
    for part in holds:
        assert part in partial.value.text
    assert "# CHECK: not complete: " in partial.value.text
    assert "writes what could be inferred" in partial.value.fix


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("word", ["m", "kPa", "degC", "%", "uS/cm", "furlong"])
def test_a_refused_unit_is_not_offered(quantity, word):
    text = f"[table]\nheading_row = 1\n[time]\ncolumn = 1\n[[columns]]\nquantity = '{quantity}'\ncolumn = 2\nunit = '{word}'\n"
    if unit_of(word, quantity) is not None:
        assert parse_layout(text).columns[0].unit == word
        return
    with pytest.raises(LayoutError, match=f"'{word}' is no unit of {quantity}") as refused:
        parse_layout(text)
    offered = refused.value.fix.removeprefix("Write one of: ").removesuffix(".").split(", ")
    assert word not in offered
    assert offered == units_of(quantity)
    assert all(unit_of(unit, quantity) == unit for unit in offered)


def test_a_quantity_that_a_unit_does_not_fit_is_not_asked_for_again(path):
    path.write_text("time,Level [ft]\n" + "\n".join(lines("{t:%Y-%m-%d %H:%M},{v:.2f}")) + "\n")
    layout = parse_layout('[table]\nheading_row = 1\n[time]\ncolumn = 1\nzone = "UTC"\n')
    with pytest.raises(LayoutError, match="is in ft, which is no unit of battery") as refused:
        open_logger_file(path, layout, quantity="battery")
    assert "--series" not in refused.value.fix


# --- columns lined up by blanks, compact times, elapsed times by a short heading ------------------------------------


def test_columns_that_are_lined_up_by_blanks_are_read(path):
    table = lines("{t:%Y-%m-%d} {t:%H:%M:%S}   {v:8.2f}     11.20  ")
    made = proposed(path, ["date       time        level_m  temp_degC", *table], quantity="water column")
    assert made.doubts == ()
    file, times, values = read(path, made.layout)
    assert times.size == 60
    assert {column.quantity: value for column, value in zip(file.columns, values[59], strict=True)}[
        "water column"
    ] == pytest.approx(1.59)


def test_compact_times_with_fractions_of_a_second_are_read(path):
    made = proposed(path, ["time,water_column_m", *lines("{t:%Y%m%dT%H%M%S}.500Z,{v:.2f}")])
    assert made.doubts == ()
    _, times, _ = read(path, made.layout)
    assert times[0] == round(START.timestamp() * 1000) + 500


def test_hours_since_a_start_under_a_short_heading_are_elapsed(path):
    table = [f"{n / 4:.2f};{1 + n / 100:.2f}".replace(".", ",") for n in range(60)]
    made = proposed(path, ["Start time;13.05.2026 06:00", "t [h];water column [m]", *table])
    assert made.doubts == ()
    _, times, values = read(path, made.layout)
    assert (times[4] - times[0], values[59].tolist()) == (3_600_000, [1.59])


def test_dates_with_points_are_day_month_year(path):
    made = proposed(
        path, ["time;water column [m]", "03.04.2026 06:00;1.5", "05.04.2026 06:00;1.6", "09.04.2026 06:00;1"]
    )
    assert made.layout.formats == ("%d.%m.%Y %H:%M",)
    assert not any("could be" in doubt for doubt in made.doubts)


@pytest.mark.parametrize("above", ["Channel 2: TEMPERATURE, unit: °C", "Kanal 2: Temperature, Einheit: °C"])
def test_a_unit_above_the_table_stands_beside_the_name_of_a_channel(path, above):
    made = proposed(
        path, ["Channel 1: Battery, unit: V", above, "", "time,Temperature", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")]
    )
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [("water temperature", "degC")]


def test_the_unit_of_the_instrument_settles_a_length_without_one(path):
    table = ["time,head", *lines("{t:%Y-%m-%d %H:%M},{v:.2f}")]
    assert any("its unit is not said" in doubt for doubt in proposed(path, table).doubts)
    made = proposed(path, table, length_unit="ft")
    assert made.doubts == ()
    assert [(rule.quantity, rule.unit) for rule in made.layout.columns] == [("water elevation", "ft")]
