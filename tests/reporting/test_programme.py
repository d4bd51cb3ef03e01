"""Sections on the network, the rounds and all levels to date. Constructed records; expectations worked out by hand."""

import dataclasses

import pandas as pd
import pytest

from gwnet.reporting.content import Group, Table, cell_text
from gwnet.reporting.data import COLUMNS

from . import constructed
from .constructed import compose
from .plain import plain_section


def section_of(data, quarterly, kind, period="2026-Q1", **changes):
    own = dataclasses.replace(quarterly, sections=(kind,), **changes)
    (section,) = compose(own, data, period=period, drawing=constructed.PlainDrawing()).sections
    return section


def table_of(section, key):
    (table,) = [block for block in section.blocks if isinstance(block, Table) and block.key == key]
    return [
        [cell_text(cell, column) for cell, column in zip(row, table.columns, strict=True)]
        for row in table.rows
        if not isinstance(row, Group)
    ]


def test_what_was_drilled_ended_altered_and_installed_in_the_period_is_listed_by_day(quarterly):
    data = constructed.record(12)
    installed = pd.Timestamp("2025-03-31 22:30", tz="UTC")  # 1 April at the site, UTC+1 is 23:30 of 31 March
    deployments = pd.DataFrame(
        [("HW-001", "L-1", "vented pressure logger", installed, pd.Timestamp("2025-08-01", tz="UTC"), 9.5, "")],
        columns=list(COLUMNS["deployments"]),
    )
    data = dataclasses.replace(data, deployments=deployments)
    rows = table_of(section_of(data, quarterly, "network_changes", "2025"), "network-changes")
    assert [row[:3] for row in rows] == [
        ["2025-03-31", "HW-001", "L-1 installed at 9.500\u00a0m below the measuring point"],
        ["2025-08-01", "HW-001", "L-1 removed"],
        ["2025-09-01", "HW-010", "decommissioned, replaced by HW-011"],
    ]
    rows = table_of(section_of(data, quarterly, "network_changes", "2022-Q1"), "network-changes")
    assert [row[0:2] for row in rows] == [["2022-03-14", "HW-004"], ["2022-03-14", "HW-012"]]
    assert all(row[2].startswith("measuring point altered") for row in rows)


def test_a_quiet_period_says_so(quarterly):
    text = plain_section(section_of(constructed.record(3), quarterly, "network_changes", "2024-Q2"))
    assert "No well, measuring point, instrument or threshold was added, altered or ended" in text


def test_planned_and_done_counts_wells_and_groups_the_reasons(quarterly):
    data = constructed.record(24)
    ((code, _, _, planned, visited, measured, besides, why),) = table_of(
        section_of(data, quarterly, "planned_and_done"), "planned-and-done"
    )
    events = data.levels[data.levels["round"] == "2026-Q1"]
    standing = data.wells[data.wells["decommissioned_on"].isna()]
    assert code == "2026-Q1"
    assert int(planned) == len(standing)
    seen = set(events["well"])
    assert int(visited) == len(seen & set(standing["well"]))
    assert int(besides) == len(seen - set(standing["well"]))
    usable = events[events["usable"].astype(bool)]
    assert int(measured) == len(set(usable["well"]) & set(standing["well"]))
    for well in set(standing["well"]) - set(usable["well"]):
        assert well in why


def test_field_conditions_hold_every_visit_that_was_not_plain(quarterly):
    data = constructed.record(24)
    section = section_of(data, quarterly, "field_conditions")
    events = data.levels[data.levels["round"] == "2026-Q1"]
    told = events[(events["status"] != "static") | (events["notes"] != "")]
    rows = table_of(section, "field-conditions")
    assert sorted(row[0] for row in rows) == sorted(told["well"])
    assert {row[2] for row in rows} == set(told["status"])


def test_levels_to_date_hold_every_round_and_well(quarterly):
    data = constructed.record(24)
    section = section_of(data, quarterly, "levels_to_date")
    tables = [block for block in section.blocks if isinstance(block, Table)]
    wells = [column.heading for table in tables for column in table.columns[2:]]
    assert sorted(wells) == sorted(set(data.levels["well"]))
    assert max(len(table.columns) for table in tables) <= 10
    found = {}
    for table in tables:
        for row in table.rows:
            for cell, column in zip(row[2:], table.columns[2:], strict=True):
                found[str(row[0].value), column.heading] = cell_text(cell, column)
    single = data.levels.groupby(["round", "well"]).filter(lambda rows: len(rows) == 1)
    shown = single[(single["round"] != "") & (single["measured_at"].str[:10] <= "2026-03-31")]
    assert len(shown) > 500
    for event in shown.to_dict("records"):
        text = found[event["round"], event["well"]]
        if pd.isna(event["water_elevation_m"]):
            assert text == "—"
        else:
            sign = {"<=": "≤ ", ">=": "≥ ", "": ""}[event["bound"]]
            assert text == f"{sign}{event['water_elevation_m']:.3f}".replace("-", "−")


@pytest.mark.parametrize("count", [1, 7, 8, 9, 17])
def test_tables_of_levels_to_date_are_about_as_wide(quarterly, count):
    section = section_of(constructed.record(count), quarterly, "levels_to_date")
    for code in ("U", "L"):
        widths = [
            len(block.columns) - 2
            for block in section.blocks
            if isinstance(block, Table) and block.key.startswith(f"to-date-{code}-")
        ]
        assert not widths or max(widths) - min(widths) <= 1


def test_only_the_chosen_rounds_and_thresholds_are_reported(quarterly):
    data = constructed.record(9)
    name = data.thresholds["threshold"].iloc[0]
    text = plain_section(section_of(data, quarterly, "levels", "2025", rounds=("2025-Q2",)))
    assert "2025-Q2" in text
    assert "2025-Q3" not in text
    rows = table_of(section_of(data, quarterly, "threshold_table", thresholds=(name,)), "thresholds")
    assert {row[1] for row in rows} == {name}


def test_every_crossing_of_the_period_has_a_row(quarterly):
    data = constructed.record(24)
    section = section_of(data, quarterly, "threshold_table")
    crossings = table_of(section, "crossings")
    assert crossings
    states = {(row[0], row[1]): row[4] for row in table_of(section, "thresholds")}
    for row in crossings:
        assert states[row[0], row[1]].startswith(("crossed", "beyond"))
        assert row[3] <= row[4] <= "2026-03-31"
