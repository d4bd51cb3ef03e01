import pytest

from gwnet.cli import DONE, main

from ..helpers import Ran
from ..ingest.test_logger_load import LAYOUT, PLAIN, TABLES


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


@pytest.fixture
def logger_files_here(gwnet_here, tmp_path):
    """Give the command line in a folder with a record and logger files."""
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "plain.toml").write_text(PLAIN)
    (tmp_path / "both.toml").write_text(LAYOUT)
    for name, start, values in (("a", 2, "1.0 1.1 1.2"), ("b", 3, "1.1 1.5 1.3"), ("bad", 2, "1.0 x 1.2")):
        rows = [f"2024-01-01 0{start + at}:00,{value},9.5" for at, value in enumerate(values.split())]
        lines = ["Serial: 77", "Time,Pressure,Temperature", *rows]
        (tmp_path / f"{name}.csv").write_text("\n".join(lines) + "\n")
    assert gwnet_here("init").code == DONE
    assert gwnet_here("load", *(f"{name}.csv" for name in TABLES), "--by", "Ana").code == DONE
    return gwnet_here
