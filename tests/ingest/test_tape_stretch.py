"""Temperature and tension of a tape in tables move the level and show in its explanation."""

import numpy as np
import pytest

TAPES = (
    "instrument,kind,thermal_expansion,standard_temperature [degC],standard_tension [N],axial_stiffness [kN],"
    "mass_per_length [g/m]\n"
    "S1,steel tape,,,50,400,20\nS2,steel tape,6.0,25,,,\nE1,electric tape,,,,,\n"
)
LEVELS = "site,well,date,depth_to_water,instrument,tape_temperature [degC],tape_tension [N]\n"
#: Weight of a metre of tape S1: 20 g in standard gravity [N/m].
WEIGHT = 0.020 * 9.80665


@pytest.fixture
def tapes(loader):
    """Give a loader with a steel tape in full, one of another steel, and an electric tape of which nothing is known."""
    loader.text(TAPES, "instruments.csv")
    return loader


def depth(loader, cells):
    loader.text(f"{LEVELS}S,MW-1,2024-03-12,{cells}\n")
    [level] = loader.net.levels().to_dict("records")
    assert level["water_elevation_m"] == pytest.approx(100.7 - level["depth_to_water_m"], abs=1e-9)
    return level["depth_to_water_m"]


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ("318,S1,47.92,", 318.10299),  # surveying exercise: 318 m at 47.92 °C, right at 20 °C, 1.16e-5 per °C
        ("100,S2,15,", 100 - 100 * 6e-6 * 10),
        ("100,S1,,90", 100 + 100 * 40 / 4e5 + WEIGHT * 100**2 / (2 * 4e5)),
        ("100,S1,30,50", 100 + 0.0116 + WEIGHT * 100**2 / (2 * 4e5)),
        ("100,S1,,", 100.0),
        ("100,S2,,90", 100.0),
        ("100,E1,40,90", 100.0),
        ("100,,40,90", 100.0),
    ],
)
def test_the_depth_is_corrected_for_what_is_on_record(tapes, cells, expected):
    assert depth(tapes, cells) == pytest.approx(expected, abs=5e-6)


@pytest.mark.slow
def test_both_readings_of_a_steel_tape_are_corrected_as_their_difference(tapes):
    tapes.text("site,well,date,tape_at_mark,tape_at_water,tape_temperature\nS,MW-1,2024-03-12,320,2,47.92\n")
    assert tapes.net.levels()["depth_to_water_m"].tolist() == pytest.approx([318.10299], abs=5e-6)


def test_a_tape_check_holds_the_stretch_but_not_the_warmth_of_another_day(tapes):
    checks = "instrument,checked_on,tape_reading,reference_reading\nS1,2024-01-02,50,50.03\nS1,2024-01-02,150,150.03\n"
    tapes.text(checks, "tape_checks.csv")
    assert depth(tapes, "100,S1,30,90") == pytest.approx(100 + 0.03 + 0.0116, abs=1e-9)
    assert "the tape check holds it" in str(tapes.net.levels.explain("MW-1", "2024-03-12"))


def test_the_explanation_has_a_line_for_each_correction(tapes):
    depth(tapes, "318,S1,47.92,90")
    lines = str(tapes.net.levels.explain("MW-1", "2024-03-12")).splitlines()
    [warmth] = [line for line in lines if "temperature correction" in line]
    [pull] = [line for line in lines if "tension correction" in line]
    assert "+0.103 m" in warmth
    assert "47.92 degC, right at 20 degC, 11.6 ppm/degC" in warmth
    assert f"{318 * 40 / 4e5 + WEIGHT * 318**2 / (2 * 4e5):+.3f} m" in pull
    assert "90 N, right with 50 N, stiffness 400 kN, own weight 0.196 N/m" in pull
    [parts] = [line for line in lines if "uncertainty" in line]
    assert "temperature and tension" in parts


def test_a_correction_adds_to_the_half_width_and_no_other_level_has_the_lines(tapes):
    tapes.text(f"{LEVELS}S,MW-1,2024-03-12,100,S1,,\nS,MW-2,2024-03-12,100,S1,25,60\n")
    plain, corrected = tapes.net.levels().set_index("well")["uncertainty_m"]
    tension = 100 * 10 / 4e5 + WEIGHT * 100**2 / (2 * 4e5)
    depth_m = 100 + 100 * 1.16e-5 * 5 + tension
    added = np.hypot(100 * 1.16e-5 * 2, 0.1 * tension)
    # what the unchecked tape and its reading may be out by grows with the depth as well
    slopes = (0.001**2 + (0.003 / 60.96) ** 2) * (depth_m**2 - 100**2)
    assert corrected == pytest.approx(np.sqrt(plain**2 + added**2 + slopes), rel=1e-9)
    text = str(tapes.net.levels.explain("MW-1", "2024-03-12"))
    assert "temperature" not in text
    assert "tension" not in text


def test_an_impossible_temperature_is_refused(tapes):
    found = tapes.rejected(f"{LEVELS}S,MW-1,2024-03-12,10,S1,470,\n")
    assert [(one.column, one.problem) for one in found] == [("tape_temperature [degC]", "out-of-range")]
