"""Which printed values count as changed. Constructed."""

import pytest

from gwnet.reporting.errata import NEW_ROW, NO_ROW, Reason, changed_values, with_listed


def value(row, printed, *, column="Water elevation", table="levels-2025-Q4", unit="m"):
    return {"table": table, "row": row, "column": column, "unit": unit, "printed": printed}


def told(before, now, reasons=()):
    changes, reviewed = changed_values(before, now, reasons)
    return [(change.row, change.column, change.was, change.now) for change in changes], reviewed


def test_a_value_that_is_printed_alike_has_not_changed():
    assert told([value("A, 1", "53.801")], [value("A, 1", "53.801")]) == ([], 0)


@pytest.mark.parametrize(
    ("was", "now", "changed"),
    [
        ("53.801", "53.80", False),  # the same to the coarser decimals
        ("53.80", "53.804", False),
        ("53.80", "53.806", True),
        ("53.801", "53.802", True),
        ("−0.03", "+0.03", True),
        ("≤ 41.20", "41.20", True),  # a bound is not a number
        ("≤ 41.20", "≤ 41.20", False),
        ("—", "41.20", True),
        ("2025-11-19 09:11", "2025-11-19 09:12", True),
    ],
)
def test_two_printed_numbers_are_compared_to_the_decimals_of_the_coarser(was, now, changed):
    found, _ = told([value("A", was)], [value("A", now)])
    assert found == ([("A", "Water elevation", was, now)] if changed else [])


def test_a_row_that_went_and_a_row_that_came_are_listed_once_each():
    before = [value("A", "A", column="Well", unit=""), value("A", "1.0"), value("B", "2.0")]
    now = [value("B", "2.0"), value("C", "C", column="Well", unit=""), value("C", "3.0"), value("C", "0.1", column="±")]
    found, _ = told(before, now)
    assert found == [("A", "Well", "A", NO_ROW), ("C", "Water elevation", NEW_ROW, "3.0")]


def test_a_table_that_is_not_made_any_more_is_not_compared():
    assert told([value("A", "1.0", table="gone")], [value("B", "2.0")]) == ([], 0)


def test_a_review_is_counted_and_no_change():
    before = [value("A", "provisional", column="Review", unit=""), value("A", "1.0")]
    now = [value("A", "approved", column="Review", unit=""), value("A", "1.0")]
    assert told(before, now) == ([], 1)
    assert told(before, [now[0], value("A", "1.1")]) == ([("A", "Water elevation", "1.0", "1.1")], 0)


def test_a_change_names_the_corrections_of_its_own_well():
    reasons = [Reason("W-04", "surveyed anew"), Reason("W-05", "misread"), Reason("", "tape E-1 checked")]
    (own,), _ = changed_values([value("W-04, 2025-11-19", "1.0")], [value("W-04, 2025-11-19", "1.1")], reasons)
    assert own.why == "surveyed anew"
    (other,), _ = changed_values([value("W-06", "1.0")], [value("W-06", "1.1")], reasons)
    assert other.why == "tape E-1 checked"
    (none,), _ = changed_values([value("W-06", "1.0")], [value("W-06", "1.1")], reasons[:2])
    assert "nothing recorded since explains it" in none.why


def test_what_was_recorded_of_a_pumping_test_explains_its_tables_alone():
    reasons = [Reason("PW", "rate corrected", test="PT-1"), Reason("", "2 readings", test="PT-2")]
    now = "theis, O1, O2, transmissivity"
    tables = {"pumping-fits-PT-1": "rate corrected", "pumping-static-PT-2": "2 readings"}
    for table, why in tables.items():
        [change], _ = changed_values([value(now, "1.0", table=table)], [value(now, "2.0", table=table)], reasons)
        assert change.why == why


def test_a_derived_value_names_what_moved_the_levels_of_its_round_day_or_aquifer():
    survey = Reason("L-02", "surveyed anew", frozenset({"2020-Q1", "2020-02-18", "lower"}))
    reasons = [survey, Reason("W-05", "misread", frozenset({"2021-Q3", "2021-08-17", "upper"}))]

    def why(row, table):
        (change,), _ = changed_values([value(row, "1.0", table=table)], [value(row, "1.1", table=table)], reasons)
        return change.why

    moved = "worked out from levels that moved or were added: "
    assert why("2020-Q1, 2020-02-18", "gradients-x") == f"{moved}L-02, surveyed anew"
    assert why("plane", "change-lower-2019-11-19") == f"{moved}L-02, surveyed anew"
    assert why("plane", "map-2021-08-17") == f"{moved}W-05, misread"
    together = "worked out together with levels that moved or were added: L-02, surveyed anew; W-05, misread"
    assert why("W-06", "trends") == together


def test_what_was_stated_before_is_not_repeated():
    printed = [value("A", "1.0"), value("B", "2.0"), value("C", "3.0")]
    earlier = [
        value("A", "") | {"was": "1.0", "now": "1.1"},
        value("B", "") | {"was": "2.0", "now": NO_ROW},
        value("D", "") | {"was": NEW_ROW, "now": "4.0"},
    ]
    now = [value("A", "1.1"), value("C", "3.0"), value("D", "4.0")]
    assert told(with_listed(printed, earlier), now) == ([], 0)
    assert told(with_listed(printed, earlier), [value("A", "1.2"), *now[1:]])[0] == [
        ("A", "Water elevation", "1.1", "1.2")
    ]
