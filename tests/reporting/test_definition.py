"""Report definitions: every wrong file gives an error that says what, where and what instead."""

import datetime as dt
import hashlib
import io

import pytest

from gwnet.errors import DefinitionError
from gwnet.reporting.definition.parse import load_definition, safe_name
from gwnet.reporting.registry import report_sections

HEAD = 'title = "A"\nsections = ["summary"]\n'


def write(tmp_path, text, name="own.toml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_quarterly_holds_every_kind_of_section(quarterly):
    assert set(quarterly.sections) <= set(report_sections())
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


def test_unit_follows_the_site_unless_given(quarterly):
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
        (HEAD + '[map]\nmethod = "krig"', "line 4: .*expected one of auto, kriging, spline"),
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


def picture(path, size=(40, 20), form="PNG"):
    from PIL import Image

    Image.new("RGBA" if form == "PNG" else "RGB", size, (10, 90, 110, 128) if form == "PNG" else (10, 90, 110)).save(
        path, form
    )
    return path


def test_a_logo_lies_beside_the_definition_and_loses_its_transparency(tmp_path):
    from PIL import Image

    content = picture(tmp_path / "logo.png").read_bytes()
    got = load_definition(write(tmp_path, HEAD + '[prepared]\nlogo = "logo.png"\naddress = ["1 Mill Lane", "Holm"]\n'))
    with Image.open(io.BytesIO(got.prepared.logo)) as shown:
        assert (shown.mode, shown.size) == ("RGB", (40, 20))
        assert shown.getpixel((0, 0)) == pytest.approx((132, 172, 182), abs=1)  # half over white
    assert got.prepared.address == ("1 Mill Lane", "Holm")
    assert got.inputs == {"logo.png": hashlib.sha256(content).hexdigest()}


def test_own_standing_texts_take_the_place_of_those_of_the_program(tmp_path):
    (tmp_path / "texts").mkdir()
    (tmp_path / "texts" / "cautions.md").write_text("- Mind the moor.\n")
    got = load_definition(write(tmp_path, HEAD + '[text]\nwording = "texts"\n'))
    assert got.wording == {"cautions": "- Mind the moor.\n"}
    assert list(got.inputs) == ["texts/cautions.md"]


def test_layers_and_storage_and_trends_are_read(tmp_path):
    (tmp_path / "rivers.geojson").write_text("{}")
    text = HEAD + (
        '[select]\nrounds = ["R1"]\nthresholds = ["alarm"]\n[map]\nmethod = "auto"\nbase_layers = ["rivers.geojson"]\n'
        'barriers = "rivers.geojson"\n[storage]\nupper = 0.12\n'
        '[trends]\nmethod = "kendall"\nseasons = 12\nfrom = 2015-01-01\napproved_only = true\n'
    )
    got = load_definition(write(tmp_path, text))
    assert got.maps.base_layers == (tmp_path / "rivers.geojson",)
    assert (got.maps.barriers, got.maps.boundary, got.storage) == (
        tmp_path / "rivers.geojson",
        None,
        {"upper": 0.12},
    )
    assert (got.trends.method, got.trends.seasons, got.trends.approved_only) == ("kendall", 12, True)
    assert (got.rounds, got.thresholds) == (("R1",), ("alarm",))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[prepared]\nlogo = "none.png"', "'none.png' of logo cannot be read: No such file"),
        ('[prepared]\nlogo = "text.png"', "'text.png' is no picture"),
        ('[prepared]\nlogo = "large.png"', "has 4001 by 2 pixels"),
        ('[prepared]\nlogo = "../logo.png"', "leads out of the folder"),
        ('[prepared]\nlogo = "/etc/passwd"', "leads out of the folder"),
        ('[text]\nwording = "none"', "'none' of standing texts does not exist"),
        ('[text]\nwording = "texts"', "No report asks for a standing text 'cautoins'.*cautions"),
        ('[map]\nbase_layers = ["rivers.shp"]', "neither a GeoPackage nor GeoJSON"),
        ('[map]\nboundary = "none.gpkg"', "'none.gpkg' of boundary cannot be read"),
        ("[storage]\nupper = 1.5", "a storage coefficient between 0 and 1"),
        ("[trends]\nseasons = 5", "expected 4 or 12"),
    ],
)
def test_wrong_files_beside_the_definition_are_stated(tmp_path, text, message):
    folder = tmp_path / "own"
    (folder / "texts").mkdir(parents=True)
    (folder / "texts" / "cautoins.md").write_text("- x\n")
    (folder / "text.png").write_text("no picture")
    picture(folder / "large.png", (4001, 2))
    picture(tmp_path / "logo.png")
    with pytest.raises(DefinitionError, match=message):
        load_definition(write(folder, HEAD + text + "\n"))
