"""``gwnet import``: proposing, trying and using a mapping."""

import json

import pytest

READINGS = (
    "Station,Date,RP elev (ft),Tape at RP,Tape at water,Remark\n"
    "W-7,4/15/2019,100.00,25,1.80,\nW-7,10/15/2019,100.00,26,1.35,\nW-7,4/16/2020,100.35,25,2.05,dry casing\n"
    "W-7,10/14/2020,100.35,,,locked\n"
)
STATIONS = "Station,Latitude,Longitude,Ground elev (ft)\nW-7,38.53,-121.71,98.5\n"


@pytest.fixture
def files(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "readings.csv").write_text(READINGS)
    (tmp_path / "stations.csv").write_text(STATIONS)
    return ["readings.csv", "stations.csv"]


def test_a_mapping_is_proposed_saved_used_and_used_again_by_its_name(gwnet_here, files, tmp_path):
    known = ["--site", "FARM", "--zone", "America/Los_Angeles", "--datum", "NAVD 88"]
    done = gwnet_here("import", "try", *files, *known, "--save", "farm.toml")
    assert done.code == 0
    assert "W-7 on 2020-04-16: 100.00 to 100.35 ft, 2 readings, line 4" in done.out
    assert "Nothing is open" in done.out
    assert gwnet_here("init", "--db", "a.sqlite").code == 0
    dry = gwnet_here("import", *files, "--mapping", "farm.toml", "--db", "a.sqlite", "--dry-run")
    assert dry.code == 0
    assert "level_events.tape_at_mark [ft]" in dry.out
    assert "Dry run: nothing was written." in dry.err
    done = gwnet_here("import", *files, "--mapping", "farm.toml", "--db", "a.sqlite", "--by", "Ana")
    assert done.code == 0
    assert "readings.csv: level_events: 4 rows, 4 added" in done.out
    (tmp_path / "more.csv").write_text(READINGS.splitlines()[0] + "\nW-7,4/15/2021,100.35,25,3.05,\n")
    text = (tmp_path / "farm.toml").read_text().replace('file = "readings.csv"', 'file = "more.csv"')
    (tmp_path / "farm.toml").write_text(text)
    listed = json.loads(gwnet_here("import", "mappings", "--db", "a.sqlite", "--format", "json").out)
    assert [(row["name"], row["files"]) for row in listed] == [("farm", 2)]
    again = gwnet_here("import", *files, "--mapping", "farm", "--db", "a.sqlite")
    assert again.code == 0
    assert "already imported" in again.out


def test_what_is_in_doubt_is_printed_and_stops_the_import_but_not_its_dry_run(gwnet_here, files):
    done = gwnet_here("import", "try", *files, "--save", "m.toml", "--format", "csv")
    assert done.code == 3
    assert done.out.startswith("file,source_column,target,rows,filled,first_values\n")
    assert "check: line" in done.err
    assert gwnet_here("init", "--db", "a.sqlite").code == 0
    stopped = gwnet_here("import", *files, "--mapping", "m.toml", "--db", "a.sqlite")
    assert (stopped.code, "marked CHECK" in stopped.err) == (1, True)
    assert "is there already" not in stopped.err
    saved_again = gwnet_here("import", "try", *files, "--save", "m.toml")
    assert (saved_again.code, "such a file already" in saved_again.err) == (1, True)


def test_rejections_name_the_source_and_nothing_is_written(gwnet_here, files, tmp_path):
    known = ["--site", "FARM", "--zone", "America/Los_Angeles", "--datum", "NAVD 88"]
    gwnet_here("import", "try", *files, *known, "--save", "farm.toml")
    (tmp_path / "readings.csv").write_text(READINGS.replace("W-7,10/15/2019", "W-8,10/15/2019"))
    assert gwnet_here("init", "--db", "a.sqlite").code == 0
    stopped = gwnet_here("import", *files, "--mapping", "farm.toml", "--db", "a.sqlite", "--format", "csv")
    assert stopped.code == 1
    assert "readings.csv,3,Station,W-8,well-unknown" in stopped.out
    assert gwnet_here("import", *files, "--mapping", "farm.toml", "--db", "a.sqlite", "--keep-good").code == 3


def test_waterml_is_said_to_need_no_mapping(gwnet_here, tmp_path):
    (tmp_path / "levels.xml").write_text("<Collection/>")
    gwnet_here("init")
    tried = gwnet_here("import", "try", "levels.xml")
    assert tried.code == 2
    assert "levels.xml: a WaterML document needs no mapping." in tried.err
    loaded = gwnet_here("load", "levels.xml", "--by", "A")
    assert loaded.code == 1
    assert "A WaterML document is loaded by 'gwnet import levels.xml'" in loaded.err
