import csv
import io
import json
import shlex

import numpy as np
import pytest

from ..analysis.logger_record import HOUR
from ..analysis.test_logger_heads import Installed


@pytest.fixture
def installed(tmp_path, gwnet_here):
    """Give a record in the current folder whose sensor's clock is two hours late, and the command line."""
    made = Installed(tmp_path / "gwnet.sqlite")
    made.water = made.water + np.random.default_rng(9).normal(size=1500) * 0.001
    made.install(clock=made.when - 2 * HOUR)
    made.read(100, 1400)
    made.record.store.close()
    return made, gwnet_here


def rows(ran):
    assert ran.code in (0, 3), ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.slow
def test_a_finding_is_listed_tried_accepted_listed_and_withdrawn(installed):
    made, run = installed
    listed = run("logger", "findings", "--format", "csv")
    assert listed.code == 3
    (finding,) = [row for row in rows(listed) if row["rule"] == "clock"]
    given = ("--reason", "set to summer time", "--by", "Ana")
    tried = run("logger", "correct", "--accept", finding["finding"], *given, "--dry-run")
    assert tried.code == 0
    assert "Nothing was recorded" in tried.err
    assert rows(run("logger", "correct", "--list", "--format", "csv")) == []
    done = run("logger", "correct", "--accept", finding["finding"], *given, "--format", "json")
    assert done.code == 0
    assert json.loads(done.out)[0]["moved"] > 1000
    assert "--take-back 1" in done.err
    (row,) = rows(run("logger", "correct", "--list", "--format", "csv"))
    assert (row["kind"], row["reason"], row["recorded_by"]) == ("clock shift", "set to summer time", "Ana")
    assert run("logger", "findings").code == 0
    head = rows(run("logger", "heads", "--well", "W", "--format", "csv"))[50]
    assert float(head["water_elevation_m"]) == pytest.approx(made.water[50], abs=1e-3)
    back = run("logger", "correct", "--take-back", "1", "--reason", "it was right", "--by", "Ben")
    assert back.code == 0
    assert "withdrawn" in back.err
    assert run("logger", "findings").code == 3
    told = run("history", "W").out
    assert "set to summer time" in told
    assert "it was right" in told


@pytest.mark.slow
def test_a_finding_is_dismissed_and_its_samples_are_levels_again(installed):
    _, run = installed
    (finding,) = [
        row["finding"] for row in rows(run("logger", "findings", "--format", "csv")) if row["rule"] == "clock"
    ]
    assert rows(run("logger", "heads", "--well", "W", "--format", "csv")) == []
    (one, *_) = rows(run("logger", "heads", "--well", "W", "--excluded", "--format", "csv"))[5:]
    assert one["unusable_reason"] == "serious finding open: clock"
    given = ("--reason", "the barometer is the one that is wrong", "--by", "Ana")
    done = run("logger", "correct", "--dismiss", finding, *given)
    assert done.code == 0
    assert "keep against clock" in done.err
    assert len(rows(run("logger", "heads", "--well", "W", "--format", "csv"))) == 1498
    assert "clock" not in {row["rule"] for row in rows(run("logger", "findings", "--format", "csv"))}
    assert run("logger", "correct", "--dismiss", finding, *given).code == 1
    both = run("logger", "correct", "--dismiss", finding, "--accept", finding, *given)
    assert (both.code, "Give one of" in both.err) == (2, True)


@pytest.mark.slow
def test_all_findings_that_are_named_are_accepted(installed):
    _, run = installed
    given = ("--reason", "looked at", "--by", "Ana")
    names = [row["finding"] for row in rows(run("logger", "findings", "--format", "csv")) if row["suggestion"]]
    (clock,) = names
    step = ("L", "step", "--from", "2024-02-01T00:00Z", "--amount", "0.3")
    assert run("logger", "correct", *step, *given).code == 0
    names = [row["finding"] for row in rows(run("logger", "findings", "--format", "csv")) if row["suggestion"]]
    assert len(names) == 2
    assert clock in names
    every = [word for name in names for word in ("--accept", name)]
    tried = run("logger", "correct", *every, *given, "--dry-run", "--format", "csv")
    assert "; " in tried.err.split("it would be: ")[1]
    assert len(rows(run("logger", "correct", "--list", "--format", "csv"))) == 1
    assert run("logger", "correct", *every, "--accept", "ffff", *given).code == 1
    assert len(rows(run("logger", "correct", "--list", "--format", "csv"))) == 1
    done = run("logger", "correct", *every, *given)
    assert "Corrections 2, 3 were recorded" in done.err
    assert "--take-back 2 --take-back 3" in done.err
    assert len(rows(run("logger", "correct", "--list", "--format", "csv"))) == 3
    back = run("logger", "correct", "--take-back", "2", "--take-back", "3", *given)
    assert "Corrections 2, 3 were withdrawn" in back.err
    assert len(rows(run("logger", "correct", "--list", "--format", "csv"))) == 1


@pytest.mark.slow
def test_all_findings_of_a_rule_at_a_well_within_a_span_are_accepted(installed):
    made, run = installed
    given = ("--reason", "looked at", "--by", "Ana")
    before = ("--rule", "clock", "--to", "2024-01-02T00:00Z")
    assert "No finding of clock" in run("logger", "correct", *before, *given).err
    assert "There is no rule 'clocks'" in run("logger", "correct", "--rule", "clocks", *given).err
    assert run("logger", "correct", "--rule", "clock", "--well", "X", *given).code == 1
    assert run("logger", "correct", "B", "--rule", "clock", *given).code == 1
    span = ("--from", f"{made.when[0] - 3 * HOUR}Z", "--to", f"{made.when[-1]}Z")
    done = run("logger", "correct", "--rule", "clock", "--rule", "spike", "--well", "W", *span, *given)
    assert (done.code, "Correction 1 was recorded: clock shift" in done.err) == (0, True), done.err
    assert run("logger", "findings").code == 0


@pytest.mark.slow
def test_a_correction_typed_in_full_does_what_the_suggestion_says(installed):
    _, run = installed
    (finding,) = [row for row in rows(run("logger", "findings", "--format", "csv")) if row["rule"] == "clock"]
    words = shlex.split(finding["suggestion"])
    assert words[:3] == ["gwnet", "logger", "correct"]
    arguments = [*words[3:-1], "wrong zone", "--by", "Ana"]
    assert run("logger", "correct", *arguments).code == 0
    assert run("logger", "findings").code == 0
    again = run("logger", "correct", *arguments)
    assert again.code == 1
    assert "would count twice" in again.err


def test_an_amount_is_given_in_the_unit_of_the_option(installed):
    _, run = installed
    step = ("L", "step", "--from", "2024-02-01T00:00Z", "--amount", "1", "--unit", "ft", "--reason", "slip")
    done = run("logger", "correct", *step, "--by", "Ana")
    assert done.code == 0
    assert "step +0.3048 m" in done.err
    assert "[ft]" in done.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "Give one of"),
        (("L", "restart", "--list"), "Give one of"),
        (("L", "restart", "--from", "2024-02-01T00:00Z"), "Say why"),
        (("L", "restart", "--from", "2024-02-01", "--reason", "x"), "has no zone"),
        (("L", "restart", "--from", "2024-02-01T00:00Z", "--well", "W", "--reason", "x"), "--well goes with"),
        (("--accept", "12ab", "--from", "2024-02-01T00:00Z", "--reason", "x"), "brings its own span"),
        (("--rule", "clock", "--take-back", "1", "--reason", "x"), "Give one of"),
        (("--accept", "12ab", "--seconds", "5", "--reason", "x"), "brings its own"),
        (("--take-back", "1", "--known-on", "2024-02-01T00:00Z", "--reason", "x"), "--known-on serves --list"),
        (("L", "exclusion", "--from", "2024-02-02T00:00Z", "--to", "2024-02-01T00:00Z", "--reason", "x"), "not after"),
    ],
)
def test_what_cannot_be_asked_for_is_wrong_usage(installed, arguments, words):
    _, run = installed
    ran = run("logger", "correct", *arguments)
    assert ran.code == 2
    assert words in ran.err


def test_what_the_record_refuses_stops_and_says_what_to_do(installed):
    _, run = installed
    ran = run(
        "logger", "correct", "L", "exclusion", "--from", "2024-02-02T00:00Z", "--cause", "boredom", "--reason", "x"
    )
    assert ran.code == 1
    assert "one of: spike" in ran.err
    assert run("logger", "correct", "--take-back", "77", "--reason", "x").code == 1
    assert "no series of instrument 'X'" in run("logger", "correct", "X", "scale", "--factor", "2", "--reason", "x").err


@pytest.mark.slow
def test_status_and_heads_in_every_form(installed):
    _, run = installed
    (sensor, barometer) = rows(run("logger", "status", "--format", "csv", "--at", "2024-04-01T00:00Z"))
    assert (sensor["instrument"], barometer["instrument"]) == ("L", "B")
    assert float(sensor["coverage_percent"]) < 70
    assert "coverage" in run("logger", "status").out
    nothing = ("logger", "heads", "--daily", "--format", "csv", "--from", "2024-01-10", "--to", "2024-01-12")
    assert rows(run(*nothing)) == []  # a finding about the clock is open
    (finding,) = [row for row in rows(run("logger", "findings", "--format", "csv")) if row["rule"] == "clock"]
    run("logger", "correct", "--accept", finding["finding"], "--reason", "set to summer time", "--by", "Ana")
    days = rows(run("logger", "heads", "--daily", "--format", "csv", "--from", "2024-01-10", "--to", "2024-01-12"))
    assert [row["day"] for row in days] == ["2024-01-10", "2024-01-11", "2024-01-12"]
    feet = json.loads(run("logger", "heads", "--daily", "--unit", "ft", "--format", "json").out)
    assert feet[9]["water_elevation_ft"] == pytest.approx(float(days[0]["water_elevation_m"]) / 0.3048, abs=1e-5)
    assert run("logger", "heads", "--daily", "--excluded").code == 2
    assert run("logger", "heads", "--well", "NONE").code == 1
    assert "elevation" in run("logger", "heads", "--from", "2024-01-10", "--to", "2024-01-10").out
    assert "less air pressure" in run("explain", "W", "2024-01-15").out
    (efficiency,) = rows(run("logger", "efficiency", "--every", "2", "--format", "csv"))
    assert (efficiency["instrument"], efficiency["every_hours"]) == ("L", "2.0")
