"""What the sections say about the constructed record, read from the plain text of the report."""

import dataclasses
import datetime as dt
import re

import pandas as pd
import pytest

from gwnet.reporting.content import Beside, FigureSlot, Group, Table
from gwnet.reporting.data import COLUMNS, MapFacts
from gwnet.reporting.definition.wording import wording
from gwnet.reporting.registry import report_sections

from .constructed import compose
from .plain import plain_report, plain_section, plain_table


@pytest.fixture(scope="module")
def text(constructed, quarterly, record24):
    own = dataclasses.replace(quarterly, sections=("summary", *quarterly.sections))
    report = compose(own, record24, period="2026-Q1", drawing=constructed.PlainDrawing())
    return plain_report(report).replace("\u00a0", " ")


def section(report, key):
    return next(part for part in report.sections if part.key == key)


def table(report, key):
    return next(part for part in report.tables() if part.key == key)


def line(report, key, start):
    return next(row for row in plain_table(table(report, key)).splitlines() if row.startswith(start)).replace(
        "\u00a0", " "
    )


def test_summary_counts_the_visits(text):
    assert (
        "19 of 23 planned wells gave a level that can be compared and mapped. Round 2026-Q1 was measured on 10 February "
        "2026. 1 was dry (HW-007); 1 could not be reached (HW-013); 1 was pumping (HW-008). HW-014 has no reading and no "
        "reason on record. HW-010 was measured besides the plan." in text
    )


def test_summary_tells_changes_with_their_half_widths(text):
    assert "Since round 2025-Q4 (10 November 2025), the water rose at 19 wells and fell at none." in text
    assert re.search(r"The greatest rise was 0\.393 ± 0\.020 m at HW-0\d\d\. 5 wells cannot be compared\.", text)
    assert "Since the same period a year before, the water rose at no well and fell at 20." in text


def test_summary_states_gradients_or_that_they_are_not_determined(text):
    assert (
        "Upper sand (U), 10 February 2026: gradient 0.0018 ± 0.0002, flow towards 84° ± 7° (east), from 12 manual readings."
        in text
    )
    assert (
        "Lower gravel (L), 10 February 2026: no gradient is distinguishable from zero with 8 manual readings: at most 0.002."
        in text
    )


def test_summary_lists_thresholds(text):
    assert "6 of 13 thresholds are crossed." in text
    assert (
        "HW-001 action (below 39.115 m): 1 of 1 reading beyond, from 10 November 2025 to 10 February 2026 (2 readings in "
        "a row). Lowest 39.110 m on 10 February 2026 at 08:05, 0.005 m beyond, less than its half-width." in text
    )
    assert "3 of 13 thresholds cannot be judged." in text
    assert (
        "HW-007 base (below 28.220 m): 0 of 1 reading beyond, 1 only a bound. On 2026-02-10 only a bound is known: the "
        "water is at or below 29.220 m" in text
    )
    assert "HW-013 warning (below 37.913 m): No level of the period serves: 1 no access." in text


def test_levels_table_prints_a_bound_a_pumped_well_and_a_missing_one(report24):
    assert line(report24, "levels-2026-Q1", "HW-001") == (
        "HW-001 | 2026-02-10 08:05 | 3.490 | 42.600 | 39.110 | 0.014 | +0.393 | −0.030"
    )
    why = "dry, only a bound; head ≤ 29.220 m"
    row = line(report24, "levels-2026-Q1", "HW-007")
    assert f"| — ({why}) | 41.820 | ≤ 29.220 ({why}) | — ({why}) | — ({why})" in row
    assert "(pumping)" in line(report24, "levels-2026-Q1", "HW-008")
    assert "no reading and no reason on record" in line(report24, "levels-2026-Q1", "HW-014")


def test_change_that_is_not_significant_is_marked(constructed, quarterly):
    data = constructed.record(3)
    data = dataclasses.replace(data, levels=data.levels.assign(uncertainty_m=0.5))
    report = compose(
        dataclasses.replace(quarterly, decimals=3), data, period="2026-Q1", drawing=constructed.PlainDrawing()
    )
    within = "smaller than its half-width: not distinguishable from no change"
    assert f"+0.393 ({within}) | −0.030 ({within})" in line(report, "levels-2026-Q1", "HW-001")
    (row,) = [
        row for row in table(report, "levels-2026-Q1").rows if isinstance(row, tuple) and row[0].value == "HW-001"
    ]
    assert [cell.faint for cell in row] == [False] * 6 + [True] * 2
    assert "was unchanged within the uncertainty at 3" in plain_report(report)


def test_exclusions_give_every_reason(constructed, quarterly, record24):
    own = dataclasses.replace(quarterly, sections=("exclusions",))
    report = compose(own, record24, period="2026-Q1", drawing=constructed.PlainDrawing())
    rows = plain_table(table(report, "missing-2026-Q1")).replace("\u00a0", " ")
    assert "HW-007 | 2026-02-10 08:35 | dry | dry, only a bound | —" in rows
    assert "HW-013 | 2026-02-10 09:05 | no access | no access | gate locked, owner away" in rows
    assert "HW-014 | — (b) | — (b) | no reading and no reason on record | — (a)" in rows


def test_left_out_of_the_map_with_reasons(report24):
    rows = plain_table(table(report24, "left-out-2"))
    assert "| dry | ≤ 29.220 | — (a) | dry" in rows
    assert "| pumping | 36.446 | 0.014 | pumping" in rows


def test_a_map_that_was_not_drawn_has_no_remark_on_wells_left_out_of_it(constructed, quarterly, record24):
    control = record24.maps[0].control.head(2).assign(used=True, reason="")
    refused = MapFacts("L", dt.date(2026, 2, 10), control, refused="Only 2 wells of the aquifer were measured.")
    data = dataclasses.replace(record24, maps=(refused,))
    for section in ("maps", "map_wells"):
        own = dataclasses.replace(quarterly, sections=(section,))
        text = plain_report(compose(own, data, period="2026-Q1", drawing=constructed.PlainDrawing()))
        assert "No map could be drawn. Only 2 wells of the aquifer were measured." in text
        assert "Remarks on" not in text
        assert "left out of the map" not in text


def test_aquifers_without_a_map_stand_after_those_with_one(constructed, quarterly, record24):
    """Two aquifers of a few lines had a page of their own before the page of the third."""
    (first, *others) = record24.maps
    refused = dataclasses.replace(first, refused="Only 2 wells of the aquifer were measured.")
    data = dataclasses.replace(record24, maps=(refused, *others))
    own = dataclasses.replace(quarterly, sections=("aquifers",))
    (section,) = compose(own, data, period="2026-Q1", drawing=constructed.PlainDrawing()).sections
    kinds = [type(block) for block in section.blocks]
    assert FigureSlot in kinds
    last = max(place for place, kind in enumerate(kinds) if kind is FigureSlot)
    told = [
        place for place, block in enumerate(section.blocks) if "No map could be drawn" in getattr(block, "text", "")
    ]
    assert told
    assert min(told) > last


def test_refused_map_tells_why(constructed, quarterly, record24):
    control = record24.maps[0].control
    refused = MapFacts("L", dt.date(2026, 2, 10), control, refused="Only 2 wells of the aquifer were measured.")
    data = dataclasses.replace(record24, maps=(refused,))
    text = plain_report(compose(quarterly, data, period="2026-Q1", drawing=constructed.PlainDrawing()))
    assert "No map could be drawn. Only 2 wells of the aquifer were measured." in text


def test_measuring_points_show_alterations_and_the_corrected_survey(report24):
    rows = plain_table(table(report24, "measuring-points"))
    assert "HW-004 | 2017-06-01 | 2022-03-14 | 42.210 | +0.600 | 2017-06-01 | installed | ended" in rows
    assert "HW-004 | 2022-03-14 | open | 41.960 | +0.350 | 2022-03-14 | altered | in force" in rows
    assert "HW-005 | 2017-06-01 | open | 42.180 | +0.600 | 2017-06-01 | installed | replaced 2026-02-20" in rows
    assert "HW-005 | 2017-06-01 | open | 42.080 |" in rows
    assert "The same at all of them: accuracy 0.010 m, survey method levelled." in rows


def test_construction_is_given_as_elevations(report24, constructed):
    ground = constructed.ground(2)
    expected = " | ".join(f"{ground - depth:.2f}" for depth in (16.0, 17.0, 17.0, 24.5, 18.0, 24.0, 24.5))
    assert line(report24, "construction", "HW-003") == f"HW-003 | {expected}"
    assert "ended 2025-09-01, replaced by HW-011" in line(report24, "wells", "HW-010")


def test_silted_well_is_noticed(report24):
    row = line(report24, "sounded-depths", "HW-003")
    assert row == "HW-003 | 2026-02-10 | 24.50 | 22.40 | −2.10 | 24.00 | lower 1.60 m of the screen covered"


def test_corrections_and_tape_checks_in_force(report24):
    assert "elevation from 42.180 m to 42.080 m | level run closed on the wrong benchmark" in line(
        report24, "corrections", "2026-02-20"
    )
    checks = plain_table(table(report24, "tape-checks"))
    assert "ET-1 | 2025-10-02 | office | " in checks
    assert "+12 at 20.00\u00a0m" in checks
    assert "2023-10-02" not in checks  # an older check of the same tape


def test_cautions_stand_on_the_cover_and_at_the_end(report24):
    (beside,) = [block for block in report24.cover.blocks if isinstance(block, Beside)]
    assert "drinking water" in dict(beside.pairs)["Read with care"]
    closing = section(report24, "cautions").blocks[0]
    assert any("licensed professional" in item for item in closing.items)


def test_own_cautions_and_discussion_are_printed(constructed, quarterly):
    own = dataclasses.replace(quarterly, cautions=("Mind the weir.",), discussion=("The river was high.",))
    text = plain_report(compose(own, constructed.record(3), period="2026-Q1", drawing=constructed.PlainDrawing()))
    assert "! Mind the weir." in text
    assert "Discussion by the preparer\n" in text
    assert "The river was high." in text


def test_method_notes_name_datum_zone_and_tolerance(report24):
    text = plain_section(section(report24, "methods"))
    assert "within 0.006\u00a0m" in text
    assert "local datum 1990" in text
    assert "UTC+01:00" in text
    assert "Floating product" in text
    assert "{" not in text


def test_sign_off_leaves_lines_open(report24):
    text = plain_section(section(report24, "sign_off"))
    assert "Licence number: ____" in text
    assert "Signature and seal: ____" in text
    assert "as known on 2026-04-10" in text


def test_state_and_counts_on_the_cover(text):
    assert "State: 5 of 22 levels approved, 17 provisional" in text


def test_feet_are_used_where_the_site_works_in_feet(constructed, quarterly):
    report = compose(quarterly, constructed.record(3, unit="ft"), period="2026-Q1", drawing=constructed.PlainDrawing())
    assert line(report, "levels-2026-Q1", "HW-001") == (
        "HW-001 | 2026-02-10 08:05 | 11.45 | 139.76 | 128.32 | 0.05 | +1.29 | −0.10"
    )
    assert "[m]" not in "\n".join(
        plain_table(part) for part in report.tables() if part.key.startswith(("levels", "thresholds", "sounded"))
    )


def test_every_row_of_every_table_fits_its_columns(report24):
    for part in report24.tables():
        assert all(isinstance(row, Group) or len(row) == len(part.columns) for row in part.rows)
        assert part.rows


@pytest.mark.parametrize("count", [1, 3, 24])
@pytest.mark.parametrize("kind", list(report_sections()))
def test_each_section_alone(constructed, quarterly, kind, count):
    own = dataclasses.replace(quarterly, sections=(kind,), discussion=("The river was high.",))
    report = compose(own, constructed.record(count), period="2026-Q1", drawing=constructed.PlainDrawing())
    assert [part.key for part in report.sections] == [kind]
    assert report.sections[0].blocks


@pytest.mark.parametrize("period", ["2010-Q1", "2018-Q1", "2026", "2025-11", "2026-02-10..2026-02-10"])
def test_bare_record_and_odd_periods(constructed, quarterly, period):
    """A record of wells and levels alone gives every section, each saying what is not on record."""
    full = constructed.record(3)
    bare = constructed.record(
        3,
        maps=(),
        **{name: full_frame.iloc[:0] for name, full_frame in ((key, getattr(full, key)) for key in COLUMNS) if name not in ("wells", "levels")},
    )  # fmt: skip
    report = compose(quarterly, bare, period=period, drawing=constructed.PlainDrawing())
    text = plain_report(report)
    assert "No measuring point is on record." in text
    # on the cover, without pages of their own
    assert text.count("No threshold is in force") == 1
    assert not {"thresholds", "threshold_table"} & {section.key for section in report.sections}
    assert "No potentiometric map was made for this period." in text


def test_several_rounds_in_a_year_each_have_their_table(constructed, quarterly, record24):
    report = compose(quarterly, record24, period="2025", drawing=constructed.PlainDrawing())
    keys = [part.key for part in report.tables() if part.key.startswith("levels-")]
    assert keys == ["levels-2025-Q4", "levels-2025-Q3", "levels-2025-Q2", "levels-2025-Q1"]


def test_well_without_screen_ground_or_aquifer(constructed, quarterly):
    data = constructed.record(3)
    wells = data.wells.copy()
    for name in ("ground_elevation_m", "screen_top_m", "screen_bottom_m", "total_depth_m", "easting", "northing"):
        wells[name] = float("nan")
    wells["aquifer"] = ""
    data = dataclasses.replace(data, wells=wells, construction=data.construction.iloc[:0])
    text = plain_report(compose(quarterly, data, period="2026-Q1", drawing=constructed.PlainDrawing()))
    assert "No well has coordinates on record." in text
    assert "-- Aquifer not on record" in text


def test_two_accesses_of_one_well_are_listed(constructed, quarterly):
    data = constructed.record(3)
    other = data.levels[(data.levels["well"] == "HW-001") & (data.levels["round"] == "2026-Q1")].copy()
    other["access"], other["event_id"] = "north", 990_002
    other["measured_at_utc"] += pd.Timedelta(minutes=10)
    data = dataclasses.replace(data, levels=pd.concat([data.levels, other], ignore_index=True))
    report = compose(quarterly, data, period="2026-Q1", drawing=constructed.PlainDrawing())
    rows = plain_table(table(report, "levels-2026-Q1"))
    assert "HW-001 (north) |" in rows
    assert "another event of the round is used for the well" in rows


def test_placeholders_of_standing_texts_must_be_filled():
    from gwnet.errors import ReportError

    with pytest.raises(ReportError, match=r"wording/reduction\.md: The placeholder {repeat_tolerance} has no value"):
        wording("reduction")
    with pytest.raises(ReportError, match="standing text 'nothing' of the reports is missing"):
        wording("nothing")


def test_tables_are_of_one_kind_of_number(report24):
    """Every length column of the levels has the same decimals."""
    columns = table(report24, "levels-2026-Q1").columns
    assert {column.decimals for column in columns if column.unit == "m"} == {3}
    assert isinstance(table(report24, "levels-2026-Q1"), Table)


def test_many_wells_without_a_reading_are_named_in_a_sentence(constructed, quarterly):
    data = constructed.record(24)
    newest = data.levels["round"] == "2026-Q1"
    levels = data.levels[~newest | data.levels["well"].isin(["HW-001", "HW-002", "HW-003"])]
    report = compose(quarterly, dataclasses.replace(data, levels=levels), period="2026-Q1",
                     drawing=constructed.PlainDrawing())  # fmt: skip
    own = dataclasses.replace(quarterly, sections=("exclusions",))
    (left_out,) = compose(own, dataclasses.replace(data, levels=levels), period="2026-Q1",
                          drawing=constructed.PlainDrawing()).sections  # fmt: skip
    text = plain_section(left_out)
    assert "20 planned wells of round 2026-Q1 have no reading and no reason on record: HW-004, HW-005, " in text
    assert "HW-024." in text
    rows = [row for row in table(report, "levels-2026-Q1").rows if not isinstance(row, Group)]
    assert len(rows) == 3


def test_same_finding_at_many_wells_takes_one_row(constructed, quarterly):
    data = constructed.record(3)
    found = pd.DataFrame(
        [(f"HW-00{number}", "2026-02-10", "2026-Q1", "x", "note", "no reading") for number in (1, 2, 3)],
        columns=COLUMNS["findings"],
    )
    own = dataclasses.replace(quarterly, sections=("summary", "data_quality"))
    report = compose(own, dataclasses.replace(data, findings=found), period="2026-Q1",
                     drawing=constructed.PlainDrawing())  # fmt: skip
    assert "HW-001, HW-002, HW-003 | 2026-02-10 | no reading" in plain_table(table(report, "findings"))
    assert "The checks noticed 3 findings of the period at HW-001, HW-002 and HW-003" in plain_report(report)


def test_columns_without_any_value_are_named_in_a_note(constructed, quarterly):
    data = constructed.record(3)
    wells = data.wells.assign(coordinate_accuracy_m=float("nan"), purpose="", role="", drilled_on=None)
    report = compose(quarterly, dataclasses.replace(data, wells=wells), period="2026-Q1",
                     drawing=constructed.PlainDrawing())  # fmt: skip
    headings = [column.heading for column in table(report, "wells").columns]
    assert "Purpose" not in headings
    assert headings.count("±") == 1
    assert "Not on record for any of these wells: position accuracy, purpose, drilled." in table(report, "wells").notes


def test_wells_without_construction_say_so(constructed, quarterly):
    data = constructed.record(3)
    nothing = float("nan")
    wells = data.wells.assign(screen_top_m=nothing, screen_bottom_m=nothing)
    data = dataclasses.replace(data, wells=wells, construction=data.construction.iloc[:0])
    text = plain_report(compose(quarterly, data, period="2026-Q1", drawing=constructed.PlainDrawing()))
    assert "No casing, screen, seal or filter pack is on record for these wells." in text


def test_wells_without_an_event_are_left_out_of_the_map_by_reason(constructed, quarterly, record24):
    (upper,) = [facts for facts in record24.maps if facts.aquifer == "U"]
    control = upper.control.copy()
    away = control["well"].isin(["HW-001", "HW-002"])
    control.loc[away, ["used", "measured_at", "status", "reason"]] = [False, "", "", "no measurement within 1 day"]
    control.loc[away, ["water_elevation_m", "uncertainty_m"]] = float("nan")
    data = dataclasses.replace(record24, maps=(dataclasses.replace(upper, control=control),))
    report = compose(quarterly, data, period="2026-Q1", drawing=constructed.PlainDrawing())
    rows = plain_table(table(report, "left-out-1"))
    assert "HW-001, HW-002 | — (b) | — (b) | — (b) | — (b) | no measurement within 1 day" in rows
