"""Text, numbers and names in XML documents."""

import pytest
from lxml import etree

from gwnet.exchange.xml_text import attribute, element_text, number, point_of, urn


@pytest.mark.parametrize("text", ["a < b & c > d", 'say "no"', "it's", "\x00\x0b\ud800", "井 ²", "]]>"])
def test_any_text_comes_back_but_for_signs_that_xml_forbids(text):
    wanted = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)
    element = etree.fromstring(f"<a b={attribute(text)}>{element_text(text)}</a>")
    assert (element.text, element.get("b")) == (wanted, wanted)


@pytest.mark.parametrize(
    ("value", "text"), [(8.21, "8.21"), (-0.0, "0"), (1e-9, "0"), (1e6, "1000000"), (-1.5, "-1.5")]
)
def test_a_number_has_no_exponent(value, text):
    assert number(value) == text


def test_a_name_becomes_part_of_a_urn_and_a_place_that_is_not_known_says_so():
    assert urn("well", "A/1 ü") == "urn:x-gwnet:well:A%2F1%20%C3%BC"
    assert point_of(None, "p") == ' nilReason="unknown">'
    assert "<gml:pos>54.50000000 9.00000000</gml:pos>" in point_of((54.5, 9.0), "p")
