import io
import re
import sys
import time
from pathlib import Path

import click
import pandas as pd
import pytest

from gwnet.analysis.levels.explain import Explanation, Step
from gwnet.cli import STARTED, output


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_shows_on_a_terminal_and_cleans_up(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with output.progress("loading") as show:
        show(500, 2000)
        assert screen.getvalue() == "\rloading  25%  (500 of 2,000)"
    assert screen.getvalue().endswith("\r")


def test_a_command_is_said_to_be_at_work_until_its_progress_is_known(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(output, "_PATIENCE_S", 0.02)
    with (
        click.Context(click.Command("export"), info_name="export"),
        output.working(),
        output.progress("export") as show,
    ):
        deadline = time.monotonic() + 30
        while "export is at work" not in screen.getvalue() and time.monotonic() < deadline:
            time.sleep(0.01)
        show(1, 4)
        assert screen.getvalue().endswith("\r" + " " * 60 + "\r\rexport  25%  (1 of 4)")


def test_seconds_at_work_count_from_the_start_of_the_program(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with click.Context(click.Command("levels"), info_name="levels") as context:
        context.meta[STARTED] = time.monotonic() - 7.0
        with output.working():  # at once, as loading libraries took seven seconds already
            deadline = time.monotonic() + 30
            while "levels is at work, 7 s" not in screen.getvalue() and time.monotonic() < deadline:
                time.sleep(0.01)
    assert "levels is at work, 7 s" in screen.getvalue()
    assert screen.getvalue().endswith("\r" + " " * 60 + "\r")


def test_every_command_shows_how_far_it_is_or_says_that_it_is_at_work():
    folder = Path(output.__file__).parent
    silent = {
        str(path.relative_to(folder))
        for path in folder.rglob("*.py")
        if re.search(r"^@\w+\.command\(", text := path.read_text(encoding="utf-8"), re.MULTILINE)
        and not re.search(r"open_record\(|output\.progress\(|output\.working\(", text)
    }
    assert silent == {"help.py", "calculate.py"}  # neither reads a record or file


def test_progress_is_silent_where_nobody_watches(capsys):
    with output.progress("loading") as show:
        show(1, 2)
    assert capsys.readouterr().err == ""


def test_progress_of_nothing_is_whole(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with output.progress("loading") as show:
        show(0, 0)
    assert "100%" in screen.getvalue()


def test_a_list_of_problems_is_cut_at_its_limit(capsys):
    output.say_some(["a", "b", "c"], most=2)
    assert capsys.readouterr().err == "a\nb\nand 1 more; --format csv or json prints them all.\n"
    output.say_some(["a", "b"], most=2)
    assert capsys.readouterr().err == "a\nb\n"


def test_a_table_fits_the_terminal_it_is_printed_on(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setenv("COLUMNS", "40")
    output.rows(pd.DataFrame({"well": ["MW-1", "MW-2"], "notes": ["a long remark " * 5, ""]}), "table")
    assert max(len(line) for line in screen.getvalue().splitlines()) <= 40


def test_an_explanation_is_wrapped_on_a_terminal_and_whole_elsewhere(monkeypatch, capsys):
    one = Explanation("MM MW-1", (Step("survey", "101.250 m", "levelling of a long day, " * 6),))
    output.explanations([one, one], "table")
    assert len(capsys.readouterr().out.splitlines()) == 5
    screen = Terminal()
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setenv("COLUMNS", "60")
    output.explanations([one], "table")
    lines = screen.getvalue().splitlines()
    assert max(len(line) for line in lines) <= 60
    assert all(line.startswith(" " * 10) for line in lines[2:])


@pytest.mark.parametrize("form", ["csv", "json"])
def test_signs_of_other_scripts_survive(form, capsys):
    output.rows(pd.DataFrame({"well": ["Brünnchen − 3", 'a "b", c']}), form)
    assert "Brünnchen − 3" in capsys.readouterr().out


def test_a_terminal_shows_chosen_columns_in_their_order_and_files_show_all(capsys):
    table = pd.DataFrame({"site": ["T"], "well": ["A"], "depth_ft": [1.0], "depth_uncertainty_ft": [0.1], "id": [7]})
    output.rows(table, "table", columns=("well", "depth_uncertainty_m", "depth_m", "stage_m"))
    assert capsys.readouterr().out.splitlines()[-1].split() == ["A", "0.10", "1.00"]
    output.rows(table, "csv", columns=("well",))
    assert capsys.readouterr().out.splitlines()[0] == "site,well,depth_ft,depth_uncertainty_ft,id"
    output.rows(pd.concat([table, table.assign(site="U")]), "table", columns=("well",))
    assert capsys.readouterr().out.split() == ["site", "well", "----", "----", "T", "A", "U", "A"]


def test_a_line_below_a_heading_stays_one_line(capsys):
    output.grouped([("Ana", "notes: two\nlines"), ("Ana", "more")])
    assert capsys.readouterr().out == "Ana\n  notes: two lines\n  more\n"
