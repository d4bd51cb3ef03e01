"""What a shell completes, what goes through the pager, and what is left out when it is to be quiet."""

import os
import pty
import subprocess
import sys
import threading

import click
import pytest
from click.shell_completion import ShellComplete

from gwnet.cli import completion, group, main, output
from gwnet.cli.output import is_quiet, rows

from ..exchange.time_series import load_record
from ..helpers import surroundings


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    return str(load_record(tmp_path_factory.mktemp("completion")))


def completed(*words):
    return [
        item.value
        for item in ShellComplete(group, {}, "gwnet", "_GWNET_COMPLETE").get_completions(list(words[:-1]), words[-1])
    ]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("levels", "--well", ""), ["A <1>", "B-2"]),
        (("levels", "--well", "b"), ["B-2"]),
        (("levels", "--well", "B-2", "--well", ""), ["A <1>"]),
        (("hydrograph", "A"), ["A <1>"]),
        (("map", "--aquifer", ""), ["U"]),
        (("levels", "--site", "H"), ["HOL"]),
        (("levels", "--round", ""), []),
        (("report", "quart"), ["quarterly"]),
        (("report", "make", "tr"), ["trends"]),
        (("hydr",), ["hydrograph"]),
    ],
)
def test_codes_of_the_record_are_completed(address, monkeypatch, words, found):
    monkeypatch.setenv("GWNET_DB", address)
    assert completed(*words) == found


def test_without_a_record_nothing_is_completed_and_nothing_is_said(tmp_path, monkeypatch, capfd):
    monkeypatch.setenv("GWNET_DB", str(tmp_path / "none.sqlite"))
    assert completed("levels", "--well", "") == []
    assert capfd.readouterr() == ("", "")
    assert list(tmp_path.iterdir()) == []
    assert completion.definitions("no-such")[0].type == "file"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_script(shell):
    env = surroundings(_GWNET_COMPLETE=f"{shell}_source")
    code = "import sys; from gwnet.cli import main; sys.exit(main())"
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=False)
    assert "_GWNET_COMPLETE" in done.stdout, done.stderr


def printed_on_a_terminal(address, monkeypatch, lines):
    """Return whether the rows of a command go through the pager on a terminal of that many lines."""
    paged = []
    controlling, terminal = pty.openpty()
    with os.fdopen(controlling), os.fdopen(terminal, "w") as screen, monkeypatch.context() as patch:
        patch.setattr(click, "echo_via_pager", paged.append)
        patch.setattr("shutil.get_terminal_size", lambda *_: os.terminal_size((200, lines)))
        patch.setattr(sys, "stdin", screen)
        patch.setattr(sys, "stdout", screen)
        assert main(["levels", "--db", address]) == 0
    return bool(paged)


def test_a_long_table_goes_through_the_pager_on_a_terminal_only(address, monkeypatch, capsys):
    assert main(["levels", "--db", address]) == 0
    assert "B-2" in capsys.readouterr().out
    assert printed_on_a_terminal(address, monkeypatch, 5)
    assert not printed_on_a_terminal(address, monkeypatch, 500)


def test_quiet_leaves_messages_out_and_errors_in(address, capsys):
    assert main(["levels", "--db", address, "--well", "B-2"]) == 0
    loud = capsys.readouterr()
    assert "Record as known on" in loud.err
    assert main(["--quiet", "levels", "--db", address, "--well", "B-2"]) == 0
    quiet = capsys.readouterr()
    assert (quiet.out, quiet.err) == (loud.out, "")
    assert main(["--quiet", "levels", "--db", address, "--well", "none"]) == 1
    assert "none" in capsys.readouterr().err
    assert not is_quiet()
    assert rows.__doc__


def test_verbose_says_how_long_it_took_and_does_not_go_with_quiet(address, capsys):
    assert main(["--verbose", "wells", "--db", address]) == 0
    assert "took 0." in capsys.readouterr().err.replace("took 1.", "took 0.")
    assert main(["--verbose", "--quiet", "wells", "--db", address]) == 2


def test_a_command_that_takes_long_says_so_on_a_terminal_and_clears_it(monkeypatch):
    shown = []
    monkeypatch.setattr(output, "_PATIENCE_S", 0.01)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    said = threading.Event()
    monkeypatch.setattr(click, "echo", lambda text, **_: (shown.append(text), said.set()))
    with click.Context(group, info_name="gwnet"), output.working():
        assert said.wait(60.0)
    assert "gwnet is at work" in shown[0]
    assert not shown[-1].strip()


def test_nothing_is_said_beside_a_progress_bar_or_without_a_terminal(monkeypatch):
    shown = []
    monkeypatch.setattr(click, "echo", lambda text, **_: shown.append(text))
    with click.Context(group, info_name="gwnet"), output.working():
        pass
    assert shown == []
    with output.progress("loading") as show:
        show(1, 2)
    assert shown == []
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with output.progress("loading") as show:
        assert output._Bars.count == 0, "nothing is known of the progress, so the command may be said to be at work"
        show(1, 2)
        assert output._Bars.count == 1
    assert output._Bars.count == 0
    assert "loading  50%  (1 of 2)" in shown[0]
