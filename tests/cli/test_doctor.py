"""``gwnet doctor``, states of the record on the command line."""

import json
import sqlite3

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, WRONG_USAGE
from gwnet.cli.doctor import command

from ..helpers import run_gwnet


@pytest.fixture
def run(demo_store):
    return lambda *words: run_gwnet(*words, "--db", demo_store, cwd=demo_store.parent)


@pytest.mark.slow
def test_a_clean_record_ends_with_0(run):
    assert command.name == "doctor"
    ran = run("doctor")
    assert (ran.code, ran.out) == (DONE, "")
    assert ran.err.startswith("Nothing was found.")


@pytest.mark.slow
def test_a_changed_row_ends_with_3_and_is_named_in_json(run, demo_store):
    connection = sqlite3.connect(demo_store)
    [made] = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'guard_well_update'").fetchall()[0]
    connection.execute("DROP TRIGGER guard_well_update")
    connection.execute("UPDATE well SET code = 'W-99' WHERE code = 'W-01'")
    connection.commit()
    ran = run("doctor", "--format", "json")
    assert ran.code == DONE_WITH_FINDINGS
    told = json.loads(ran.out)
    assert {(one["table"], one["state"]) for one in told["findings"]} == {("", None), ("well", 1)}
    assert {check["outcome"] for check in told["checks"]} == {"clean", "1 finding"}
    connection.execute(made)
    connection.commit()
    connection.close()
    assert [one["table"] for one in json.loads(run("doctor", "--format", "json").out)["findings"]] == ["well"]


@pytest.mark.slow
def test_triggers_are_made_anew_where_asked(run, demo_store):
    connection = sqlite3.connect(demo_store)
    connection.execute("DROP TRIGGER guard_well_update")
    connection.commit()
    connection.close()
    assert run("doctor").code == DONE_WITH_FINDINGS
    assert run("doctor", "--renew").code == DONE


def test_a_clock_that_is_right_needs_no_act(run):
    ran = run("doctor", "--accept-clock", "--reason", "the logger PC was in 2036", "--by", "Ana")
    assert ran.code == WRONG_USAGE
    assert "nothing to accept" in ran.err


@pytest.mark.slow
def test_a_damaged_file_gives_sentences(run, demo_store):
    content = bytearray(demo_store.read_bytes())
    content[4096 * 3 : 4096 * 5] = b"\xff" * (4096 * 2)
    demo_store.write_bytes(content)
    ran = run("doctor")
    assert ran.code == DONE_WITH_FINDINGS
    assert "Traceback" not in ran.err
    assert "The file is damaged" in ran.out or "cannot be" in ran.out


@pytest.mark.slow
def test_states_are_listed_and_asked_for_by_number(run):
    states = run("history", "--states", "--format", "csv").out.splitlines()
    assert states[0].startswith("serial,recorded_at_utc,recorded_by,act")
    assert len(states) == 36
    first, last = run("levels", "--known-on", "state:1", "--format", "csv"), run("levels", "--format", "csv")
    assert first.out != last.out
    assert "(state 1)" in first.err
    assert "(state 35)" in last.err
    assert run("levels", "--known-on", "state:35", "--format", "csv").out == last.out
    refused = run("levels", "--known-on", "state:99")
    assert "There is no state 99 on record" in refused.err
    assert run("history").code == WRONG_USAGE
