"""Writing a report: manifest, annex, and what happens when the folder or the disk does not play along."""

import csv
import dataclasses
import errno
import hashlib
import io
import json
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import gwnet.reporting.write as writing
from gwnet.errors import OutputError, ReportError
from gwnet.reporting.annex.files import annex_files, frame_csv
from gwnet.reporting.annex.manifest import printed_values
from gwnet.reporting.write import write_files, write_report

ROOT = Path(__file__).resolve().parents[2]


def write(constructed, quarterly, folder, data=None, period="2026-Q1"):
    return write_report(
        quarterly,
        data or constructed.record(4),
        folder,
        period=period,
        drawing=constructed.PlainDrawing(),
        program_version="9.9",
        schema_revision="0007",
    )


def rows_of(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"))))


@pytest.fixture(scope="module")
def written(constructed, quarterly, tmp_path_factory):
    return write(constructed, quarterly, tmp_path_factory.mktemp("out") / "new" / "folder")


def test_files_beside_each_other(written):
    names = sorted(path.name for path in written.pdf.parent.iterdir())
    stem = "quarterly_HOL_2026-Q1"
    assert names == sorted(
        [
            f"{stem}.pdf",
            f"{stem}.manifest.json",
            f"{stem}.datapackage.json",
            f"{stem}.xlsx",
            f"{stem}.html",
            f"{stem}_levels_of_period.csv",
            f"{stem}_levels_to_date.csv",
            f"{stem}_wells.csv",
            f"{stem}_construction.csv",
            f"{stem}_measuring_points.csv",
            f"{stem}_thresholds.csv",
            f"{stem}_map_control_L_2026-02-10.csv",
            f"{stem}_map_control_U_2026-02-10.csv",
        ]
    )
    assert written.state == "PROVISIONAL"


def test_manifest_tells_what_the_report_was_made_from(written, quarterly):
    manifest = json.loads(written.manifest.read_text(encoding="utf-8"))
    assert manifest["program"] == {"name": "gwnet", "version": "9.9"}
    assert manifest["schema_revision"] == "0007"
    assert manifest["definition"] == {"name": "quarterly", "sha256": quarterly.sha256}
    assert manifest["period"] == {"label": "2026-Q1", "first": "2026-01-01", "last": "2026-03-31"}
    assert manifest["known_on_utc"] == "2026-04-10T12:00:00+00:00"
    assert manifest["sources"] == [{"name": "levels_2026q1.csv", "sha256": "ab" * 32, "rows": 24}]
    assert manifest["pdf"]["conformance"] == "PDF/A-3b"
    assert len(manifest["figures"]) == 1 + 2 + 2
    for name, entry in manifest["files"].items():
        content = (written.pdf.parent / name).read_bytes()
        assert entry == {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}


def test_second_run_gives_the_same_bytes(constructed, quarterly, written, tmp_path):
    again = write(constructed, quarterly, tmp_path)
    for path in (written.pdf, written.manifest, *written.annex):
        assert (again.pdf.parent / path.name).read_bytes() == path.read_bytes()


def test_annex_of_levels_has_the_contract_columns(view24):
    """Columns fixed for other people's scripts, in their order."""
    rows = rows_of(annex_files(view24)["levels_of_period.csv"])
    assert list(rows[0])[:14] == [
        "site",
        "well",
        "measured_at",
        "round",
        "status",
        "bound",
        "depth_to_water_m",
        "depth_below_ground_m",
        "measuring_point_elevation_m",
        "water_elevation_m",
        "uncertainty_m",
        "quality",
        "review",
        "finding",
    ]
    assert len(rows) == 23
    dry = next(row for row in rows if row["status"] == "dry")
    assert (dry["bound"], dry["water_elevation_m"], dry["depth_to_water_m"]) == ("<=", "29.2200", "")


def test_annex_in_feet_names_feet(constructed, quarterly):
    from gwnet.reporting.definition.period import parse_period
    from gwnet.reporting.view import look

    view = look(quarterly, constructed.record(4, unit="ft"), parse_period("2026-Q1"))
    row = rows_of(annex_files(view)["levels_of_period.csv"])[0]
    assert "water_elevation_m" not in row
    assert float(row["water_elevation_ft"]) == pytest.approx(constructed.head(0, 2026 + 1 / 12) / 0.3048, abs=1e-4)


def test_annex_holds_every_level_to_date(view24):
    assert len(rows_of(annex_files(view24)["levels_to_date.csv"])) == len(view24.levels)
    states = {row["state"] for row in rows_of(annex_files(view24)["thresholds.csv"])}
    assert states == {"crossed", "not crossed", "undetermined", "no reading"}
    control = rows_of(annex_files(view24)["map_control_U_2026-02-10.csv"])
    assert {row["used"] for row in control} == {"true", "false"}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1 rim", "@SUM(A1)", "\tx", "\rx", "=cmd|' /C calc'!A0"])
def test_text_that_a_spreadsheet_would_run_is_neutralised(text):
    frame = pd.DataFrame({"well": [text], "depth_m": [-1.5], "usable": [True]})
    content = frame_csv(frame, ("site", "well", "depth_m", "usable"), "m", site="S").decode()
    (row,) = csv.DictReader(io.StringIO(content, newline=""))
    assert row == {"site": "S", "well": f"'{text}", "depth_m": "-1.5000", "usable": "true"}


def test_lines_end_the_same_way_on_every_platform(view24):
    content = annex_files(view24)["wells.csv"]
    assert content.count(b"\r\n") == content.count(b"\n") == 25


def test_printed_values_name_table_row_and_column(report24):
    values = printed_values(report24)
    wanted = {
        "table": "levels-2026-Q1",
        "row": "HW-001, 2026-02-10 08:05",
        "column": "Change since: last round",
        "unit": "m",
        "printed": "+0.393",
    }
    assert wanted in values
    keys = [(value["table"], value["row"], value["column"]) for value in values]
    assert len(set(keys)) == len(keys)
    assert len([key for key in keys if key[0] == "thresholds" and key[2] == "Level" and "HW-001" in key[1]]) == 2
    assert ("levels-2026-Q1", "HW-001, 2026-02-10 08:05", "± of Water elevation") in keys
    assert not [key for key in keys if key[0] in {"findings", "corrections"}]


@pytest.mark.parametrize("name", ["../x.pdf", "a/b.pdf", "..", ".", "", "a\\b", "/etc/x", "a\0b"])
def test_no_name_leaves_the_folder(tmp_path, name):
    with pytest.raises(OutputError, match="would leave the output folder"):
        write_files({name: b"x"}, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_names_of_definition_site_and_aquifer_cannot_leave_the_folder(constructed, quarterly, tmp_path):
    data = constructed.record(3)
    data = dataclasses.replace(
        data,
        site=dataclasses.replace(data.site, code="../../site"),
        maps=tuple(dataclasses.replace(facts, aquifer="../up") for facts in data.maps),
    )
    own = dataclasses.replace(quarterly, name="../../evil")
    written = write(constructed, own, tmp_path / "out", data)
    assert {path.parent for path in (written.pdf, written.manifest, *written.annex)} == {tmp_path / "out"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_report_that_cannot_be_made_writes_nothing(constructed, quarterly, tmp_path):
    class Broken(constructed.PlainDrawing):
        def hydrographs(self, view, wells, group, frame):
            raise ReportError("no ink")

    with pytest.raises(ReportError, match="no ink"):
        write_report(
            quarterly,
            constructed.record(3),
            tmp_path / "out",
            period="2026-Q1",
            drawing=Broken(),
            program_version="1",
            schema_revision="1",
        )
    assert not (tmp_path / "out").exists()


def test_old_files_stay_when_the_disk_is_full(tmp_path, monkeypatch):
    write_files({"a": b"old a", "b": b"old b"}, tmp_path)
    calls = []

    def full(descriptor):
        calls.append(descriptor)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(writing.os, "fsync", full)
    with pytest.raises(OutputError, match=r"No space left on device\. Free some room"):
        write_files({"a": b"new a", "b": b"new b"}, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a": b"old a", "b": b"old b"}


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_all_or_nothing_when_a_replacement_fails(tmp_path, monkeypatch, failing):
    write_files({"a": b"old a", "c": b"old c"}, tmp_path)
    replace, calls = Path.replace, []

    def refuse(self, target):
        calls.append(target)
        if len(calls) == failing:
            raise PermissionError(errno.EACCES, "Permission denied")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match=r"Permission denied\. Name a folder"):
        write_files({"a": b"new a", "b": b"new b", "c": b"new c"}, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a": b"old a", "c": b"old c"}


def test_a_real_limit_of_the_system_leaves_nothing_behind(tmp_path):
    """A child process that may write 4 kB a file: the second file is too long, and neither remains."""
    script = (
        "from gwnet.errors import OutputError\n"
        "from gwnet.reporting.write import write_files\n"
        "try:\n"
        "    write_files({'small': b'x' * 100, 'large': b'x' * 100_000}, 'out')\n"
        "except OutputError as error:\n"
        "    print(error)\n"
    )

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=environment,
        preexec_fn=limit,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "The report cannot be written: File too large" in done.stdout
    assert list((tmp_path / "out").iterdir()) == []


def test_folder_that_is_a_file(tmp_path):
    (tmp_path / "out").write_text("here")
    with pytest.raises(OutputError, match="Name a folder, not a file"):
        write_files({"a": b"x"}, tmp_path / "out")
    assert (tmp_path / "out").read_text() == "here"


def test_folder_that_stands_where_a_file_should(tmp_path):
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="b is a folder there"):
        write_files({"a": b"x", "b": b"y"}, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_folder_that_may_not_be_written_to(tmp_path):
    """In a child process without the rights of the superuser, whom no folder refuses."""
    tmp_path.chmod(0o500)
    script = (
        "import os\n"
        "from gwnet.errors import OutputError\n"
        "from gwnet.reporting.write import write_files\n"
        "if os.geteuid() == 0:\n"
        "    os.setuid(65534)\n"
        "try:\n"
        f"    write_files({{'a': b'x'}}, {str(tmp_path)!r})\n"
        "except OutputError as error:\n"
        "    print(error)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    assert "Permission denied. Name a folder that may be written to" in done.stdout


def test_a_link_in_the_folder_is_replaced_and_not_followed(tmp_path):
    outside = tmp_path / "outside"
    outside.write_bytes(b"precious")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "a").symlink_to(outside)
    write_files({"a": b"new"}, folder)
    assert outside.read_bytes() == b"precious"
    assert (folder / "a").read_bytes() == b"new"
    assert not (folder / "a").is_symlink()
