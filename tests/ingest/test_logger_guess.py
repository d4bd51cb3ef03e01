"""What is proposed for a file that nobody described: decided by evidence in the file, or else a doubt."""

import datetime as dt

import numpy as np
import pytest

from gwnet.errors import GwnetError, IngestError, LayoutError, UnreadableFileError
from gwnet.ingest.loggers.guess import propose_layout
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_times import StampSurvey
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.rows import open_logger_file
from gwnet.ingest.loggers.trial import try_file

from .logger_exports import all_exports

START = dt.datetime(2026, 6, 1)  # noqa: DTZ001 (wall clock)


def infer(stamps):
    """Return how stamps are written, with the reasons and doubts."""
    survey, notes = StampSurvey(), Notes()
    for stamp in stamps:
        survey.add(stamp)
    return survey.infer_form(notes), notes


def regular(form, minutes, count):
    """Return the stamps of a regular series."""
    return [(START + dt.timedelta(minutes=minutes * n)).strftime(form) for n in range(count)]


@pytest.mark.parametrize(
    ("form", "minutes", "count", "reason"),
    [
        ("%d.%m.%Y %H:%M", 60, 24 * 20, "first number goes up to 20"),
        ("%m/%d/%Y %H:%M", 60, 24 * 20, "second up to 20"),
        ("%d/%m/%Y %H:%M", 60, 24 * 5, "even steps"),
        ("%m/%d/%y %I:%M:%S %p", 30, 48 * 5, "even steps"),
        ("%y/%m/%d %H:%M", 30, 48 * 5, "even steps"),
        ("%y-%m-%d %H:%M", 60, 24 * 40, "dates are year, month, day"),
        ("%Y-%m-%d %H:%M:%S", 15, 5, "as in '2026-06-01 00:00:00'"),
        ("%Y-%m-%dT%H:%M:%S.000Z", 15, 5, "%Y-%m-%dT%H:%M:%S.%f%z"),
        ("%d %b %Y %H:%M", 15, 5, "as in '01 Jun 2026 00:00'"),
        ("%Y%m%d%H%M%S", 15, 5, "as in '20260601000000'"),
    ],
)
def test_the_order_of_dates_is_decided_by_what_the_column_holds(form, minutes, count, reason):
    inferred, notes = infer(regular(form, minutes, count))
    assert inferred.formats == [form.replace(".000Z", ".%f%z")]
    assert inferred.has_offset == form.endswith("Z")
    assert notes.doubts == []
    assert any(reason in each for each in notes.reasons)


@pytest.mark.parametrize(("form", "minutes", "count"), [("%d/%m/%Y", 1440, 9), ("%d/%m/%Y %H:%M", 10, 40)])
def test_where_nothing_tells_the_order_of_dates_there_is_a_doubt(form, minutes, count):
    _, notes = infer(regular(form, minutes, count))
    assert "could be day, month, year or month, day, year" in notes.doubts[0]


@pytest.mark.parametrize("form", ["%d/%m/%Y", "%m/%d/%Y"])
def test_the_order_of_dates_beside_a_column_of_times_follows_from_one_day_to_the_next(form, tmp_path):
    made = proposed(
        tmp_path, "Date,Time,water column [m]\n" + rows(f"{{t:{form}}},{{t:%H:%M}},{{v:.2f}}", 24 * 6), zone="UTC"
    )
    assert made.layout.formats == (form,)
    assert made.doubts == ()


def test_a_column_that_says_which_well_a_row_is_of_is_no_event_column(tmp_path):
    content = (
        "well,time,Grundwasserstand [m],depth_below_land_surface_m\n"
        + rows("W-{n},{t:%Y-%m-%d %H:%M},{v:.2f},2.0", 4) * 5
    )
    made = proposed(tmp_path, content, zone="UTC")
    assert (made.layout.select_column, made.layout.events) == ("well", ())
    assert [rule.quantity for rule in made.layout.columns] == ["water elevation"]
    assert made.doubts == ("say with --only which of the wells or instruments to read",)
    known = proposed(tmp_path, content, zone="UTC", only="W-2")
    assert (known.layout.select_value, known.doubts) == ("W-2", ())
    assert sum(chunk.row.size for chunk in open_logger_file(tmp_path / "x.csv", known.layout).chunks()) == 5


@pytest.mark.parametrize("heading", ["time,water column [m],x,y", "time,water column [m]"])
def test_rows_that_do_not_fit_the_headings_are_a_doubt(heading, tmp_path):
    made = proposed(tmp_path, f"{heading}\n" + rows(ISO + ",a"), zone="UTC")
    assert "what is under a heading may not be of it" in made.doubts[0]


def test_lines_below_the_table_are_its_footer_and_no_words_for_no_value(tmp_path):
    made = proposed(tmp_path, "time,water column [m]\n" + rows(ISO) + "\nEnd of data, 60 records\n", zone="UTC")
    assert (made.layout.footer_pattern, made.layout.missing, made.doubts) == ("^End of data,", (), ())


def test_an_order_that_no_dates_share_is_a_doubt():
    _, notes = infer(("13/06/2026 00:00", "06/13/2026 01:00", "14/06/2026 00:00"))
    assert "no order of day, month and year fits all dates" in notes.doubts[0]


def test_a_clock_of_twelve_hours_is_known_by_its_words_and_doubted_without():
    assert "AM or PM" in " ".join(infer(regular("%m/%d/%y %I:%M:%S %p", 60, 24 * 20))[1].reasons)
    stamps = regular("%Y-%m-%d %I:%M", 60, 200)
    assert "no hour goes beyond 12" in infer(stamps)[1].doubts[0]
    assert not infer([*stamps, "2026-07-01 00:00"])[1].doubts


@pytest.mark.parametrize("export", all_exports(), ids=lambda one: one.name)
def test_a_proposed_layout_is_complete_written_and_read_again(export, tmp_path):
    path = tmp_path / "export.csv"
    path.write_bytes(export.content())
    proposal = propose_layout(path)
    layout = parse_layout(proposal.toml(), name=proposal.layout.name)
    assert layout == proposal.layout
    assert proposal.doubts == ()
    file = open_logger_file(path, layout)
    count = sum(chunk.row.size for chunk in file.chunks())
    file.require_good()
    assert count == len(export.samples)


def proposed(tmp_path, content, **options):
    path = tmp_path / "x.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return propose_layout(path, **options)


def rows(line, count=60, step=60):
    """Return rows of a text with the places of time and number filled."""
    return "".join(
        line.format(t=START + dt.timedelta(minutes=step * n), n=n, v=1.0 + n / 100.0) + "\n" for n in range(count)
    )


ISO = "{t:%Y-%m-%d %H:%M},{v:.2f}"


def test_doubts_about_zone_quantity_and_unit(tmp_path):
    made = proposed(tmp_path, "Time,Level (m)\n" + rows(ISO))
    text = " | ".join(made.doubts)
    assert "in which zone" in text
    assert "water column" in text
    assert made.layout.zone == ""
    known = proposed(tmp_path, "Time,Level (m)\n" + rows(ISO), zone="UTC+01:00", quantity="depth to water")
    assert known.doubts == ()
    assert (known.layout.zone, known.layout.columns[0].quantity) == ("UTC+01:00", "depth to water")
    bare = proposed(tmp_path, "Time,Temperature,Pressure\n" + rows(ISO + ",{v:.3f}"), zone="UTC")
    assert any("its unit is not said" in one for one in bare.doubts)
    assert any("'Pressure' was passed over" in one for one in bare.doubts)


@pytest.mark.parametrize(
    ("above", "heading", "zone", "pattern"),
    [
        ("", "Date Time, GMT-07:00", "", True),
        ("Offset: UTC+1\n", "Time", "", True),
        ("", "Time (UTC)", "UTC", False),
        ("Clock;Europe/Vienna\n", "Time", "Europe/Vienna", False),
        ("Zeit in MEZ\n", "Zeit", "UTC+01:00", False),
    ],
)
def test_the_zone_is_found_above_the_table(tmp_path, above, heading, zone, pattern):
    made = proposed(tmp_path, f'{above}"{heading}",water column [m]\n' + rows(ISO))
    assert (made.layout.zone, bool(made.layout.zone_pattern)) == (zone, pattern)
    assert not any("in which zone" in one for one in made.doubts)


def test_words_and_numbers_for_no_value_are_noticed(tmp_path):
    body = rows(ISO).replace(",1.10\n", ",ERR\n").replace(",1.20\n", ",-9999\n").replace(",1.30\n", ",---\n")
    made = proposed(tmp_path, "time,water column [m]\n" + body, zone="UTC")
    assert made.layout.missing == ("ERR", "-9999")
    assert "was taken as no value" in made.doubts[0]
    file = open_logger_file(tmp_path / "x.csv", made.layout)
    values = np.concatenate([chunk.values[0] for chunk in file.chunks()])
    assert np.isnan(values).sum() == 3


@pytest.mark.parametrize(
    ("content", "delimiter", "decimal", "formats"),
    [
        ("day\ttime\tdepth to water [ft]\n" + rows("{t:%Y-%m-%d}\t{t:%I:%M %p}\t{v:.2f}"), "\t", ".", ("%Y-%m-%d",)),
        ("Datum;Abstich [m]\n" + rows("{t:%d.%m.%Y %H:%M};{v:.2f}", 24 * 20).replace(".", ",").replace(",06,2026", ".06.2026"), ";", ",", ("%d.%m.%Y %H:%M",)),
        ("time|water column [cm]\n" + rows("{t:%Y-%m-%dT%H:%M:%SZ}|{v:.2f}"), "|", ".", ("%Y-%m-%dT%H:%M:%S%z",)),
        ("timestamp,water column [m]\n" + "".join(f"{1_700_000_000 + 600 * n},{n / 10}\n" for n in range(60)), ",", ".", ("epoch s",)),
        ("time,water pressure [kPa]\n" + "".join(f'2026-06-01 {n:02d}:00,"1,{n:03d}.5"\n' for n in range(24)), ",", ".", ("%Y-%m-%d %H:%M",)),
    ],
)  # fmt: skip
def test_shapes_of_text(tmp_path, content, delimiter, decimal, formats):
    made = proposed(tmp_path, content, zone="UTC")
    layout = made.layout
    assert (layout.delimiter, layout.decimal, layout.formats) == (delimiter, decimal, formats)
    file = open_logger_file(tmp_path / "x.csv", layout)
    count = sum(chunk.row.size for chunk in file.chunks())
    file.require_good()
    assert count == content.count("\n") - 1


def test_headings_with_a_serial_number_are_named_without_it_so_that_other_files_fit(tmp_path):
    content = '"Date Time, UTC-07:00","Abs Pres, psi (sensor 1234567)","Temp, °C (sensor 1234567)"\n' + rows(
        "{t:%Y-%m-%d %H:%M},{v:.2f},{v:.2f}"
    )
    made = proposed(tmp_path, content)
    assert [rule.column for rule in made.layout.columns] == ["/^Abs Pres, psi/", "/^Temp, .{1,3}C/"]
    (tmp_path / "other.csv").write_bytes(content.replace("1234567", "7654321").replace("°", "\ufffd").encode())
    assert open_logger_file(tmp_path / "other.csv", made.layout).columns[1].unit == "degC"


def test_a_row_of_units_below_the_headings(tmp_path):
    made = proposed(tmp_path, "Time,Water column,Temperature\n,[cm],[°F]\n" + rows(ISO + ",50.0"), zone="UTC")
    file = open_logger_file(tmp_path / "x.csv", made.layout)
    assert [(one.quantity, one.unit) for one in file.columns] == [("water column", "cm"), ("water temperature", "degF")]


@pytest.mark.parametrize(
    ("content", "kind", "message"),
    [
        ("time,level [m]\n", UnreadableFileError, "no readings below"),
        ("just words\nand more words\n", LayoutError, "No rows were found"),
        (rows(ISO), LayoutError, "has no headings"),
        ("time,water column [m]\n" + rows("{t:%d.%m.%Y},{n},{n}"), IngestError, "decimal comma are between commas"),
        ("", UnreadableFileError, "is empty"),
    ],
)
def test_what_cannot_be_proposed_is_said(tmp_path, content, kind, message):
    with pytest.raises(kind, match=message) as refused:
        proposed(tmp_path, content)
    assert refused.value.where
    assert refused.value.fix


def test_broken_signs_behind_a_byte_order_mark_are_a_doubt(tmp_path):
    made = proposed(tmp_path, b"\xef\xbb\xbftime,water column [m],\xb0\n" + rows(ISO + ",").encode(), zone="UTC")
    assert made.layout.encoding == "utf-8"
    assert any("no UTF-8" in one for one in made.doubts)


def test_trying_tells_gaps_duplicates_and_steps_backward(tmp_path):
    path = tmp_path / "x.csv"
    lines = rows(ISO, 300).splitlines()
    lines[100:110] = []
    lines[50], lines[51] = lines[51], lines[50]
    lines.append(lines[-1])
    path.write_text("time,water column [m]\n" + "\n".join(lines) + "\n")
    trial = try_file(path, zone="Europe/Vienna", shown=3)
    assert (trial.rows, trial.duplicates, trial.backward, trial.gap_count, trial.step_s) == (291, 1, 1, 1, 3600.0)
    gap = trial.gaps.iloc[0]
    assert (gap["hours"], gap["lacking"]) == (11.0, 10)
    assert gap["after_utc"] == "2026-06-05 01:00:00Z"
    assert list(trial.first["row"]) == [2, 3, 4]
    assert list(trial.last["local"])[-1] == "2026-06-13 11:00:00"
    assert trial.local_span()[0] == "2026-06-01 00:00:00+02:00"
    assert trial.utc_text(trial.first_utc) == "2026-05-31 22:00:00Z"


def test_trying_without_a_zone_shows_the_clock_of_the_file_and_says_so(tmp_path):
    path = tmp_path / "x.csv"
    path.write_text("time,water column [m]\n" + rows(ISO))
    trial = try_file(path)
    assert "as if they were UTC" in trial.notes[0]
    assert trial.layout.zone == ""
    with pytest.raises(GwnetError, match="in which zone"):
        open_logger_file(path, trial.layout)
