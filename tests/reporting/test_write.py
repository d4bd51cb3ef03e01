"""Writing a report: manifest, annex, and what happens when the folder or the disk does not play along."""

import csv
import dataclasses
import hashlib
import io
import json

import pandas as pd
import pytest

from gwnet.errors import ReportError
from gwnet.reporting.annex.files import annex_files, frame_csv
from gwnet.reporting.annex.manifest import printed_values
from gwnet.reporting.write import make_files


def write(constructed, quarterly, folder, data=None, period="2026-Q1"):
    return make_files(
        quarterly,
        data or constructed.record(4),
        period=period,
        drawing=constructed.PlainDrawing(),
        program_version="9.9",
        schema_revision="0008",
    ).write(folder)


def rows_of(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"))))


@pytest.fixture(scope="module")
def written(constructed, quarterly, tmp_path_factory):
    return write(constructed, quarterly, tmp_path_factory.mktemp("out") / "new" / "folder")


@pytest.mark.slow
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
            f"{stem}_crossings.csv",
            f"{stem}_threshold_levels.csv",
            f"{stem}_corrections.csv",
            f"{stem}_findings.csv",
            f"{stem}_rounds.csv",
            f"{stem}_tape_checks.csv",
            f"{stem}_map_control_L_2026-02-10.csv",
            f"{stem}_map_control_U_2026-02-10.csv",
        ]
    )
    assert written.files.state == "PROVISIONAL"


def test_manifest_tells_what_the_report_was_made_from(written, quarterly):
    manifest = json.loads(written.manifest.read_text(encoding="utf-8"))
    assert manifest["program"] == {"name": "gwnet", "version": "9.9"}
    assert manifest["schema_revision"] == "0008"
    assert manifest["definition"] == {"name": "quarterly", "sha256": quarterly.sha256}
    assert manifest["period"] == {"label": "2026-Q1", "first": "2026-01-01", "last": "2026-03-31"}
    assert manifest["known_on_utc"] == "2026-04-10T12:00:00+00:00"
    assert manifest["record_state"]["number"] == 24
    assert manifest["sources"] == [{"name": "levels_2026q1.csv", "sha256": "ab" * 32, "rows": 24}]
    assert manifest["pdf"]["conformance"] == "PDF/A-3b"
    assert len(manifest["figures"]) == 1 + 2 + 2
    for name, entry in manifest["files"].items():
        content = (written.pdf.parent / name).read_bytes()
        assert entry == {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}


@pytest.mark.slow
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
    assert states == {"crossed", "not crossed", "cannot be judged"}
    crossings = rows_of(annex_files(view24)["crossings.csv"])
    assert len(crossings) == sum(len(state.crossings) for state in view24.thresholds)
    held = rows_of(annex_files(view24)["threshold_levels.csv"])
    assert {row["state"] for row in held} == {"beyond", "not beyond", "undetermined", "left out"}
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_a_report_that_cannot_be_made_writes_nothing(constructed, quarterly, tmp_path):
    class Broken(constructed.PlainDrawing):
        def hydrographs(self, view, wells, group, frame):
            raise ReportError("no ink")

    with pytest.raises(ReportError, match="no ink"):
        make_files(
            quarterly,
            constructed.record(3),
            period="2026-Q1",
            drawing=Broken(),
            program_version="1",
            schema_revision="1",
        ).write(tmp_path / "out")
    assert not (tmp_path / "out").exists()
