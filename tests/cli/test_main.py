"""The door of the command line: exit codes, messages, and what happens when it is stopped."""

import csv
import errno
import io
import json
import math
import subprocess
import sys
import warnings
from types import SimpleNamespace
from typing import ClassVar

import pandas as pd
import pytest

import gwnet.network
from gwnet.cli import COMMANDS, DONE, SECTIONS, STOPPED, WRONG_USAGE, group, main
from gwnet.errors import GwnetWarning, NotFoundError

from ..helpers import run_fresh_gwnet, run_gwnet, surroundings

WELLS = pd.DataFrame(
    {
        "well_id": [1, 2],
        "site": ["Mill Meadow", "Mill Meadow"],
        "well": ["MW-1", "=MW-2"],
        "easting": [451203.4, 451210.0],
        "total_depth_m": [3.048, math.nan],
        "drilled_on": [None, None],
    }
)


class FakeNetwork:
    """Stands for the record: gives what a test puts in, and keeps what it was asked."""

    answer = WELLS
    asked: ClassVar[list] = []

    def __init__(self, address, **_):
        self.store = SimpleNamespace(looked_at=None, say=None)
        self.asked.clear()
        self.asked.append(address)

    def close(self):
        self.asked.append("closed")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def sites(self):
        return pd.DataFrame({"site": ["M"], "length_unit": ["m"]})

    def wells(self, site, known_on):
        if isinstance(self.answer, BaseException):
            raise self.answer
        if callable(self.answer):
            return self.answer()
        return self.answer


@pytest.fixture
def fake(monkeypatch):
    monkeypatch.setattr(gwnet.network, "Network", FakeNetwork)
    monkeypatch.setattr(FakeNetwork, "answer", WELLS)
    monkeypatch.delenv("GWNET_DB", raising=False)
    return FakeNetwork


def test_the_help_lists_every_command_with_its_line(capsys):
    assert main(["--help"]) == DONE
    shown = " ".join(capsys.readouterr().out.split())
    for name, (_, line) in COMMANDS.items():
        assert f"{name} {line}" in shown


@pytest.mark.parametrize("name", COMMANDS)
def test_the_line_in_the_table_is_the_first_of_the_docstring(name):
    command = group.get_command(None, name)
    assert command.name == name
    assert COMMANDS[name][1] == command.help.split("\n")[0]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_a_help_text(name):
    for parameter in group.get_command(None, name).params:
        assert parameter.param_type_name == "argument" or parameter.help, parameter.name


def test_version(capsys):
    assert main(["--version"]) == DONE
    assert capsys.readouterr().out == f"gwnet {gwnet.__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["levles"], "Did you mean levels"),
        (["qqqq"], "gwnet --help"),
        (["wells", "--format", "xml"], "'xml'"),
        (["wells", "--known-on", "2026-04-07"], "has no zone"),
        (["wells", "--nonsense"], "--nonsense"),
        (["levels", "--to", "2026-01-01", "--from", "2026-02-01"], "lies before"),
        (["wells", "--by", "x"], "--by"),
        (["load", "a.csv", "--by", " "], "nobody is named"),
        (["map"], "Missing option"),
        (["hydrograph", "--out", "a.png"], "Missing argument"),
        (["gradient", "--wells", "A,B,C", "--date", "10.3.2026"], "YYYY-MM-DD"),
    ],
)
def test_wrong_usage_exits_2_with_the_way_to_help(arguments, told, capsys):
    assert main(arguments) == WRONG_USAGE
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("gwnet: ")
    assert told in printed.err
    assert "--help" in printed.err


def test_without_a_command_the_help_is_shown_as_wrong_usage(capsys):
    assert main([]) == WRONG_USAGE
    assert "Bring data in:" in capsys.readouterr().err


def test_our_errors_become_one_message_and_exit_1(fake, capsys):
    fake.answer = NotFoundError("There is no site 'X\x1b'.", where="a.sqlite", fix="Known sites: none.")
    assert main(["wells"]) == STOPPED
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == "gwnet: a.sqlite: There is no site 'X\\x1b'. Known sites: none.\n"
    assert fake.asked[:2] == ["gwnet.sqlite", "closed"]


def test_the_operating_system_s_refusal_becomes_a_message(fake, capsys):
    fake.answer = PermissionError(13, "Permission denied", "out/map.pdf")
    assert main(["wells"]) == STOPPED
    assert capsys.readouterr().err == "gwnet: out/map.pdf: Permission denied.\n"


def test_the_keyboard_stops_it(fake, capsys):
    fake.answer = KeyboardInterrupt()
    assert main(["wells"]) == STOPPED
    assert "gwnet: stopped by the keyboard." in capsys.readouterr().err


def test_a_fault_of_the_program_is_not_hidden(fake):
    fake.answer = ZeroDivisionError("a fault")
    with pytest.raises(ZeroDivisionError):
        main(["wells"])


def test_our_warnings_become_notes(fake, capsys):
    def answer():
        warnings.warn("only two levels", GwnetWarning, stacklevel=1)
        return WELLS

    fake.answer = staticmethod(answer)
    assert main(["wells"]) == DONE
    assert "gwnet: note: only two levels\n" in capsys.readouterr().err


def test_the_database_comes_from_the_option_then_the_environment(fake, monkeypatch):
    monkeypatch.setenv("GWNET_DB", "from-environment.sqlite")
    assert main(["wells"]) == DONE
    assert fake.asked[0] == "from-environment.sqlite"
    assert main(["wells", "--db", "from-option.sqlite"]) == DONE
    assert fake.asked[0] == "from-option.sqlite"


def test_csv_has_the_contract_s_names_and_neutral_cells(fake, capsys):
    assert main(["wells", "--format", "csv"]) == DONE
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert rows[0] == ["site", "well", "easting", "total_depth_m", "drilled_on"]
    assert rows[1] == ["Mill Meadow", "MW-1", "451203.4", "3.048", ""]
    assert rows[2][1] == "'=MW-2"


def test_feet_change_numbers_and_names(fake, capsys):
    assert main(["wells", "--format", "json", "--unit", "ft"]) == DONE
    records = json.loads(capsys.readouterr().out)
    # 0.3048 m is one international foot exactly (85 FR 62698, 2020)
    assert records[0]["total_depth_ft"] == 10.0
    assert records[1] == {
        "site": "Mill Meadow",
        "well": "=MW-2",
        "easting": 451210.0,
        "total_depth_ft": None,
        "drilled_on": None,
    }


def test_an_empty_answer_is_said_and_stays_valid_data(fake, capsys):
    fake.answer = WELLS.iloc[:0]
    assert main(["wells"]) == DONE
    assert capsys.readouterr().err == "No well is on record.\n"
    assert main(["wells", "--format", "json"]) == DONE
    assert json.loads(capsys.readouterr().out) == []
    assert main(["wells", "--format", "csv"]) == DONE
    assert capsys.readouterr().out == "site,well,easting,total_depth_m,drilled_on\n"


@pytest.mark.parametrize("command", ["wells", "rounds", "levels", "check", "upgrade"])
def test_a_reading_command_never_makes_a_database(command, tmp_path):
    ran = run_fresh_gwnet(command, cwd=tmp_path)
    assert ran.code == STOPPED
    assert "gwnet init" in ran.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_init_makes_a_database_once(tmp_path):
    made = run_gwnet("init", cwd=tmp_path)
    assert made.code == DONE, made.err
    before = (tmp_path / "gwnet.sqlite").read_bytes()
    again = run_gwnet("init", cwd=tmp_path)
    assert again.code == DONE
    assert "already" in again.err
    assert (tmp_path / "gwnet.sqlite").read_bytes() == before
    assert run_gwnet("upgrade", cwd=tmp_path).code == DONE
    assert run_gwnet("wells", cwd=tmp_path).err == "No well is on record.\n"


def test_init_where_nothing_can_be_made_says_so(tmp_path):
    ran = run_gwnet("init", "--db", "missing/folder/a.sqlite", cwd=tmp_path)
    assert ran.code == STOPPED
    assert ran.err.startswith("gwnet: ")
    assert "Traceback" not in ran.err


@pytest.mark.slow
def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path):
    (tmp_path / "gwnet.sqlite").write_text("field notes of a rainy day\n" * 100)
    for command in ("wells", "init", "upgrade"):
        ran = run_gwnet(command, cwd=tmp_path)
        assert ran.code == STOPPED
        assert "Traceback" not in ran.err
    assert (tmp_path / "gwnet.sqlite").read_text() == "field notes of a rainy day\n" * 100


def test_a_reader_that_leaves_early_gets_no_traceback(tmp_path):
    code = (
        "import pandas as pd, gwnet.network\n"
        "from types import SimpleNamespace\n"
        "from gwnet.cli import main\n"
        "class N:\n"
        "    store = SimpleNamespace(looked_at=None, say=None)\n"
        "    def __init__(self, a, **_): pass\n"
        "    def __enter__(self): return self\n"
        "    def __exit__(self, *_): pass\n"
        "    def close(self): pass\n"
        "    def sites(self): return pd.DataFrame({'site': ['M'], 'length_unit': ['m']})\n"
        "    def wells(self, s, k): return pd.DataFrame({'well': ['MW-1'] * 200_000})\n"
        "gwnet.network.Network = N\n"
        "raise SystemExit(main(['wells', '--format', 'csv']))\n"
    )
    started = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=tmp_path,
        env=surroundings(),
    )
    started.stdout.readline()
    started.stdout.close()
    _, told = started.communicate(timeout=60)
    assert told == b""
    assert started.returncode == DONE


def run_shell(line, cwd):
    """Run a line of the shell in which $gwnet is the program."""
    command = f"{sys.executable} -m gwnet"
    return subprocess.run(
        ["/bin/sh", "-c", line.replace("$gwnet", command)],
        cwd=cwd,
        env=surroundings(),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.mark.parametrize("command", ["levels", "wells --format csv", "--help", "init"])
def test_closed_standard_output_is_said_and_nothing_is_done(command, tmp_path):
    ran = run_shell(f"$gwnet {command} >&-", tmp_path)
    assert ran.returncode == STOPPED
    assert ran.stderr.startswith("gwnet: Standard output is closed; nothing was done.")
    assert ran.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_closed_standard_error_stops_nothing(tmp_path):
    assert run_shell("$gwnet init 2>&-", tmp_path).returncode == DONE
    ran = run_shell("$gwnet wells --format csv 2>&-", tmp_path)
    assert (ran.returncode, ran.stdout.splitlines()[0].startswith("site,well,")) == (DONE, True)
    assert run_shell("$gwnet levels --well none 2>&-", tmp_path).returncode == STOPPED


@pytest.mark.slow
def test_a_full_disk_under_standard_output_is_said(tmp_path):
    run_gwnet("init", cwd=tmp_path)
    ran = run_shell("$gwnet wells --format csv >/dev/full", tmp_path)
    assert (ran.returncode, ran.stderr) == (STOPPED, "gwnet: No space left on device.\n")


def test_what_a_full_disk_does_not_take_is_given_up(tmp_path, monkeypatch):
    """Else the interpreter tries once more as it ends, fails, and ends with a code of its own."""

    class Full(io.StringIO):
        tries = 0

        def fileno(self):
            return given.fileno()

        def flush(self):
            self.tries += 1
            raise OSError(errno.ENOSPC, "No space left on device")

    with (tmp_path / "given").open("w") as given:
        monkeypatch.setattr(sys, "stdout", Full())
        assert main(["help"]) == STOPPED
        given.write("nothing of this arrives")
        given.flush()
    assert (tmp_path / "given").read_text() == ""
    assert sys.stdout.tries >= 2


@pytest.mark.slow
def test_a_terminal_without_our_signs_is_no_reason_to_fail(tmp_path):
    run_gwnet("init", cwd=tmp_path)
    ran = run_fresh_gwnet(
        "explain", "MW−1", "2026-03-10", cwd=tmp_path, env={"PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    )
    assert ran.code == STOPPED
    assert "Traceback" not in ran.err


def test_a_word_that_no_option_takes_is_wrong_usage(demo_record, capsys):
    asked = ["gradient", "--wells", "W-01,W-05,W-07", "--date", "2026-02-17", "--porosity", "0.2"]
    assert main([*asked, "--db", str(demo_record)]) == 2
    assert "only one was given" in capsys.readouterr().err


def test_help_lists_every_command_once_under_what_one_wants_to_do(gwnet_here):
    placed = [name for names in SECTIONS.values() for name in names]
    assert len(placed) == len(set(placed))
    assert set(COMMANDS) <= set(placed)
    shown = gwnet_here("--help").out
    assert all(f"\n  {name} " in shown for name in COMMANDS)
    assert shown.index("Bring data in:") < shown.index("\n  load ") < shown.index("Check and review:")
    assert "More:" not in shown


@pytest.mark.parametrize(("old", "new"), [("round", "rounds"), ("reports", "report")])
def test_old_spellings_run_and_are_not_listed(gwnet_here, old, new):
    assert gwnet_here(old, "--help").out.splitlines()[2:] == gwnet_here(new, "--help").out.splitlines()[2:]
    assert f"\n  {old} " not in gwnet_here("--help").out


def test_options_of_many_commands_have_headings_of_their_own(gwnet_here):
    shown = gwnet_here("map", "--help").out
    places = [shown.index(text) for text in ("Options:", "--variogram", "Which part of the record:", "--site", "--db")]
    assert places == sorted(places)


def test_options_before_the_verb_of_rounds_are_refused(gwnet_here):
    ran = gwnet_here("rounds", "--db", "x.sqlite", "due")
    assert ran.code == WRONG_USAGE
    assert "Options stand after the verb: gwnet rounds due" in ran.err
