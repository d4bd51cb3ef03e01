"""``gwnet calculate``: corrections before a table is loaded, without a database."""

import json

import pytest

from gwnet.cli import DONE, WRONG_USAGE

CORNERS = [(29.50, -98.50, 0.144), (29.50, -98.45, 0.132), (29.45, -98.45, 0.121), (29.45, -98.50, 0.125)]


def test_the_stretch_of_a_tape_is_printed(gwnet_here):
    asked = ["--length", "318", "--temperature", "47.92", "--tension", "90", "--standard-tension", "50"]
    ran = gwnet_here("calculate", "tape", *asked, "--section", "2", "--format", "json")
    assert ran.code == DONE, ran.err
    (row,) = json.loads(ran.out)
    assert row["temperature_correction_m"] == pytest.approx(0.10299, abs=5e-6)
    assert row["tension_correction_m"] == pytest.approx(0.0318)
    assert row["corrected_m"] == pytest.approx(318.0 + 0.10299 + 0.0318, abs=1e-5)


@pytest.mark.parametrize(
    ("asked", "words"), [([], "Nothing to correct for"), (["--tension", "90"], "the standard tension and the section")]
)
def test_what_is_not_enough_for_a_correction_is_refused(gwnet_here, asked, words):
    ran = gwnet_here("calculate", "tape", "--length", "318", *asked)
    assert ran.code == WRONG_USAGE
    assert words in ran.err


def test_a_shifted_elevation_is_printed(gwnet_here):
    corners = [word for corner in CORNERS for word in ("--corner", *map(str, corner))]
    place = ["--latitude", "29.4667897", "--longitude", "-98.4803739", "--elevation", "247.47"]
    ran = gwnet_here("calculate", "datum", *place, *corners, "--format", "json")
    assert ran.code == DONE, ran.err
    (row,) = json.loads(ran.out)
    assert row["shift_m"] == pytest.approx(0.128756, abs=5e-7)
    assert row["shifted_elevation_m"] == pytest.approx(247.599, abs=5e-4)
