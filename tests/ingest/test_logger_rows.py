"""Reading logger files with a layout: times, values, odd rows, and what is refused."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.errors import FileRejectedError, LayoutError, UnreadableFileError
from gwnet.ingest.loggers import rows as logger_rows
from gwnet.ingest.loggers.columns import Column
from gwnet.ingest.loggers.layout import load_layout, parse_layout
from gwnet.ingest.loggers.rows import open_logger_file
from gwnet.ingest.loggers.stamps import StampError, compile_formats, read_column, read_stamp
from gwnet.ingest.loggers.text import blocks, read_head
from gwnet.ingest.loggers.zone import ToUtc

BASE = """
[table]
heading_row = 1
[time]
column = "time"
formats = ["%Y-%m-%d %H:%M[:%S]"]
zone = "{zone}"
[[columns]]
quantity = "water column"
column = "level"
unit = "m"
"""


def layout(more="", zone="UTC", **changes):
    text = BASE.format(zone=zone)
    for old, new in changes.items():
        text = text.replace(*new) if isinstance(new, tuple) else text.replace(old, new)
    return parse_layout(text + more)


def read(path, content, chosen, rows=65_536, **options):
    """Return the file and its samples: UTC as text, values, line."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    file = open_logger_file(path, chosen, **options)
    samples = []
    for chunk in file.chunks(rows):
        assert 0 < chunk.row.size <= rows
        times = np.datetime_as_string(chunk.time_ms.astype("datetime64[ms]").astype("datetime64[m]"))
        samples += zip(
            times.tolist(), zip(*(v.tolist() for v in chunk.values), strict=True), chunk.row.tolist(), strict=True
        )
    return file, samples


# --- times ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "text", "expected"),
    [
        ("%m/%d/%y %I:%M:%S %p", "04/24/19 12:00:00 AM", "2019-04-24T00:00"),
        ("%m/%d/%y %I:%M:%S %p", "04/24/19 12:30:00 pm", "2019-04-24T12:30"),
        ("%d.%m.%Y[ %H:%M]", "01.06.2026", "2026-06-01T00:00"),
        ("%d.%m.%Y %H:%M", "1.6.2026 7:05", "2026-06-01T07:05"),
        ("%Y-%m-%d %H:%M", "2024-02-29 24:00", "2024-03-01T00:00"),
        ("%d %b %Y %H:%M", "31 Dez 2023 23:59", "2023-12-31T23:59"),
        ("%Y%j %H%M", "2024366 0130", "2024-12-31T01:30"),
        ("%d/%m/%y %H:%M", "31/12/68 00:00", "2068-12-31T00:00"),
        ("%d/%m/%y %H:%M", "01/01/69 00:00", "1969-01-01T00:00"),
        ("epoch s", "1556121600", "2019-04-24T16:00"),
        ("epoch ms", "1556121600000", "2019-04-24T16:00"),
    ],
)
def test_a_stamp_is_read_alone_and_in_a_column(form, text, expected):
    formats = compile_formats([form])
    milliseconds = int(np.datetime64(expected, "ms").astype(np.int64))
    assert read_stamp(text, formats)[0] == milliseconds
    column = read_column(pa.array([text.encode()] * 3, pa.binary()), formats)
    assert column.time_ms.tolist() == [milliseconds] * 3


def test_an_offset_in_the_stamp_and_fractions_of_seconds():
    formats = compile_formats(["iso"])
    assert read_stamp("2026-04-07T09:30:00.250+02:00", formats) == (1775554200250, 120)
    assert read_stamp("2026-04-07T09:30:00Z", formats) == (1775554200000, 0)
    assert read_stamp("2026-04-07 09:30", formats) == (1775554200000, None)
    column = read_column(pa.array([b"2026-04-07T09:30:00.250-0730"], pa.binary()), formats)
    assert (column.time_ms.tolist(), column.offset_minutes.tolist()) == ([1775554200250], [-450])


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-29 10:00",
        "2026-13-01 10:00",
        "2026-04-07 25:00",
        "2026-04-07 24:01",
        "2026-04-07 10:60",
        "2026-04-07 10:5",
        "1066-04-07 10:00",
        "2026-04-07",
        "",
        "x",
    ],
)
def test_what_is_no_time_is_refused_alone_and_makes_its_column_be_read_row_by_row(text):
    formats = compile_formats(["%Y-%m-%d %H:%M"])
    with pytest.raises(StampError):
        read_stamp(text, formats)
    assert read_column(pa.array([b"2026-04-07 10:00", text.encode()], pa.binary()), formats) is None


FORMS = ["%Y-%m-%d %H:%M:%S", "%d.%m.%y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%Y%m%d%H%M%S", "%j %Y %H:%M", "%d-%b-%Y %H:%M"]


@settings(max_examples=60)
@given(
    st.sampled_from(FORMS),
    st.lists(st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2068, 12, 31)), min_size=1, max_size=30),  # noqa: DTZ001
    st.booleans(),
)
def test_a_column_reads_as_the_standard_library_does(form, times, unpadded):
    texts = [time.strftime(form) for time in times]
    expected = [dt.datetime.strptime(text, form).replace(tzinfo=dt.UTC).timestamp() * 1000 for text in texts]
    if unpadded and form[0] == "%" and form[2] == "." and form[1] == "d":
        texts = [text.lstrip("0") for text in texts]
    column = read_column(pa.array([text.encode() for text in texts], pa.binary()), compile_formats([form]))
    assert column.time_ms.tolist() == expected
    assert [read_stamp(text, compile_formats([form]))[0] for text in texts] == expected


# --- local time ----------------------------------------------------------------------------------------------------


def local_and_utc(start, count, minutes, zone="Europe/Vienna"):
    """Return local clock and UTC of regular samples [ms]."""
    moments = [start + dt.timedelta(minutes=minutes * n) for n in range(count)]
    walls = [moment.astimezone(ZoneInfo(zone)).replace(tzinfo=dt.UTC) for moment in moments]
    return (np.array([round(t.timestamp() * 1000) for t in times], dtype=np.int64) for times in (walls, moments))


BACK = dt.datetime(2025, 10, 25, 20, tzinfo=dt.UTC)


@pytest.mark.parametrize("minutes", [10, 30, 60])
@pytest.mark.parametrize(("falling", "block"), [(False, 1_000), (False, 3), (True, 1_000)])
def test_the_hour_that_was_twice_follows_from_its_order(minutes, falling, block):
    local, utc = local_and_utc(BACK, 12 * 60 // minutes, minutes)
    if falling:
        local, utc = local[::-1], utc[::-1]
    clock = ToUtc("Europe/Vienna")
    made = [clock.convert(local[n : n + block]) for n in range(0, local.size, block)]
    assert np.array_equal(np.concatenate([one[0] for one in made]), utc)
    assert clock.repeated == 2 * 60 // minutes
    assert not any(flags.any() for one in made for flags in one[1:])


def test_a_file_that_begins_in_the_second_of_the_hours_is_read_from_what_follows():
    local, utc = local_and_utc(dt.datetime(2025, 10, 26, 1, 10, tzinfo=dt.UTC), 12, 10)
    assert np.array_equal(ToUtc("Europe/Vienna").convert(local)[0], utc)


DAILY = "time,level\n" + "".join(f"2025-10-{day} 02:30,{day}\n" for day in range(24, 29))


def test_a_daily_reading_in_the_hour_that_was_twice_refuses_the_file_and_says_what_to_do(path):
    file, samples = read(path, DAILY, layout(zone="Europe/Vienna"))
    assert [values for _, values, _ in samples] == [(24.0,), (25.0,), (27.0,), (28.0,)]
    with pytest.raises(FileRejectedError, match="row 4: the time 2025-10-26 02:30:00 was twice") as why:
        file.require_good()
    assert "--repeated-hour first or second" in why.value.fix
    assert [(one.row, one.problem) for one in why.value.rejections] == [(4, "time-exists-twice")]


@pytest.mark.parametrize(("hour", "time"), [("first", "2025-10-26T00:30"), ("second", "2025-10-26T01:30")])
def test_a_daily_reading_in_the_hour_that_was_twice_is_of_the_hour_that_the_layout_says(path, hour, time):
    file, samples = read(path, DAILY, replace(layout(zone="Europe/Vienna"), repeated_hour=hour))
    file.require_good()
    assert [stamp for stamp, (value,), _ in samples if value == 26.0] == [time]
    assert len(samples) == 5
    assert f"1 as of the {hour} hour, as was said" in file.notes()[0]


def test_what_the_rows_show_precedes_the_hour_that_the_layout_says():
    local, utc = local_and_utc(BACK, 24, 30)
    assert np.array_equal(ToUtc("Europe/Vienna", "first").convert(local)[0], utc)


def test_rows_out_of_order_around_the_hour_that_was_twice_are_not_guessed():
    local, _ = local_and_utc(BACK, 48, 15)
    order = np.random.default_rng(1).permutation(48)
    assert ToUtc("Europe/Vienna").convert(local[order]).unordered.any()


def test_a_time_over_which_the_clocks_were_put_forward_is_a_bad_row(path):
    rows = "time,level\n2026-03-29 01:30,1.0\n2026-03-29 02:30,1.1\n2026-03-29 03:30,1.2\n"
    file, samples = read(path, rows, layout(zone="Europe/Vienna"))
    assert [time for time, _, _ in samples] == ["2026-03-29T00:30", "2026-03-29T01:30"]
    with pytest.raises(
        FileRejectedError, match="row 3: the time 2026-03-29 02:30:00 never was in Europe/Vienna"
    ) as why:
        file.require_good()
    assert [one.row for one in why.value.rejections] == [3]


def test_rows_in_the_hour_that_was_twice_are_reported(path):
    rows = "time,level\n2025-10-26 02:30,1.0\n2025-10-26 02:30,1.1\n2025-10-26 03:30,1.2\n"
    file, samples = read(path, rows, layout(zone="Europe/Vienna"))
    assert [time[11:] for time, _, _ in samples] == ["00:30", "01:30", "02:30"]
    assert "2 rows stand in an hour that was twice" in file.notes()[0]


# --- text ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [1, 2, 3, 7, 64, 10_000])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_blocks_give_every_line_once_whatever_their_size_and_line_ends(path, size, encoding):
    lines = ["first", "", "zwölf", "x" * 30, "last"]
    path.write_bytes("".join(map("".join, zip(lines, ["\r\n", "\n", "\r", "\r\n", ""], strict=True))).encode(encoding))
    given = "latin-1" if encoding == "latin-1" else "utf-8"
    head = read_head(path, given)
    assert list(head.lines) == lines
    made = list(blocks(head, size))
    shown = "latin-1" if encoding == "latin-1" else "utf-8"
    assert b"".join(one.text for one in made).decode(shown).split("\n") == lines
    assert [one.first_line for one in made] == [
        1 + b"".join(b.text for b in made[:n]).count(b"\n") for n in range(len(made))
    ]
    assert [one.last for one in made] == [False] * (len(made) - 1) + [True]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\r\n", "is empty"),
        (b"PK\x03\x04" + bytes(50), "a workbook or zip archive"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"a,b\n" + bytes(range(256)) * 10, "is not text"),
        (b"time,level\n", "ends at line 1"),
        (b"9" * 300_000 + b"\n", "longer than 200,000 bytes"),
    ],
)
def test_what_is_no_table_of_readings_is_refused(path, content, message):
    path.write_bytes(content)
    with pytest.raises(UnreadableFileError, match=message) as refused:
        open_logger_file(path, layout())
    assert refused.value.fix


def test_a_folder_and_a_file_that_is_not_there_are_refused(tmp_path):
    for wrong in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(UnreadableFileError):
            open_logger_file(wrong, layout())


# --- rows ----------------------------------------------------------------------------------------------------------

PLAIN = "time,level\n" + "".join(f"2026-04-07 {n // 60:02d}:{n % 60:02d},{n / 100:.2f}\n" for n in range(1_000))


@pytest.mark.parametrize(("rows", "block"), [(1, 65_536), (7, 100), (500, 37), (65_536, 1)])
def test_chunks_and_blocks_of_any_size_give_the_same(path, rows, block, monkeypatch):
    content = PLAIN.replace("2026-04-07 05:00,3.00\n", "\n2026-04-07 05:00,\n")
    whole = read(path, content, layout())[1]
    monkeypatch.setattr(logger_rows, "_BLOCK_ROWS", block)
    file, samples = read(path, content, layout(), rows)
    assert repr(samples) == repr(whole)
    assert len(samples) == 1_000
    assert file.odd_counts() == {"no value": 1}
    assert [one.row for one in file.odd()] == [303]


def test_an_odd_row_is_reported_by_its_line_and_its_kind(path):
    content = (
        "time,level,temp,note\n2026-04-07 00:00,1.0,9.1,\n\n2026-04-07 00:10,,,battery low\n"
        '2026-04-07 00:20,1.1,,"two\nlines"\n2026-04-07 00:30,,,\ntime,level,temp,note\n2026-04-07 00:40,-9999.0,9.2,\n'
        "# by hand\n2026-04-07 00:50,+1.2,9.3,-\nrestart\nEnd,,,\n;\n"
    )
    more = '[[columns]]\nquantity = "water temperature"\ncolumn = "temp"\nunit = "degC"\n[events]\ncolumns = ["note"]\nrows = "^restart"\n'
    chosen = layout(more, zone='UTC"\n[text]\ncomment = "#')
    chosen = parse_layout(
        'missing = ["-9999"]\n' + chosen.toml().replace("[table]\n", '[table]\nfooter_pattern = "^End"\n')
    )
    file, samples = read(path, content, chosen)
    file.require_good()
    assert [(one.row, one.kind) for one in file.odd()] == [
        (4, "event"),
        (5, "missing"),
        (5, "remark"),
        (7, "no value"),
        (8, "heading"),
        (9, "missing"),
        (10, "comment"),
        (12, "event"),
        (13, "footer"),
    ]
    assert [row for _, _, row in samples] == [2, 5, 7, 9, 11]
    assert samples[-1][1] == (1.2, 9.3)
    assert np.isnan(samples[3][1][0])


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("2026-04-07 00:10,x", "column 'level' has 'x'; a number was expected"),
        ("2026-04-07 00:10,1,5", "the row has 3 cells, the headings 2"),
        ("2026-04-07 00:10,1,", "the row has 3 cells, the headings 2"),
        ("2026-04-07 00:10,inf", "column 'level' has 'inf'"),
        ("2026-04-07 00:10,1e999", "which no instrument reads"),
        ("2026-04-07 00:10,1_000", "a number was expected"),
        ("2026-04-07 00:10,0x1F", "a number was expected"),
        ("07.04.2026 00:10,1.0", "is not a time written %Y-%m-%d %H:%M[:%S]"),
        ("2026-04-31 00:10,1.0", "there is no such day"),
        ('"2026-04-07 00:10,1.0', "a quote is opened and not closed"),
        ("2026-04-07 00:10,1.\x000", "zero bytes"),
        ("no commas at all", "is not a time"),
    ],
)
def test_a_bad_row_refuses_the_file_and_says_why(path, row, why):
    content = PLAIN.replace("2026-04-07 05:00,3.00\n", f"{row}\n")
    file, samples = read(path, content, layout())
    assert len(samples) == 999
    with pytest.raises(FileRejectedError) as refused:
        file.require_good()
    assert "1 row cannot be read" in refused.value.message
    assert "row 302: " in refused.value.message
    assert why in refused.value.rejections[0].message
    assert refused.value.fix


def test_a_layout_that_does_not_fit_stops_early(path):
    content = "time,level\n" + "2026-04-07 00:00,none\n" * 5_000
    with pytest.raises(FileRejectedError, match="At least"):
        read(path, content, layout())


@pytest.mark.parametrize("end", ["3.0", "3", "", "3.", None])
def test_a_file_that_was_cut_in_its_last_row_is_refused(path, end):
    start, cut = PLAIN[: PLAIN.index("2026-04-07 05:00")], "2026-04-07 05:00," + (end or "")
    file, samples = read(path, start + (cut if end is not None else "2026-04-07 05:0"), layout())
    assert len(samples) == 300
    with pytest.raises(FileRejectedError, match=r"row 302: the file ends in the middle .* Download the file again"):
        file.require_good()


@pytest.mark.parametrize(
    "values",
    [["1013", "998", "1012"], ["3.5", "3.25", "3.125"], ["3", "3.5", "3.25"], ["", "3.5", "3.25"], []],
)
def test_a_last_value_that_may_have_been_cut_is_passed_over_and_said(path, values):
    rows = [f"2026-04-07 0{hour}:00,{value}\n" for hour, value in enumerate(values)]
    start = "time,level\n" + "".join(rows)
    for end, kept in (("2026-04-07 08:00,101", len(rows)), ("2026-04-07 08:00,101\n", len(rows) + 1)):
        file, samples = read(path, start + end, layout())
        file.require_good()
        assert len(samples) == kept
        assert file.odd_counts().get("cut", 0) == len(rows) + 1 - kept
        assert any("the last row has no line end" in note for note in file.notes()) == (kept == len(rows))


@pytest.mark.parametrize("value", ["1e99", "1e308", "-2000", "14000"])
def test_a_level_that_nothing_has_refuses_the_file(path, value):
    file, samples = read(path, PLAIN.replace("2026-04-07 05:00,3.00\n", f"2026-04-07 05:00,{value}\n"), layout())
    assert len(samples) == 999
    with pytest.raises(FileRejectedError, match=r"row 302: .*; no water column lies outside -1000 to 13000 m"):
        file.require_good()


@pytest.mark.parametrize(
    ("quantity", "unit", "lowest"),
    [("absolute pressure", "hPa", 0.0), ("water pressure", "hPa", -1100.0), ("water temperature", "degF", -459.67)],
)
def test_limits_hold_in_the_unit_of_the_column(quantity, unit, lowest):
    assert Column(quantity, unit, "x").limits[0] == pytest.approx(lowest)


@pytest.mark.parametrize("row", ["2026-04-07 05:00,٣.٠", "2026-04-07 05:00,３.0", "٢٠٢٦-04-07 05:00,3.00"])
def test_digits_of_other_scripts_refuse_the_file(path, row):
    file, samples = read(path, PLAIN.replace("2026-04-07 05:00,3.00\n", f"{row}\n"), layout())
    assert len(samples) == 999
    with pytest.raises(FileRejectedError, match="row 302"):
        file.require_good()


def test_a_last_row_without_a_line_end_is_read(path):
    file, samples = read(path, PLAIN.rstrip("\n"), layout())
    file.require_good()
    assert len(samples) == 1_000


def test_thousands_and_decimal_commas(path):
    chosen = layout(zone='UTC"\n[text]\ndelimiter = ";"\ndecimal = ","\nthousands = ".')
    _, samples = read(path, 'time;level\n2026-04-07 00:00;1.234,5\n2026-04-07 00:10;"-0,25"\n', chosen)
    assert [values for _, values, _ in samples] == [(1234.5,), (-0.25,)]
    plain = layout(zone='UTC"\n[text]\ndelimiter = ";"\ndecimal = ",')
    file, samples = read(path, "time;level\n2026-04-07 00:00;1234,5\n2026-04-07 00:10;0.25\n", plain)
    assert [values for _, values, _ in samples] == [(1234.5,)]
    assert "a number with a decimal comma was expected" in file.odd()[0].why


def test_one_of_several_wells_is_read_and_the_others_are_counted(path):
    content = "time,level,station\n" + "".join(f"2026-04-07 {n:02d}:00,{n}.0,{'AB'[n % 2]}\n" for n in range(10))
    chosen = layout('[select]\ncolumn = "station"\n')
    file, samples = read(path, content, chosen, only="B")
    assert [values for _, values, _ in samples] == [(1.0,), (3.0,), (5.0,), (7.0,), (9.0,)]
    assert file.odd_counts() == {"other": 5}
    with pytest.raises(LayoutError, match="of several: column 'station' has A, B"):
        open_logger_file(path, chosen)
    path.write_text(content.replace("level", "water column [m]"))
    with pytest.raises(LayoutError, match="of several"):
        open_logger_file(path, load_layout("comma-iso"), zone="UTC", quantity="water column")


def test_the_zone_comes_from_layout_file_or_caller_and_is_never_guessed(path):
    rows = "2026-04-07 00:00,1.0\n"
    without = layout(zone='"\nzone_pattern = "GMT([+-][0-9:]+)', x=("", ""))
    without = parse_layout(without.toml().replace("heading_row = 1", "heading_pattern = '^time|^.time'"))
    assert read(path, "Zone GMT-07:00\ntime,level\n" + rows, without)[1][0][0] == "2026-04-07T07:00"
    assert read(path, "time,level\n" + rows, without, zone="UTC+02:00")[1][0][0] == "2026-04-06T22:00"
    with pytest.raises(LayoutError, match="in which zone") as refused:
        read(path, "time,level\n" + rows, without)
    assert "--zone" in refused.value.fix


def test_a_quantity_that_is_asked_for_limits_or_names_the_column(path):
    rows = "time,pressure [kPa],temp [degC]\n2026-04-07 00:00,101.0,9.0\n"
    chosen = load_layout("comma-iso")
    file, samples = read(path, rows, chosen, zone="UTC", quantity="water temperature")
    assert [column.quantity for column in file.columns] == ["water temperature"]
    file, samples = read(path, rows.replace(",temp [degC]", ",x"), chosen, zone="UTC", quantity="air pressure")
    assert (file.columns[0].quantity, file.columns[0].unit, samples[0][1]) == ("air pressure", "kPa", (101.0,))
    with pytest.raises(LayoutError, match="is in kPa, which is no unit of battery"):
        open_logger_file(path, chosen, zone="UTC", quantity="battery")
    path.write_text(rows.replace("pressure", "air pressure"))
    with pytest.raises(LayoutError, match="and no battery"):
        open_logger_file(path, chosen, zone="UTC", quantity="battery")
    with pytest.raises(LayoutError, match="is no quantity"):
        open_logger_file(path, chosen, zone="UTC", quantity="depth")


def test_a_heading_that_is_not_there_is_reported_with_those_that_are(path):
    with pytest.raises(LayoutError, match="Did you mean 'levels'") as refused:
        read(path, "time,levels\n2026-04-07 00:00,1.0\n", layout())
    assert "'time', 'levels'" in refused.value.fix
    with pytest.raises(LayoutError, match="does not say the unit"):
        read(path, "time,level\n2026-04-07 00:00,1.0\n", layout(x=('unit = "m"', "")))


def test_a_table_without_headings_is_read_by_numbers(path):
    chosen = parse_layout(
        '[table]\nfirst_row = 2\n[time]\ndate = 1\nclock = 2\nformats = ["%d/%m/%Y"]\nclock_formats = ["%H:%M"]\n'
        'zone = "UTC"\n[[columns]]\nquantity = "battery"\ncolumn = 4\nunit = "V"\n'
    )
    file, samples = read(path, "made here\n07/04/2026,24:00,x,3.6\n08/04/2026,01:00,x,3.5\n", chosen)
    assert [(time, values) for time, values, _ in samples] == [
        ("2026-04-08T00:00", (3.6,)),
        ("2026-04-08T01:00", (3.5,)),
    ]
    assert (file.columns[0].name, file.serial) == ("column 4", None)


def test_reading_fast_and_reading_row_by_row_give_the_same(path, monkeypatch):
    from gwnet.ingest.loggers import fast as logger_fast

    random = np.random.default_rng(5)
    cells = ["1.25", "", "-9999", " 7.5 ", "+3.0", ".5", "1e-3", "---"]
    rows = [
        f"2026-04-07 {n // 60:02d}:{n % 60:02d},{cells[random.integers(8)]},{random.choice(['', '-', 'lid'])}"
        for n in range(1_400)
    ]
    content = "time,level,note\n" + "\n".join(rows) + "\n"
    chosen = parse_layout('missing = ["-9999"]\n' + layout('[events]\ncolumns = ["note"]\n').toml())
    fast_file, fast = read(path, content, chosen)
    monkeypatch.setattr(logger_fast.BlockReader, "_at_once", lambda *_: None)
    slow_file, slow = read(path, content, chosen)
    assert repr(fast) == repr(slow)
    assert fast_file.odd_counts() == slow_file.odd_counts()
    assert fast_file.odd() == slow_file.odd()
