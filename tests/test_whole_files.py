"""Writing several files: all of them or none, old ones put back, nothing outside the folder."""

import errno
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gwnet import whole_files
from gwnet.errors import OutputError
from gwnet.whole_files import replace_files, write_files

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("name", ["../x.pdf", "a/b.pdf", "..", ".", "", "a\\b", "/etc/x", "a\0b"])
def test_no_name_leaves_the_folder(tmp_path, name):
    with pytest.raises(OutputError, match="would leave the output folder"):
        write_files(tmp_path / "out", {name: b"x"}, "report")
    assert not (tmp_path / "out").exists()


def test_old_files_stay_when_the_disk_is_full(tmp_path, monkeypatch):
    write_files(tmp_path, {"a": b"old a", "b": b"old b"}, "report")
    calls = []

    def full(descriptor):
        calls.append(descriptor)
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(whole_files.os, "fsync", full)
    with pytest.raises(OutputError, match=r"No space left on device\. Free some room"):
        write_files(tmp_path, {"a": b"new a", "b": b"new b"}, "report")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a": b"old a", "b": b"old b"}


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_all_or_nothing_when_a_replacement_fails(tmp_path, monkeypatch, failing):
    write_files(tmp_path, {"a": b"old a", "c": b"old c"}, "report")
    replace, calls = Path.replace, []

    def refuse(self, target):
        calls.append(target)
        if len(calls) == failing:
            raise PermissionError(errno.EACCES, "Permission denied")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match=r"Permission denied\. Name a folder"):
        write_files(tmp_path, {"a": b"new a", "b": b"new b", "c": b"new c"}, "report")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a": b"old a", "c": b"old c"}


def test_a_real_limit_of_the_system_leaves_nothing_behind(tmp_path):
    """A child process that may write 4 kB a file: the second file is too long, and neither remains."""
    script = (
        "from gwnet.errors import OutputError\n"
        "from gwnet.whole_files import write_files\n"
        "try:\n"
        "    write_files('out', {'small': b'x' * 100, 'large': b'x' * 100_000}, 'report')\n"
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
        write_files(tmp_path / "out", {"a": b"x"}, "report")
    assert (tmp_path / "out").read_text() == "here"


def test_folder_that_stands_where_a_file_should(tmp_path):
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="b is a folder there"):
        write_files(tmp_path, {"a": b"x", "b": b"y"}, "report")
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_folder_that_may_not_be_written_to(tmp_path):
    """In a child process without the rights of the superuser, whom no folder refuses."""
    folder, first = tmp_path / "closed", tmp_path / "open"
    folder.mkdir(mode=0o500)
    script = (
        "import os\n"
        "from gwnet.errors import OutputError\n"
        "from gwnet.whole_files import write_files\n"
        # loads every module that writing needs, which the interpreter may keep where only the superuser reads
        f"write_files({str(first)!r}, {{'a': b'x'}}, 'report')\n"
        "if os.geteuid() == 0:\n"
        "    os.setuid(65534)\n"
        "try:\n"
        f"    write_files({str(folder)!r}, {{'a': b'x'}}, 'report')\n"
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
    write_files(folder, {"a": b"new"}, "report")
    assert outside.read_bytes() == b"precious"
    assert (folder / "a").read_bytes() == b"new"
    assert not (folder / "a").is_symlink()


def test_paths_in_several_folders_are_written_all_or_none(tmp_path):
    (tmp_path / "a").mkdir()
    old = tmp_path / "a" / "old"
    old.write_bytes(b"old")
    with pytest.raises(OutputError, match=r"The figure cannot be written: No such file.*Check that the folder exists"):
        replace_files({old: b"new", tmp_path / "none" / "b": b"b"}, "figure")
    assert old.read_bytes() == b"old"
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["old"]
    (tmp_path / "none").mkdir()
    written = replace_files({old: b"new", tmp_path / "none" / "b": b"b"}, "figure")
    assert [path.read_bytes() for path in written] == [b"new", b"b"]
