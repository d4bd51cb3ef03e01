"""Two readings of a steel tape: kept as read, their difference is the depth to water.

The procedure is that of USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 1 p. 6-8: the tape is held at a whole foot at
the measuring point ("hold"), the wet chalk is read ("cut"), and the depth is the one less the other. The numbers are
made up.
"""

import pytest

from gwnet.store.fetch.levels import level_records, readings

TAPED = "site,well,date,tape_at_mark [ft],tape_at_water [ft],status,instrument\n"


def test_the_depth_is_the_mark_less_the_water_and_both_are_kept_as_read(loader):
    loader.text(TAPED + "S,MW-1,2024-03-12,12.00,1.50,,\n")
    [level] = loader.net.levels().to_dict("records")
    assert level["depth_to_water_m"] == pytest.approx(10.5 * 0.3048, abs=1e-9)
    assert level["water_elevation_m"] == pytest.approx(100.7 - 10.5 * 0.3048, abs=1e-9)
    with loader.net.store.reading() as connection:
        kept = readings(connection, level_records(connection)["record_id"].to_numpy())
    assert kept[["quantity", "value", "unit", "written"]].to_numpy().tolist() == [
        ["tape_at_mark", 12.0, "ft", "12.00"],
        ["tape_at_water", 1.5, "ft", "1.50"],
    ]


def test_the_correction_of_the_tape_is_that_of_the_depth(loader):
    checks = "instrument,checked_on,tape_reading,reference_reading\nT1,2024-01-02,3,3.01\nT1,2024-01-02,5,5.03\n"
    loader.text(checks, "tape_checks.csv")
    loader.text("site,well,date,tape_at_mark,tape_at_water,instrument\nS,MW-1,2024-03-12,5,1,T1\n")
    loader.text("site,well,date,depth_to_water,instrument\nS,MW-2,2024-03-12,4,T1\n", "other.csv")
    levels = loader.net.levels().set_index("well")["depth_to_water_m"]
    assert levels["MW-1"] == pytest.approx(4.02, abs=1e-9)
    assert levels["MW-2"] == pytest.approx(4.02, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cells", "column", "problem"),
    [
        ("12,,,", "tape_at_mark [ft]", "one-quantity-wanted"),
        (",1.5,,", "tape_at_water [ft]", "one-quantity-wanted"),
        ("12,-0.1,,", "tape_at_water [ft]", "out-of-range"),
        ("1.5,12,,", "tape_at_water [ft]", "wrong-order"),
        ("12,12,,", "tape_at_water [ft]", "wrong-order"),
        ("12,1.5,dry,", None, "number-not-allowed"),
    ],
)
def test_readings_that_contradict_each_other_are_refused(loader, cells, column, problem):
    found = loader.rejected(TAPED + f"S,MW-1,2024-03-12,{cells}\n")
    assert [(r.column, r.problem) for r in found if r.problem == problem] == [(column, problem)]


def test_a_depth_beside_the_two_readings_is_one_number_too_many(loader):
    text = "site,well,date,tape_at_mark,tape_at_water,depth_to_water\nS,MW-1,2024-03-12,12,1.5,10.5\n"
    assert [r.problem for r in loader.rejected(text)] == ["one-quantity-wanted"]


def test_a_correction_of_one_reading_keeps_the_other(loader):
    loader.text(TAPED + "S,MW-1,2024-03-12,12.00,1.50,,\n")
    text = "site,well,date,tape_at_water [ft]\nS,MW-1,2024-03-12,2.50\n"
    loader.text(text, "corrected.csv", correct=True, reason="misread")
    [level] = loader.net.levels().to_dict("records")
    assert level["depth_to_water_m"] == pytest.approx(9.5 * 0.3048, abs=1e-9)


def test_a_depth_replaces_the_two_readings_in_a_correction(loader):
    loader.text(TAPED + "S,MW-1,2024-03-12,12.00,1.50,,\n")
    text = "site,well,date,depth_to_water [ft]\nS,MW-1,2024-03-12,9\n"
    loader.text(text, "corrected.csv", correct=True, reason="other sheet")
    [level] = loader.net.levels().to_dict("records")
    assert level["depth_to_water_m"] == pytest.approx(9 * 0.3048, abs=1e-9)


def test_the_explanation_shows_both_readings_and_the_depth(loader):
    loader.text(TAPED + "S,MW-1,2024-03-12,12.00,1.50,,\n")
    text = str(loader.net.levels.explain("MW-1", "2024-03-12"))
    assert "12.00 ft" in text
    assert "1.50 ft" in text
    assert "tape at the mark less tape at the water" in text
