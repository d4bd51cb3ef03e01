"""Writing several files: all of them or none, old ones put back, nothing outside the folder."""

import errno
import json
import os
import platform
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gwnet import whole_files
from gwnet.errors import OutputError
from gwnet.whole_files import Registration, finish_begun, replace_files, staged_file, write_files

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


@pytest.mark.parametrize("call", ["mkdir", "fsync", "link", "replace"])
@pytest.mark.parametrize("failing", range(1, 12))
def test_all_or_nothing_when_a_call_of_the_system_fails(tmp_path, monkeypatch, call, failing):
    write_files(tmp_path, {"a": b"old a", "c": b"old c"}, "report")
    original, calls = getattr(os, call), []

    def refuse(*args, **more):
        calls.append(args)
        if len(calls) == failing:
            raise OSError(errno.ENOSPC, "No space left on device")
        return original(*args, **more)

    monkeypatch.setattr(os, call, refuse)
    new = {"a": b"new a", "b": b"new b", "c": b"new c"}
    refused = None
    try:
        write_files(tmp_path, new, "report")
    except OutputError as error:
        refused = str(error)
    if refused is None:  # a refused second name becomes a copy, a folder that is there need not be made
        assert len(calls) < failing or call == "link" or (call, failing) == ("mkdir", 1)
        assert read_folder(tmp_path) == new
    else:
        assert "No space left on device. Free some room" in refused
        assert read_folder(tmp_path) == {"a": b"old a", "c": b"old c"}


def read_folder(folder):
    """Return the content of every file of a folder by name, hidden ones and folders too."""
    return {path.name: path.is_file() and path.read_bytes() for path in folder.iterdir()}


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
    assert not (tmp_path / "out").exists()


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


def test_what_is_written_at_the_same_time_is_never_mixed(tmp_path):
    """Four processes write sets of their own into one folder, over and over; each file says which set it is of."""
    script = (
        "import os, sys\n"
        "from gwnet.whole_files import write_files\n"
        "for turn in range(12):\n"
        "    mark = f'{sys.argv[1]} {turn}'.encode()\n"
        "    write_files('out', {name: mark for name in 'abcdef'}, 'report')\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    writers = [subprocess.Popen([sys.executable, "-c", script, name], cwd=tmp_path, env=environment) for name in "1234"]
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0, 0, 0]
    files = read_folder(tmp_path / "out")
    assert sorted(files) == list("abcdef")
    assert len(set(files.values())) == 1


def test_a_run_waits_for_another_in_the_folder_and_says_so_in_the_end(tmp_path, monkeypatch):
    import fcntl

    monkeypatch.setattr(whole_files, "_WAIT_S", 0.1)
    holder = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(holder, fcntl.LOCK_EX)
    with pytest.raises(OutputError, match="another run is writing into the folder"):
        write_files(tmp_path, {"a": b"x"}, "report")
    os.close(holder)
    write_files(tmp_path, {"a": b"x"}, "report")
    assert read_folder(tmp_path) == {"a": b"x"}


def test_without_locks_what_a_live_run_has_staged_is_left_alone(tmp_path, monkeypatch):
    def refuse(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(whole_files.fcntl, "flock", refuse)
    for name, process in (("alive", os.getppid()), ("dead", 2**22 + 1)):
        staged = tmp_path / f"{whole_files.STAGED}{name}"
        staged.mkdir()
        begun = {"files": [], "host": platform.node(), "process": process}
        (staged / "begun.json").write_text(json.dumps(begun))
    write_files(tmp_path, {"a": b"x"}, "report")
    assert sorted(read_folder(tmp_path)) == [f"{whole_files.STAGED}alive", "a"]


def test_one_large_file_is_staged_and_takes_its_place_at_the_end(tmp_path):
    target = tmp_path / "copy"
    target.write_bytes(b"old")
    with staged_file(target, "backup") as path:
        path.write_bytes(b"new")
        assert target.read_bytes() == b"old"
    assert read_folder(tmp_path) == {"copy": b"new"}
    with pytest.raises(TypeError), staged_file(target, "backup") as path:
        path.write_bytes(None)
    assert read_folder(tmp_path) == {"copy": b"new"}


@pytest.mark.parametrize("answer", [False, None, True])
def test_a_registration_that_fails_leaves_the_files_that_the_register_says(tmp_path, answer):
    def register():
        raise ZeroDivisionError

    registration = Registration({"report": "1"}, register, lambda mark: answer)
    out = tmp_path / "out"
    if answer:
        assert write_files(out, {"a": b"x"}, "report", registration) == {"a": out / "a"}
        assert read_folder(out) == {"a": b"x"}
        return
    with pytest.raises(ZeroDivisionError):
        write_files(out, {"a": b"x"}, "report", registration)
    if answer is False:
        assert not out.exists()
        return
    assert not (out / "a").exists()
    write_files(out, {"b": b"y"}, "map")  # a run that knows no register leaves what is registered in one
    assert not (out / "a").exists()
    assert finish_begun(out, lambda mark: mark == {"report": "1"}) == [out / "a"]
    assert read_folder(out) == {"a": b"x", "b": b"y"}


def test_registered_files_that_cannot_be_put_in_place_are_completed_by_the_next_run(tmp_path, monkeypatch):
    replace = os.replace

    def refuse(source, target):
        if Path(target) == tmp_path / "b":
            raise PermissionError(errno.EACCES, "Permission denied")
        return replace(source, target)

    monkeypatch.setattr(os, "replace", refuse)
    registered = []
    registration = Registration({}, lambda: registered.append(1), lambda mark: bool(registered))
    with pytest.raises(OutputError, match="registered, but not all of them could be put in place"):
        write_files(tmp_path, {"a": b"x", "b": b"y"}, "report", registration)
    monkeypatch.undo()
    write_files(tmp_path, {"c": b"z"}, "map")
    assert read_folder(tmp_path) == {"a": b"x", "b": b"y", "c": b"z"}
