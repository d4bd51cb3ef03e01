"""Wells as GroundWaterML 2.2: the schema, rules beyond it, an independent reader, and broken copies."""

import math
import re

import pytest
from lxml import etree

import gwnet
from gwnet.exchange import gwml

from .schemas import agreed_validity, features, read, schema
from .time_series import small  # noqa: F401 (a fixture)

SCHEMA = "gwml/2.2/gwml2-well.xsd"
NS = {
    "w": "http://www.opengis.net/gwml-well/2.2",
    "c": "http://www.opengis.net/gwml-wellconstruction/2.2",
    "gml": "http://www.opengis.net/gml/3.2",
    "swe": "http://www.opengis.net/swe/2.0",
    "xlink": "http://www.w3.org/1999/xlink",
}
HREF = f"{{{NS['xlink']}}}href"


@pytest.fixture(scope="module")
def written(small, tmp_path_factory):  # noqa: F811
    return small.export("gwml2", tmp_path_factory.mktemp("gwml") / "wells.gml")


def broken_rules(tree):
    """Return what a document breaks of the rules that the schema does not hold (OGC 16-032r2, well and construction)."""
    problems = []
    for well in tree.iter(f"{{{NS['w']}}}GW_Well"):
        kinds = [one.get(HREF) for one in well.iter(f"{{{NS['w']}}}elevationType")]
        nil = well.xpath("w:gwWellReferenceElevation/@nilReason", namespaces=NS)
        if kinds.count("http://resource.gwml.org/def/elevationType/originElevation") != 1 and not nil:
            problems.append("origin elevation")
    for part in tree.xpath("//*[c:from and c:to]", namespaces=NS):
        top, bottom = (float(part.findtext(f"c:{end}//swe:value", namespaces=NS)) for end in ("from", "to"))
        if top > bottom:
            problems.append("from below to")
    return problems


@pytest.mark.shared
def test_the_document_is_valid_by_the_schema(written):
    assert agreed_validity(SCHEMA, read(written))
    assert broken_rules(read(written)) == []


@pytest.mark.shared
def test_the_wells_of_the_demo_are_valid(demo_record, tmp_path):
    with gwnet.open(demo_record) as net:
        path = net.export("gwml2", tmp_path / "demo.gml")
        construction, wells = net.tables("construction"), net.wells()
    tree = read(path)
    compiled = schema(SCHEMA)
    assert compiled.validate(tree), compiled.error_log.last_error
    assert broken_rules(tree) == []
    names = tree.xpath("//w:GW_Well/gml:identifier/text()", namespaces=NS)
    assert sorted(names) == sorted(wells["well"])
    standing = construction[construction["removed_on"].isna()]
    assert len(tree.xpath("//c:bholeConstruction", namespaces=NS)) == len(standing) > 50


@pytest.mark.shared
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<gwml2wc:from><swe:Quantity>", "<gwml2wc:fromm><swe:Quantity>"),
        ("<swe:value>8</swe:value>", "<swe:value>eight</swe:value>"),
        ('gml:id="well-1"', 'gml:id="well-0"'),
        ("<gwml2wc:bholeHeadworks>", "<gwml2wc:installedEquipment>"),
    ],
)
def test_the_schema_refuses_a_broken_copy(written, old, new):
    text = written.read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new).replace(
        "</gwml2wc:bholeHeadworks>", "</" + new[1:] if "installed" in new else "</gwml2wc:bholeHeadworks>"
    )
    text = text.replace("</gwml2wc:from>", "</gwml2wc:fromm>") if "fromm" in new else text
    assert not agreed_validity(SCHEMA, etree.fromstring(text.encode()).getroottree())


def test_the_rules_beyond_the_schema_see_a_broken_copy(written):
    text = written.read_text(encoding="utf-8")
    for old, new in (("originElevation", "another"), ("<swe:value>8</swe:value>", "<swe:value>80</swe:value>")):
        assert old in text
        assert broken_rules(etree.fromstring(text.replace(old, new).encode()).getroottree())


@pytest.mark.slow
@pytest.mark.shared
def test_another_reader_finds_wells_and_their_parts(written, small, tmp_path):  # noqa: F811
    done = features(written, SCHEMA, tmp_path)
    assert done.returncode == 0, done.stderr
    found = dict.fromkeys(re.findall(r"identifier \(String\) = (.*)", done.stdout))
    assert list(found) == ["A <1>", "B-2"]
    places = [
        tuple(map(float, pair)) for pair in re.findall(r"shape_abstractgeometry = POINT \((\S+) (\S+)\)", done.stdout)
    ]
    wells = small.wells(geo=True).to_crs(4326)
    for (longitude, latitude), point in zip(places, wells.geometry, strict=False):
        assert (longitude, latitude) == pytest.approx((point.x, point.y), abs=1e-7)
    assert len(places) >= 2
    values = [float(text) for text in re.findall(r"value \(Real\) = (\S+)", done.stdout)]
    assert sorted(values) == [0, 5, 7, 7, 8, 8, 11, 12, 12]


def test_construction_and_elevations_are_those_of_the_record(written):
    tree = read(written)
    parts = {}
    for part in tree.xpath("//*[c:from and c:to]", namespaces=NS):
        words = part.findtext("gml:description", namespaces=NS)
        parts[words] = [float(text) for text in part.xpath("*/swe:Quantity/swe:value/text()", namespaces=NS)]
    assert parts == {
        "casing; diameter 115 mm": [0, 8],
        "screen; diameter 115 mm": [8, 11],
        "filter pack": [7, 12],
        "seal": [5, 7],
    }
    titles = tree.xpath("//c:sealingMaterial/@xlink:title", namespaces=NS)
    assert titles == ["clay & bentonite"]
    assert tree.xpath("//w:elevation/text()", namespaces=NS) == ["20", "19.5"]
    assert tree.xpath("//c:collarElevation/text()", namespaces=NS) == ["20.8", "20.1"]
    assert [float(text) for text in tree.xpath("//w:gwWellTotalLength//swe:value/text()", namespaces=NS)] == [12.0]
    assert not math.isnan(float(tree.xpath("//c:collarElevation/text()", namespaces=NS)[0]))
    assert gwml.write_gwml.__doc__
