"""Levels as WaterML 2.0: the schema, rules beyond it, an independent reader, broken copies, and the way back."""

import math
import re
import tracemalloc

import numpy as np
import pandas as pd
import pytest
from lxml import etree

import gwnet
from gwnet.errors import FileRejectedError, SettingsError, UnreadableFileError
from gwnet.exchange.level_series import DEPTH, ELEVATION, LevelSeries
from gwnet.exchange.waterml import _points
from gwnet.ingest.readers.waterml import read_waterml
from gwnet.ingest.waterml import is_waterml

from ..helpers import run_gwnet
from .schemas import agreed_validity, read, schema
from .time_series import load_record, small  # noqa: F401 (a fixture)

SCHEMA = "waterml/2.0/waterml2.xsd"
NS = {
    "wml2": "http://www.opengis.net/waterml/2.0",
    "om": "http://www.opengis.net/om/2.0",
    "gml": "http://www.opengis.net/gml/3.2",
    "xlink": "http://www.w3.org/1999/xlink",
    "xsi": "http://www.w3.org/2001/XMLSchema-instance",
}
HREF, ID, NIL = (f"{{{NS[space]}}}{name}" for space, name in (("xlink", "href"), ("gml", "id"), ("xsi", "nil")))


@pytest.fixture(scope="module")
def written(small, tmp_path_factory):  # noqa: F811
    return small.export("waterml2", tmp_path_factory.mktemp("waterml") / "levels.xml")


@pytest.fixture(scope="module")
def logged(demo_record, tmp_path_factory):
    """The levels of two wells of the demo with loggers, over some months."""
    with gwnet.open(demo_record) as net:
        wells = net.loggers.status()["well"]
        wells = sorted(set(wells[wells != ""]))[:2]
        path = tmp_path_factory.mktemp("logged") / "levels.xml"
        chosen = {"wells": wells, "start": "2025-10-01", "end": "2025-12-31"}
        return net.export("waterml2", path, **chosen), net.loggers.heads(**chosen)


_TIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z"


def broken_rules(tree):
    """Return what a document breaks of the rules that the schema does not hold (OGC 10-126r4, clauses 9 and 10)."""
    ids = {f"#{name}" for name in tree.xpath("//@gml:id", namespaces=NS)}
    problems = [
        f"dangling {href}" for href in tree.xpath("//@xlink:href", namespaces=NS) if href[0] == "#" and href not in ids
    ]
    written = [element.text for element in tree.iter(f"{{{NS['wml2']}}}time")]
    problems += [f"time {time}" for time in written if not re.fullmatch(_TIME, time)]
    for series in tree.iter(f"{{{NS['wml2']}}}MeasurementTimeseries"):
        default = series.find("wml2:defaultPointMetadata/wml2:DefaultTVPMeasurementMetadata", NS)
        names = ("uom", "interpolationType", "quality")
        problems += [f"no {name}" for name in names if default is None or default.find(f"wml2:{name}", NS) is None]
        if series.find("wml2:metadata/wml2:MeasurementTimeseriesMetadata", NS) is None:
            problems.append("other metadata")
        times = pd.to_datetime(
            [element.text for element in series.iter(f"{{{NS['wml2']}}}time")],
            format="ISO8601",
            errors="coerce",
            utc=True,
        )
        if not (times[1:] > times[:-1]).all():
            problems.append("times that do not increase")
    for value in tree.iter(f"{{{NS['wml2']}}}value"):
        metadata = value.getparent().find("wml2:metadata/wml2:TVPMeasurementMetadata", NS)
        reasons = [] if metadata is None else metadata.xpath("wml2:nilReason|wml2:censoredReason", namespaces=NS)
        if (value.get(NIL) == "true") != bool(reasons):
            problems.append("nil without a reason, or a reason without nil")
    return problems


@pytest.mark.slow
@pytest.mark.shared
def test_the_document_is_valid_by_the_schema(written):
    assert agreed_validity(SCHEMA, read(written))


def test_the_document_keeps_the_rules_beyond_the_schema(written):
    assert broken_rules(read(written)) == []


@pytest.mark.shared
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<wml2:value>5.123<", "<wml2:value>five<"),
        ('gml:id="series-2"', 'gml:id="series-1"'),
        ("<om:observedProperty", "<om:observedProperties"),
        ('<wml2:uom code="m"/>', '<wml2:uom code="m m"/>'),
    ],
)
def test_the_schema_refuses_a_broken_copy(written, old, new):
    text = written.read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new, 1).replace("</om:observedProperties", "</om:observedProperty")
    assert not agreed_validity(SCHEMA, etree.fromstring(text.encode()).getroottree())


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("2020-03-01T09:00:00Z</wml2:time>", "2020-03-01T09:00:00</wml2:time>", "time 2020"),
        ("2020-06-01T08:00:00Z</wml2:time>", "01/06/2020</wml2:time>", "time 01/06"),
        ("2020-06-01T08:00:00Z</wml2:time>", "2019-06-01T08:00:00Z</wml2:time>", "do not increase"),
        ('xlink:href="#well-0-datum"', 'xlink:href="#nowhere"', "dangling"),
        ('<wml2:uom code="m"/>', "", "no uom"),
        ("<wml2:nilReason", "<wml2:nilReasonless", "nil without"),
    ],
)
def test_the_rules_beyond_the_schema_see_a_broken_copy(written, old, new, problem):
    text = written.read_text(encoding="utf-8")
    assert old in text
    tree = etree.fromstring(text.replace(old, new, 1).encode()).getroottree()
    assert any(problem in found for found in broken_rules(tree))


def observations(path):
    """Yield the series of a document as OWSLib reads them, with well and property."""
    waterml2 = pytest.importorskip("owslib.swe.observation.waterml2")
    for element in read(path).iter(f"{{{NS['om']}}}OM_Observation"):
        series = waterml2.MeasurementTimeseriesObservation(element)
        names = {
            f"#{node.get(ID)}": node.findtext("gml:identifier", namespaces=NS)
            for node in read(path).iter(f"{{{NS['wml2']}}}MonitoringPoint")
        }
        well = names[element.find("om:featureOfInterest", NS).get(HREF)]
        yield well, element.find("om:observedProperty", NS).get(HREF)[1:], element, series.get_result()


def test_another_reader_finds_the_values_of_the_record(written, small):  # noqa: F811
    table = small.levels()
    expected = {
        (name, row["well"], row["measured_at_utc"].isoformat()[:19], round(row[f"{name}_m"], 6))
        for name in (DEPTH, ELEVATION)
        for _, row in table.iterrows()
        if row["bound"] == "" and not math.isnan(row[f"{name}_m"])
    }
    found = set()
    for well, name, _, result in observations(written):
        assert result.defaultTVPMetadata.uom == "m"
        for point in result.points:
            if not math.isnan(point.value):
                found.add((name, well, pd.Timestamp(point.datetime).isoformat()[:19], round(point.value, 6)))
    assert found == expected
    assert len(found) == 12


@pytest.mark.slow
@pytest.mark.shared
def test_another_reader_finds_the_heads_of_loggers_in_a_valid_document(logged):
    path, heads = logged
    assert schema(SCHEMA).validate(read(path))
    assert broken_rules(read(path)) == []
    known = heads[heads["water_elevation_m"].notna()]
    values = [
        point.value
        for _, _, element, result in observations(path)
        if element.find("om:procedure//wml2:processType", NS).get(HREF).endswith("/Sensor")
        for point in result.points
        if not math.isnan(point.value)
    ]
    assert len(values) == len(known) > 1_000
    assert np.allclose(np.sort(values), np.sort(known["water_elevation_m"].to_numpy()), atol=1e-6)


def test_a_series_of_depths_has_its_measuring_point_as_datum(written):
    tree = read(written)
    datums = {}
    for element in tree.iter(f"{{{NS['om']}}}OM_Observation"):
        if element.find("om:observedProperty", NS).get(HREF) == "#depth_to_water":
            href = element.find("om:procedure//wml2:verticalDatum", NS).get(HREF)
            (datum,) = tree.xpath("//gml:VerticalDatum[@gml:id=$name]", name=href[1:], namespaces=NS)
            datums[datum.findtext("gml:anchorDefinition", namespaces=NS)] = datum.findtext(
                "gml:realizationEpoch", namespaces=NS
            )
    assert datums == {"20.6": "2020-01-01", "20.8": "2022-01-03", "20.1": None}


def test_bounds_are_censored_with_their_limit(written, small):  # noqa: F811
    bounded = small.levels().query("bound != ''")
    assert list(bounded["status"]) == ["dry", "flowing", "static"]
    tree = read(written)
    reasons = [href.rpartition("/")[2] for href in tree.xpath("//wml2:censoredReason/@xlink:href", namespaces=NS)]
    # depths, then elevations; deeper than can be measured is a lower elevation
    assert reasons == [f"{word}DetectionRange" for word in "Above Below Above Below Above Below".split()]
    limits = tree.xpath("//*[@definition='urn:x-gwnet:def:limit']/*[local-name()='value']/text()")
    elevations = [float(text) for text in limits[3:]]
    assert elevations == pytest.approx(bounded["bound_elevation_m"].tolist(), abs=1e-6)
    assert [20.8 - float(text) for text in limits[:3]] == pytest.approx(elevations, abs=1e-6)


KEY = ["well", "access", "measured_at_utc", "depth_to_water_m"]


def test_what_goes_out_comes_back(written, small, tmp_path):  # noqa: F811
    with gwnet.open(load_record(tmp_path / "empty", without=("level_events",))) as net:
        result = net.imports.waterml([written], by="Ana")
        assert [(file.table, file.added) for file in result.files] == [("level_events", 10)]
        back, given = (one.levels().sort_values(KEY).reset_index(drop=True) for one in (net, small))
        again = net.imports.waterml([written], by="Ana")
    assert "already imported" in again.files[0].note
    for name in (
        "well",
        "access",
        "status",
        "bound",
        "notes",
        "time_known",
        "measured_at",
        "usable",
        "unusable_reason",
    ):
        assert back[name].tolist() == given[name].tolist(), name
    for name in ("depth_to_water_m", "water_elevation_m", "bound_elevation_m", "sounded_depth_m"):
        assert np.allclose(back[name], given[name], atol=2e-6, equal_nan=True), name
    assert back["quality"].tolist() == given["quality"].replace("", "unchecked").tolist()


FOREIGN = """<?xml version="1.0"?>
<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:gml="http://www.opengis.net/gml/3.2"
 xmlns:om="http://www.opengis.net/om/2.0" xmlns:xlink="http://www.w3.org/1999/xlink"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" gml:id="c">
<wml2:observationMember><om:OM_Observation gml:id="o">
<om:observedProperty xlink:href="http://example.org/p/1" xlink:title="Groundwater elevation"/>
<om:featureOfInterest xlink:href="http://example.org/wells/B-2" xlink:title="B-2"/>
<om:result><wml2:MeasurementTimeseries gml:id="t"><wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata>
<wml2:quality xlink:href="http://www.opengis.net/def/waterml/2.0/quality/estimate"/><wml2:uom code="[ft_i]"/>
</wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>
<wml2:point><wml2:MeasurementTVP><wml2:time>2023-05-01T12:00:00+02:00</wml2:time><wml2:value>50</wml2:value>
</wml2:MeasurementTVP></wml2:point>
<wml2:point><wml2:MeasurementTVP><wml2:time>2023-06-01T12:00:00Z</wml2:time><wml2:value>15.5</wml2:value>
<wml2:metadata><wml2:TVPMeasurementMetadata><wml2:quality xlink:href="http://www.opengis.net/def/waterml/2.0/quality/good"/>
<wml2:uom code="m"/></wml2:TVPMeasurementMetadata></wml2:metadata></wml2:MeasurementTVP></wml2:point>
<wml2:point><wml2:MeasurementTVP><wml2:time>2023-07-01T12:00:00Z</wml2:time><wml2:value xsi:nil="true"/>
</wml2:MeasurementTVP></wml2:point>
</wml2:MeasurementTimeseries></om:result></om:OM_Observation></wml2:observationMember></wml2:Collection>
"""


@pytest.fixture
def wells_only(tmp_path):
    return load_record(tmp_path / "wells", without=("level_events",))


def test_a_foreign_document_has_its_zones_units_and_inherited_quality(wells_only, tmp_path):
    (tmp_path / "foreign.xml").write_text(FOREIGN)
    with gwnet.open(wells_only) as net:
        net.imports.waterml([tmp_path / "foreign.xml"], by="Ana")
        table = net.levels()
    assert table["measured_at"].tolist() == [
        "2023-05-01T12:00+02:00",
        "2023-06-01T14:00+02:00",
        "2023-07-01T14:00+02:00",
    ]
    assert table["water_elevation_m"].tolist()[:2] == [pytest.approx(50 * 0.3048), 15.5]
    assert table["quality"].tolist() == ["estimate", "good", "estimate"]
    assert table["status"].tolist() == ["static", "static", "not measured"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("old", "new", "problem", "line"),
    [
        ("<wml2:value>50<", "<wml2:value>fifty<", "'fifty' is not a number", 11),
        ('code="[ft_i]"', 'code="fathom"', "The unit of '50' is 'fathom'", 11),
        ('<wml2:uom code="[ft_i]"/>', "", "'50' has no unit", 11),
        ("12:00:00+02:00", "12:00:61+02:00", "12:00:61", 11),
        ('"Groundwater elevation"', '"Nitrate"', "'Nitrate' is neither", 5),
        ('xlink:title="B-2"', 'xlink:title="C-3"', "C-3", 11),
    ],
)
def test_what_cannot_be_read_is_named_with_its_line_and_nothing_is_written(
    wells_only, tmp_path, old, new, problem, line
):
    assert old in FOREIGN
    (tmp_path / "foreign.xml").write_text(FOREIGN.replace(old, new))
    with gwnet.open(wells_only) as net:
        with pytest.raises(FileRejectedError) as caught:
            net.imports.waterml([tmp_path / "foreign.xml"], by="Ana")
        assert net.levels().empty
    assert any(problem in rejection.message and rejection.row == line for rejection in caught.value.rejections), [
        (rejection.row, rejection.message) for rejection in caught.value.rejections
    ]


BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (FOREIGN.replace('<?xml version="1.0"?>', '<?xml version="1.0"?>' + BOMB), "document type or entities"),
        (FOREIGN.replace('<?xml version="1.0"?>', '<!DOCTYPE x SYSTEM "file:///etc/passwd">'), "document type"),
        (FOREIGN[:-40], "not well-formed|no well-formed"),
        ("<a/>", "no WaterML 2.0: it begins with 'a'"),
        (FOREIGN.replace("opengis.net/waterml/2.0", "cuahsi.org/waterML/1.1"), "no WaterML 2.0"),
    ],
)
def test_a_document_that_is_dangerous_or_another_is_refused(content, message):
    with pytest.raises(UnreadableFileError, match=message):
        read_waterml("foreign.xml", content.encode())


def test_several_sites_need_the_site_of_a_foreign_document(wells_only, tmp_path):
    (tmp_path / "foreign.xml").write_text(FOREIGN)
    (tmp_path / "sites.csv").write_text(
        "site,crs,vertical_datum,length_unit,time_zone\nTWO,EPSG:25832,local datum,m,Europe/Berlin\n"
    )
    with gwnet.open(wells_only) as net:
        net.load([tmp_path / "sites.csv"], by="Ana")
        with pytest.raises(SettingsError, match="2 sites"):
            net.imports.waterml([tmp_path / "foreign.xml"], by="Ana")
        net.imports.waterml([tmp_path / "foreign.xml"], by="Ana", site="HOL")
        assert len(net.levels(site="HOL")) == 3


@pytest.mark.slow
def test_the_command_line_imports_without_a_mapping(wells_only, written, tmp_path):
    assert is_waterml(str(written))
    ran = run_gwnet("import", written, "--db", wells_only, "--by", "Ana", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert "10 added" in ran.out
    ran = run_gwnet("import", "levels.csv", "--db", wells_only, "--by", "Ana", cwd=tmp_path)
    assert ran.code == 2
    assert "only WaterML 2.0 (.xml) is read without one" in ran.err


@pytest.mark.slow
def test_points_of_a_long_series_are_written_one_by_one():
    size = 200_000
    texts = np.full(size, "", dtype=object)
    none = np.full(size, np.nan)
    series = LevelSeries(
        *("S", "W", "main", ELEVATION, "L", None, 1),
        np.datetime64("2020-01-01", "us") + np.arange(size) * np.timedelta64(900, "s"),
        *(np.linspace(10, 20, size), none, none, none),
        *(texts, texts, np.full(size, "good", dtype=object), texts, texts, texts),
        np.ones(size, dtype=bool),
    )
    tracemalloc.start()
    points = _points(series, "good")
    assert next(points).startswith("<wml2:point><wml2:MeasurementTVP><wml2:time>2020-01-01T00:00:00Z</wml2:time>")
    count = sum(1 for _ in points)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (count, len(series)) == (size - 1, size)
    assert peak < 10_000_000  # a tenth of the points at a time; all at once take more than 80 MB
