import pytest

from gwnet.cli import main

from ..helpers import Ran


@pytest.fixture
def gwnet_here(tmp_path, monkeypatch, capfd):
    """Give a function that runs the command line in this process, in an empty folder, and returns what it printed."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("GWNET_DB", raising=False)

    def run(*arguments):
        capfd.readouterr()
        code = main([str(argument) for argument in arguments])
        printed = capfd.readouterr()
        return Ran(code, printed.out, printed.err)

    return run
