"""Reports that cannot be made."""

import json

import pytest

from ..helpers import run_fresh_gwnet, run_gwnet


@pytest.mark.slow
def test_a_period_without_levels_is_refused(demo_store, tmp_path):
    ran = run_gwnet(
        "report", "quarterly", "--period", "1950-Q1", "--out", "report", "--db", str(demo_store), cwd=tmp_path
    )
    assert ran.code == 1
    assert "neither a level nor a round" in ran.err
    assert "2018-02-20" in ran.err
    assert not (tmp_path / "report").exists()


def test_an_out_folder_that_cannot_be_made(demo_store, tmp_path):
    (tmp_path / "report").write_text("a file stands here")
    ran = run_gwnet(
        "report", "quarterly", "--period", "2026-Q1", "--out", "report", "--db", str(demo_store), cwd=tmp_path
    )
    assert ran.code == 2
    assert "is a file" in ran.err
    assert (tmp_path / "report").read_text() == "a file stands here"


@pytest.mark.slow
def test_a_definition_cannot_lead_out_of_the_folder(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('title = "x"\nsections = ["summary"]\nname = "../../out"\n')
    out = ("--out", "report", "--db", str(demo_store))
    ran = run_gwnet("report", str(own), "--period", "2026-Q1", *out, cwd=tmp_path)
    assert ran.code == 1
    ran = run_gwnet("report", "quarterly", "--period", "../2026-Q1", *out, cwd=tmp_path)
    assert ran.code == 1
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix != ".sqlite") == ["own.toml"]


@pytest.mark.slow
def test_the_same_record_gives_the_same_bytes_in_fresh_processes(demo_store, tmp_path):
    """Once as it stands, once known on the time that the first run printed."""
    own = tmp_path / "own.toml"
    sections = ["summary", "levels", "maps", "hydrographs", "trends", "data_quality", "methods", "sign_off"]
    own.write_text(f'title = "Own"\nsections = {json.dumps(sections)}\n[select]\naquifers = ["lower"]\n')
    known_on = []
    for seed in ("1", "2"):
        ran = run_fresh_gwnet(
            *("report", str(own), "--period", "2026-Q1", "--out", seed, "--db", str(demo_store), *known_on),
            cwd=tmp_path,
            env={"PYTHONHASHSEED": seed},
        )
        assert ran.code == 0, ran.err
        (manifest,) = (tmp_path / seed).glob("*.manifest.json")
        printed = json.loads(manifest.read_text(encoding="utf-8"))["known_on_utc"]
        known_on = ["--known-on", printed]
    names = sorted(path.name for path in (tmp_path / "1").iterdir())
    assert len(names) > 5
    for name in names:
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes(), name


@pytest.mark.slow
def test_a_time_that_has_not_come_is_refused(demo_store, tmp_path):
    ran = run_gwnet("wells", "--known-on", "2999-01-01T00:00Z", "--db", str(demo_store), cwd=tmp_path)
    assert ran.code == 2
    assert "has not come yet" in ran.err
