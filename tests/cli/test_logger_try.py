"""``gwnet logger try`` and ``gwnet logger layouts``."""

import csv
import io
import json

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED
from gwnet.ingest.loggers.layout import load_layout

EXPORT = (
    '"Title: north field"\n"#","Date Time, UTC-07:00","Abs Pressure, psi (sensor 20417)","Temp, °F","Read out"\n'
    + "".join(
        f"{n + 1},04/{n // 24 + 1:02d}/26 {n % 12 or 12:02d}:00:00 {'AM' if n % 24 < 12 else 'PM'},{16 + n / 1000:.4f},50.1,\n"
        for n in range(480)
        if not 100 <= n < 110
    )
    + "481,04/21/26 12:04:10 AM,,,noted\n"
)


@pytest.fixture
def export(tmp_path):
    (tmp_path / "north.csv").write_text(EXPORT, encoding="utf-8-sig")
    return tmp_path


def test_trying_tells_what_was_inferred_and_shows_rows_gaps_and_odd_rows(export, gwnet_here):
    ran = gwnet_here("logger", "try", "north.csv")
    assert ran.code == DONE, ran.err
    for part in (
        "dates are month, day, year: their first number goes up to 4, their second up to 21",
        "the zone is the offset -07:00",
        "absolute pressure in psi, by its heading",
        "3  2026-04-01 00:00:00  2026-04-01 07:00:00Z",
        "16.479",
        "470 rows of absolute pressure [psi], water temperature [degF]",
        "local 2026-04-01 00:00:00-07:00 to 2026-04-20 23:00:00-07:00 (UTC-07:00)",
        "UTC   2026-04-01 07:00:00Z to 2026-04-21 06:00:00Z",
        "every 1 h; 1 gap",
        "gap after 2026-04-05 10:00:00Z until 2026-04-05 21:00:00Z: 11.0 h, 10 samples lacking",
        "1 row: an event and no value; passed over",
        "row 473: Read out: noted",
    ):
        assert part in ran.out


def test_a_saved_layout_loads_and_is_not_overwritten(export, gwnet_here):
    assert gwnet_here("logger", "try", "north.csv", "--save", "north.toml").code == DONE
    assert load_layout(export / "north.toml").zone_pattern
    again = gwnet_here("logger", "try", "north.csv", "--layout", "north.toml", "--rows", "1", "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(again.out)))
    assert [row["row"] for row in rows] == ["3", "472"]
    assert "470 rows" in again.err
    refused = gwnet_here("logger", "try", "north.csv", "--save", "north.toml")
    assert refused.code == STOPPED
    assert "already" in refused.err


def test_doubts_and_bad_rows_are_findings(export, gwnet_here):
    (export / "plain.csv").write_text("Time,Level (m)\n2026-04-01 00:00,1.0\n2026-04-01 01:00,1.1\n")
    ran = gwnet_here("logger", "try", "plain.csv")
    assert ran.code == DONE_WITH_FINDINGS
    assert "check: nothing says in which zone" in ran.out
    known = gwnet_here(
        "logger", "try", "plain.csv", "--zone", "Europe/Vienna", "--series", "water column", "--format", "json"
    )
    assert known.code == DONE, known.err
    assert json.loads(known.out)[0]["utc"] == "2026-03-31 22:00:00Z"
    (export / "bad.csv").write_text(
        "Time,Water column (m)\n2026-04-01 00:00,1.0\n2026-04-01 01:00,oops\n2026-04-01 02:00,1\n"
    )
    bad = gwnet_here("logger", "try", "bad.csv", "--layout", "comma-iso", "--zone", "UTC")
    assert bad.code == DONE_WITH_FINDINGS
    assert (
        "1 row: cannot be read; a load would refuse the file\n  row 3: column 'Water column (m)' has 'oops'" in bad.out
    )


def test_a_layout_that_does_not_read_the_file_yet_is_saved_and_can_be_completed(export, gwnet_here):
    (export / "plain.csv").write_text("time,Temperature\n2026-04-01 00:00,9.0\n2026-04-01 01:00,9.1\n")
    ran = gwnet_here("logger", "try", "plain.csv", "--zone", "UTC")
    assert (ran.code, ran.out) == (STOPPED, "")
    assert "--save LAYOUT.toml" in ran.err
    saved = gwnet_here("logger", "try", "plain.csv", "--zone", "UTC", "--save", "plain.toml")
    assert saved.code == STOPPED
    assert "Complete plain.toml" in saved.err
    text = (export / "plain.toml").read_text()
    assert "CHECK: column 'Temperature' is water temperature, and its unit is not said" in text
    (export / "plain.toml").write_text(text.replace('column = "Temperature"', 'column = "Temperature"\nunit = "degC"'))
    done = gwnet_here("logger", "try", "plain.csv", "--layout", "plain.toml")
    assert done.code == DONE
    assert "2 rows of water temperature [degC]" in done.out


def test_what_cannot_be_tried_is_refused(export, gwnet_here):
    (export / "book.csv").write_bytes(b"PK\x03\x04" + bytes(100))
    assert "a workbook or zip archive" in gwnet_here("logger", "try", "book.csv").err
    ran = gwnet_here("logger", "try", "north.csv", "--layout", "semicolon-iso")
    assert ran.code == STOPPED
    assert "The line of headings is a single cell, since no ';' stands in it" in ran.err
    assert gwnet_here("logger", "try", "north.csv", "--layout", "nothing").code == STOPPED


def test_layouts_are_listed_and_one_is_printed(gwnet_here):
    ran = gwnet_here("logger", "layouts", "--format", "csv")
    names = [row["layout"] for row in csv.DictReader(io.StringIO(ran.out))]
    assert "comma-iso" in names
    assert len(names) == len(set(names)) >= 8
    shown = gwnet_here("logger", "layouts", "--show", "comma-iso")
    assert shown.out == load_layout("comma-iso").toml()
    assert gwnet_here("logger", "layouts", "--show", "none").code == STOPPED
