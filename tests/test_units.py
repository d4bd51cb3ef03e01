import pytest

from gwnet.errors import UnitError
from gwnet.units import length_unit, metres_per


@pytest.mark.parametrize(
    ("written", "unit"), [("m", "m"), (" FT ", "ft"), ("ftus", "ftUS"), ("Mm", "mm"), ("cm", "cm")]
)
def test_unit_words(written, unit):
    assert length_unit(written) == unit


def test_inches_are_refused_with_the_mend():
    with pytest.raises(UnitError, match="decimal feet, never inches"):
        length_unit("in")


def test_unknown_unit_names_the_known():
    with pytest.raises(UnitError, match="expected one of m, cm, mm, ft, ftUS"):
        metres_per("fathom")
