"""The drill: back up the demo record, restore it, and get the same levels and the same report; what is said."""

import pytest

from ..helpers import run_gwnet

DEFINITION = 'title = "Levels"\nsections = ["levels", "sign_off"]\n'


def asked(address, folder, definition):
    """Return what a record answers: its levels as CSV and the bytes of a report."""
    levels = run_gwnet("levels", "--format", "csv", "--db", address, cwd=folder)
    assert levels.code == 0, levels.err
    report = ("report", definition, "--period", "2026-Q1", "--out", folder / "report", "--db", address)
    made = run_gwnet(*report, cwd=folder)
    assert made.code == 0, made.err
    return levels.out, {path.name: path.read_bytes() for path in (folder / "report").iterdir()}


@pytest.fixture
def definition(tmp_path):
    path = tmp_path / "levels.toml"
    path.write_text(DEFINITION)
    return path


@pytest.mark.slow
def test_a_restored_record_answers_as_the_record_did(demo_store, definition, tmp_path):
    before = asked(demo_store, tmp_path, definition)
    made = run_gwnet("backup", "copy.sqlite", "--db", demo_store, cwd=tmp_path)
    assert (made.code, made.out) == (0, "copy.sqlite\n"), made.err
    assert f"Backed up {demo_store}. Verified by reading it back: " in made.err
    assert "original files were compared with their SHA-256" in made.err
    demo_store.unlink()
    restored = run_gwnet("restore", "copy.sqlite", "--db", demo_store, cwd=tmp_path)
    assert restored.code == 0, restored.err
    assert f"Restored {demo_store} from copy.sqlite. Verified by reading it back: " in restored.err
    assert asked(demo_store, tmp_path, definition) == before


@pytest.mark.slow
@pytest.mark.postgres
def test_a_record_moves_to_postgresql_and_back_by_its_backup(demo_store, postgres_url, definition, tmp_path):
    before = asked(demo_store, tmp_path, definition)
    for step in (("backup", "one", "--db", demo_store), ("restore", "one", "--db", postgres_url)):
        done = run_gwnet(*step, cwd=tmp_path)
        assert done.code == 0, done.err
    assert asked(postgres_url, tmp_path, definition) == before
    for step in (("backup", "two", "--db", postgres_url), ("restore", "two", "--db", "back.sqlite")):
        done = run_gwnet(*step, cwd=tmp_path)
        assert done.code == 0, done.err
    assert asked(tmp_path / "back.sqlite", tmp_path, definition) == before


@pytest.mark.slow
def test_a_backup_never_replaces_a_file_unasked(demo_store, tmp_path):
    (tmp_path / "copy").write_text("precious")
    refused = run_gwnet("backup", "copy", "--db", demo_store, cwd=tmp_path)
    assert refused.code == 1
    assert refused.err == "gwnet: copy: There is a file of this name already. Give another name, or say --replace.\n"
    assert (tmp_path / "copy").read_text() == "precious"
    assert run_gwnet("backup", "copy", "--replace", "--db", demo_store, cwd=tmp_path).code == 0


@pytest.mark.slow
def test_a_record_is_never_restored_over_another(demo_store, tmp_path):
    run_gwnet("backup", "copy", "--db", demo_store, cwd=tmp_path)
    refused = run_gwnet("restore", "copy", "--db", demo_store, cwd=tmp_path)
    assert refused.code == 1
    assert "holds a record already" in refused.err
    assert "Traceback" not in refused.err
