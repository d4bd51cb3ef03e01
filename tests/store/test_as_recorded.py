"""Files of levels carry every column of a level event, under headings that no reduced column has."""

from gwnet.store.as_recorded import ENDING, HEADINGS, LEVEL_FROM, RECORDED, UNIT
from gwnet.store.contract import BY_NAME


def test_every_column_of_a_level_event_is_carried():
    carried = {column.name for column in RECORDED.values()}
    key = {"site", "well", "measured_at", "date", "time"}
    assert carried | key == set(BY_NAME["level_events"].names)
    assert not carried & key
    assert (LEVEL_FROM, UNIT, *RECORDED) == HEADINGS


def test_what_reduction_changes_has_a_heading_of_its_own():
    changed = {heading for heading in RECORDED if heading.endswith(ENDING)}
    readings = {f"{column.name}{ENDING}" for column in BY_NAME["level_events"].columns if column.reading}
    assert changed == readings | {f"round{ENDING}", f"quality{ENDING}"}
    assert {"status", "access", "event", "instrument", "notes", "discharge_l_s"} <= set(RECORDED) - changed
