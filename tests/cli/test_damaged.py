"""Damaged SQLite files: a sentence with what to do, never a traceback, and no other level where reading can know."""

import random
import shutil
import sqlite3

import pytest

from gwnet.cli import main

from ..products.field_record import field_network

FLIPS = 60
WHAT_TO_DO = "Run 'gwnet doctor' to see what is wrong, and restore the newest backup that is whole: 'gwnet restore'."


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    with field_network(folder) as net:
        return folder / net.store.name


@pytest.fixture
def damaged(whole, tmp_path):
    return shutil.copyfile(whole, tmp_path / "damaged.sqlite")


def levels(path, capsys):
    code = main(["levels", "--format", "csv", "--db", str(path)])
    return code, *capsys.readouterr()


@pytest.mark.slow
def test_flipped_bits_give_the_levels_or_a_sentence(whole, tmp_path, capsys):
    """What a flipped bit makes of a value that is still one of its kind is for `gwnet doctor`, not for reading."""
    expected = levels(whole, capsys)
    content, chosen = whole.read_bytes(), random.Random(12)
    said = 0
    for number in range(FLIPS):
        flipped = bytearray(content)
        flipped[chosen.randrange(len(content))] ^= 1 << chosen.randrange(8)
        path = tmp_path / f"{number}.sqlite"
        path.write_bytes(flipped)
        code, out, err = levels(path, capsys)
        assert code in (0, 1)
        assert "Traceback" not in err
        assert (out, err) == expected[1:] or code == 1 or abs(out.count("\n") - expected[1].count("\n")) <= 1
        said += code == 1 and WHAT_TO_DO in err
    assert said >= 1


def altered(path, *statements):
    """Write past every guard of the schema."""
    with sqlite3.connect(path) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("PRAGMA ignore_check_constraints = ON")
        for statement in statements:
            connection.execute(statement)
    connection.close()
    return path


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE level_reading SET value = 'deep'", "'deep', which is no number"),
        ("UPDATE level_reading SET value = x'00ff'", "which is no number"),
        ("UPDATE measuring_point SET elevation_m = 'high'", "'high', which is no number"),
        ("UPDATE level_event SET measured_at_utc = 'day ' || id", "holds a value that is no instant"),
        ("UPDATE well_record SET drilled_on = 'x'", "x"),
        ("UPDATE well_record SET drilled_on = 17", "argument must be str"),
        ("UPDATE site_record SET name = CAST(x'c328' AS TEXT)", "Could not decode to UTF-8"),
    ],
)
def test_values_of_another_type_are_said(damaged, statement, found, capsys):
    code, out, err = levels(altered(damaged, statement), capsys)
    assert (code, out) == (1, "")
    assert "The database is damaged" in err
    assert found in err
    assert WHAT_TO_DO in err


@pytest.mark.parametrize("start", [100, 4096 * 3, 4096 * 20, 4096 * 60])
def test_pages_that_are_lost_are_said_or_not_needed(whole, damaged, start, capsys):
    content = bytearray(whole.read_bytes())
    content[start : start + 4096] = bytes(4096)
    damaged.write_bytes(content)
    code, out, err = levels(damaged, capsys)
    assert "Traceback" not in err
    if code == 0:
        assert out == levels(whole, capsys)[1]
    else:
        assert code == 1
        assert "damaged" in err or "not a gwnet database" in err or "holds no gwnet record" in err


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_a_file_that_was_cut_is_said(whole, damaged, share, capsys):
    content = whole.read_bytes()
    damaged.write_bytes(content[: int(len(content) * share)])
    code, out, err = levels(damaged, capsys)
    assert (code, out) == (1, "")
    assert "Traceback" not in err
    assert "damaged" in err or "holds no gwnet record" in err


def test_a_damaged_record_is_not_backed_up_in_silence(whole, damaged, tmp_path, capsys):
    content = bytearray(whole.read_bytes())
    content[4096 * 20 : 4096 * 24] = bytes(4 * 4096)
    damaged.write_bytes(content)
    assert main(["backup", str(tmp_path / "copy"), "--db", str(damaged)]) == 1
    assert "damaged" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["damaged.sqlite"]
