"""WaterML 2.0 as rows of level events: what a series means, whoever wrote it."""

import pytest

from gwnet.errors import UnreadableFileError
from gwnet.ingest.readers.waterml import HEADINGS, read_waterml
from gwnet.ingest.waterml import is_waterml

HEAD = (
    '<c:Collection xmlns:c="http://www.opengis.net/waterml/2.0" xmlns:o="http://www.opengis.net/om/2.0" '
    'xmlns:x="http://www.w3.org/1999/xlink" xmlns:i="http://www.w3.org/2001/XMLSchema-instance">'
)


def document(prop, *points, process="ManualMethod"):
    inner = "".join(f"<c:point><c:MeasurementTVP>{point}</c:MeasurementTVP></c:point>" for point in points)
    return (
        f'{HEAD}<c:observationMember><o:OM_Observation><o:procedure><c:ObservationProcess><c:processType x:href="p/{process}"/>'
        f'</c:ObservationProcess></o:procedure><o:observedProperty x:href="p" x:title="{prop}"/>'
        f'<o:featureOfInterest x:href="w" x:title="W-1"/><o:result><c:MeasurementTimeseries><c:defaultPointMetadata>'
        f'<c:DefaultTVPMeasurementMetadata><c:uom code="cm"/></c:DefaultTVPMeasurementMetadata></c:defaultPointMetadata>'
        f"{inner}</c:MeasurementTimeseries></o:result></o:OM_Observation></c:observationMember></c:Collection>"
    ).encode()


TIME = "<c:time>2024-01-01T00:00:00Z</c:time>"
NIL = '<c:value i:nil="true"/>'


def censored(reason):
    return (
        f'{TIME}{NIL}<c:metadata><c:TVPMeasurementMetadata><c:censoredReason x:href="nil/{reason}"/>'
        "</c:TVPMeasurementMetadata></c:metadata>"
    )


def rows(content):
    return [dict(zip(HEADINGS, row, strict=True)) for row in read_waterml("a.xml", content).rows]


@pytest.mark.parametrize(
    ("prop", "column"),
    [("Depth to water", "depth_to_water [m]"), ("Groundwater elevation", "water_elevation [m]")],
)
def test_the_property_says_what_a_value_is_and_its_unit_is_converted(prop, column):
    (row,) = rows(document(prop, f"{TIME}<c:value>512.5</c:value>"))
    assert row[column] == "5.125"
    assert (row["well"], row["measured_at"], row["status"]) == ("W-1", "2024-01-01T00:00:00Z", "static")


@pytest.mark.parametrize(
    ("prop", "reason", "status"),
    [
        ("Depth to water", "AboveDetectionRange", "dry"),
        ("Depth to water", "BelowDetectionRange", "flowing"),
        ("Groundwater elevation", "BelowDetectionRange", "dry"),
        ("Groundwater elevation", "AboveDetectionRange", "flowing"),
    ],
)
def test_a_censored_value_is_a_dry_or_a_flowing_well(prop, reason, status):
    (row,) = rows(document(prop, censored(reason)))
    assert (row["status"], row["depth_to_water [m]"], row["water_elevation [m]"]) == (status, "", "")


def test_samples_of_sensors_are_passed_over_and_counted():
    sheet = read_waterml("a.xml", document("Groundwater elevation", f"{TIME}<c:value>1</c:value>", process="Sensor"))
    assert sheet.rows == []
    assert sheet.warnings == ["samples of sensors, which are loaded from the files of loggers, were passed over (1)"]


def test_another_document_is_refused():
    with pytest.raises(UnreadableFileError, match="no WaterML 2"):
        read_waterml("a.xml", b"<kml/>")
    assert [is_waterml(name) for name in ("a.XML", "a.csv")] == [True, False]
