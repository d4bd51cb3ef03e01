"""The commands below ``gwnet logger``: each in its module, with the line that the help lists."""

from importlib import import_module

import pytest

from gwnet.cli.lazy import LazyGroup
from gwnet.cli.loggers import COMMANDS, command, loaded, tried
from gwnet.ingest.loggers.result import LoggerFileResult, LoggersResult
from gwnet.ingest.loggers.trial import try_file

MODULES = {
    "layouts": "layouts",
    "try": "try_file",
    "load": "load",
    "inbox": "inbox",
    "samples": "samples",
    "downloads": "downloads",
    "conflicts": "conflicts",
    "coverage": "coverage",
    "status": "status",
    "findings": "findings",
    "correct": "correct",
    "efficiency": "efficiency",
    "heads": "heads",
    "withdraw": "withdraw",
}


@pytest.mark.parametrize(("name", "module"), MODULES.items())
def test_every_command_is_in_its_module_with_its_line(name, module):
    found = import_module(f"gwnet.cli.loggers.{module}").command
    assert found.name == name
    assert COMMANDS[name] == (module, found.help.strip().split("\n\n")[0].replace("\n", " "))


def test_the_group_knows_all_commands_and_no_other(gwnet_here):
    assert isinstance(command, LazyGroup)
    assert list(MODULES) == list(COMMANDS)
    ran = gwnet_here("logger", "finding")
    assert (ran.code, "Did you mean findings" in ran.err) == (2, True)
    assert "See 'gwnet logger --help'" in gwnet_here("logger", "xyzzy").err


def test_what_was_loaded_and_what_was_tried_is_printed(capfd, tmp_path):
    loaded.show(LoggersResult((LoggerFileResult("a.csv", notes=("already loaded",)),)), "table")
    assert capfd.readouterr().out == "a.csv: already loaded\n"
    path = tmp_path / "b.csv"
    path.write_text("time,water pressure [kPa]\n" + "".join(f"2024-01-{n:02d} 06:00,{n}.5\n" for n in range(1, 29)))
    tried.show(try_file(path, zone="UTC"), "table")
    text = capfd.readouterr().out
    assert "28 rows of water pressure [kPa]" in text
    assert "every 1 d; 0 gaps" in text
