"""Eight people write and four read at once: nobody sees raw errors, answers repeat, and the end holds what was loaded."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from collections import Counter

import pytest
from sqlalchemy import text

from gwnet.store.session import open_store

from ..helpers import with_tests
from .figures import note_figures
from .hands import BATCHES, batch_day, batch_depth, write_batches
from .scale import SCALE
from .scenario import WELLS

pytestmark = [pytest.mark.faults, pytest.mark.slow, pytest.mark.timeout(3600)]

WRITERS, READERS = 8, 4
#: Words of databases and of Python that nobody should read.
RAW = re.compile(
    r"Traceback|sqlalchemy|psycopg|constraint|duplicate key|deadlock|serializ|UNIQUE|SELECT|INSERT|database refused|DETAIL:"
)


def work_together(url, folder):
    """Let everybody work, and return what each command gave back, and what the processes wrote to standard error."""
    command = [sys.executable, "-P", "-m", "tests.faults.hands"]
    words = [url, str(folder), str(SCALE.seconds_of_hands), str(WRITERS), str(READERS)]
    with (folder / "all.err").open("w") as err:
        everybody = subprocess.Popen([*command, *words], cwd=folder, env=with_tests(), stdout=err, stderr=err)
    while len(list(folder.glob("*.ready"))) < WRITERS + READERS and everybody.poll() is None:
        time.sleep(0.1)
    (folder / "go").touch()
    everybody.wait(timeout=SCALE.seconds_of_hands * 20 + 300)
    told = [json.loads(line) for path in sorted(folder.glob("*.out")) for line in path.read_text().splitlines()]
    return told, "".join(path.read_text() for path in sorted(folder.glob("*.err")))


def live_depths(url):
    """Return the depths on record by batch and well, and how many records were retired."""
    query = (
        "SELECT e.measured_at_utc AS at, w.code AS well, r.retired_at_utc AS retired, d.value AS depth "
        "FROM level_record r JOIN level_event e ON e.id = r.level_event_id JOIN well w ON w.id = e.well_id "
        "JOIN level_reading d ON d.level_record_id = r.id WHERE r.gauging_round_id IS NULL"
    )
    days = {str(batch_day(batch)): batch for batch in range(BATCHES)}
    live, retired = {}, 0
    store = open_store(url)
    with store.reading() as connection:
        for row in connection.execute(text(query)):
            if row.retired is not None:
                retired += 1
                continue
            key = (days[str(row.at)[:10]], WELLS.index(row.well))
            assert key not in live, f"two live records of batch {key[0]}, {row.well}"
            live[key] = row.depth
    store.close()
    return live, retired


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def test_many_hands_at_once(database, stages, tmp_path):
    write_batches(tmp_path)
    url = stages.copy("loaded")
    told, said = work_together(url, tmp_path)
    live, retired = live_depths(url)
    stages.drop(url)
    counts = Counter((done["act"], done.get("code")) for done in told)
    raw = [done for done in told if RAW.search(done.get("err", ""))]
    waited = [done for done in told if "Another program" in done.get("err", "")]
    differs = [done for done in told if done["act"] == "differs"]
    note_figures(
        f"many hands, {database}",
        seconds=SCALE.seconds_of_hands,
        commands=len(told),
        refused=sum(done.get("code") == 1 for done in told),
        gave_up_waiting=len(waited),
        raw_errors=len(raw),
        answers_that_changed=len(differs),
    )
    assert not said, said
    assert not raw, f"{len(raw)} raw errors: {raw[:3]}"
    assert not waited, f"{len(waited)} gave up waiting: {waited[:3]}"
    assert not differs, f"{len(differs)} answers changed: {differs[:2]}"
    loaded = {done["batch"] for done in told if done["act"] == "load" and done["code"] == 0}
    corrected = {done["batch"] for done in told if done["act"] == "correct" and done["code"] == 0}
    assert loaded
    assert corrected, counts
    wanted = {
        (batch, well): batch_depth(batch, well, corrected=batch in corrected)
        for batch in loaded
        for well in range(len(WELLS))
    }
    assert live == wanted
    assert retired == len(corrected), "each correction retires one record, whoever else made it"
    assert {code for act, code in counts if act != "differs"} <= {0, 1, 3}, counts
