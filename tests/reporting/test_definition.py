"""Report definitions: every wrong file gives an error that says what, where and what instead."""

import datetime as dt

import pytest

from gwnet.errors import DefinitionError
from gwnet.reporting.definition import SECTIONS, load_definition, safe_name

HEAD = 'title = "A"\nsections = ["summary"]\n'


def write(tmp_path, text, name="own.toml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_quarterly_holds_every_kind_of_section(quarterly):
    assert set(quarterly.sections) == set(SECTIONS)
    assert quarterly.name == "quarterly"
    assert len(quarterly.sha256) == 64


def test_reads_every_key(tmp_path):
    text = HEAD + (
        'units = "ft"\npage = "Letter"\ndecimals = 1\ncontents = false\n'
        '[select]\nwells = ["A"]\naquifers = ["U"]\n'
        '[prepared]\nby = "P"\nlicence = "L"\nfirm = "F"\nfor = "R"\n'
        '[map]\nmethod = "triangulation"\ninterval_ft = 2\nwindow_days = 3\n'
        '[hydrographs]\ngroup_by = "cluster"\nfrom = 2015-01-01\n'
        '[text]\ndiscussion = ["d"]\ncautions = ["c"]\n'
    )
    got = load_definition(write(tmp_path, text))
    assert (got.units, got.page, got.decimals, got.contents) == ("ft", "Letter", 1, False)
    assert (got.wells, got.aquifers) == (("A",), ("U",))
    assert (got.prepared.by, got.prepared.licence, got.prepared.firm, got.prepared.recipient) == ("P", "L", "F", "R")
    assert got.maps.interval_m == pytest.approx(0.6096)
    assert (got.maps.method, got.maps.window_days) == ("triangulation", 3.0)
    assert (got.hydrographs.group_by, got.hydrographs.start) == ("cluster", dt.date(2015, 1, 1))
    assert (got.discussion, got.cautions) == (("d",), ("c",))


def test_unit_follows_the_site_unless_told(quarterly):
    assert quarterly.unit("ftUS") == "ft"
    assert quarterly.unit("cm") == "m"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('titel = "A"\nsections = ["summary"]', "line 1: Unknown key 'titel'. Did you mean 'title'"),
        ('sections = ["summary"]', "The key 'title' is missing"),
        ('title = "A"', "The key 'sections' is missing"),
        ('title = 1\nsections = ["summary"]', "line 1: The key 'title' has the value 1; expected a text"),
        ('title = "A"\n\nsections = ["sumary"]', "line 3: .*did you mean 'summary' instead of 'sumary'\\?"),
        ('title = "A"\nsections = []', "at least one section"),
        ('title = "A"\nsections = ["summary", "summary"]', "none twice"),
        (HEAD + 'units = "yards"', "line 3: .*expected one of site, m, ft"),
        (HEAD + "decimals = 9", "line 3: .*whole number from 0 to 4"),
        (HEAD + "decimals = true", "whole number from 0 to 4"),
        (HEAD + 'contents = "yes"', "expected true or false"),
        (HEAD + 'method = "kriging"', "Unknown key 'method'. It belongs in \\[map\\]"),
        (HEAD + '[mapp]\nmethod = "kriging"', "line 3: Unknown key 'mapp'. Did you mean 'map'"),
        (HEAD + '[map]\nmethod = "krig"', "line 4: .*expected one of kriging, triangulation"),
        (HEAD + "[map]\ninterval_m = -1", "line 4: .*a number above 0"),
        (HEAD + "[map]\ninterval_m = nan", "a number above 0"),
        (HEAD + "[map]\ninterval_m = 1\ninterval_ft = 2", "Both interval_m and interval_ft"),
        (HEAD + "map = 3", "must be a table"),
        (HEAD + '[hydrographs]\nfrom = "2015"', "line 4: .*a day without quotation marks"),
        (HEAD + '[select]\nwells = "A"', "line 4: .*a list of texts"),
        (HEAD + "[select]\nwells = [1]", "a list of texts"),
        ("title = = 3", "not valid TOML.*line 1"),
        (b'title = "\xff"', "not UTF-8 text: byte 9"),
        (b"# " + b"x" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_wrong_files_say_what_and_where(tmp_path, text, message):
    with pytest.raises(DefinitionError, match=message):
        load_definition(write(tmp_path, text))


def test_unknown_name_lists_the_known_ones():
    with pytest.raises(DefinitionError, match=r"'quartely'; did you mean 'quarterly'.*Known are .*quarterly"):
        load_definition("quartely")


def test_missing_file(tmp_path):
    with pytest.raises(DefinitionError, match="cannot be read: No such file"):
        load_definition(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("name", "safe"), [("../../etc/x", "etc-x"), ("..", "report"), ("a b\0c", "a-b-c"), ("", "report"), ("é", "report")]
)
def test_safe_names_never_hold_a_path(name, safe):
    assert safe_name(name) == safe
