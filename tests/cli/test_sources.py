"""``gwnet sources`` and ``gwnet list``: what was loaded comes back byte for byte, and every table is listed."""

import json


def test_a_file_is_written_as_it_was_loaded(logger_files_here, tmp_path):
    run = logger_files_here
    rows = json.loads(run("sources", "--format", "json").out)
    assert "wells.csv" in {row["name"] for row in rows}
    (tmp_path / "got").mkdir()
    got = run("sources", "get", "wells.csv", "--out", "got")
    assert (got.code, "its SHA-256 is that on record" in got.err) == (0, True)
    assert (tmp_path / "got" / "wells.csv").read_bytes() == (tmp_path / "wells.csv").read_bytes()
    number = next(row["source_file_id"] for row in rows if row["name"] == "sites.csv")
    assert run("sources", "get", number, "--out", "again.csv").code == 0
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "sites.csv").read_bytes()
    refused = run("sources", "get", "none.csv")
    assert refused.code == 1
    assert "No file 'none.csv' was loaded." in refused.err


def test_options_before_the_verb_are_refused(logger_files_here):
    refused = logger_files_here("sources", "--format", "csv", "get", "wells.csv")
    assert refused.code == 2
    assert "Options stand after the verb" in refused.err


def test_installations_are_listed_under_the_name_of_their_table_as_well(logger_files_here):
    run = logger_files_here
    listed = run("list", "installations", "--format", "csv")
    assert listed.code == 0
    assert len(listed.out.splitlines()) > 1
    assert run("list", "deployments", "--format", "csv").out == listed.out
