"""Schemas of the OGC, read from a folder beside the checkout; they are no part of the project."""

import os
from pathlib import Path

import pytest
from lxml import etree

from ..helpers import ROOT

_MIRRORS = {
    "http://schemas.opengis.net/": "ogc/",
    "https://schemas.opengis.net/": "ogc/",
    "http://www.w3.org/": "w3c/",
    "https://www.w3.org/": "w3c/",
}


class _Mirror(etree.Resolver):
    """Finds in a folder what a schema names on the web."""

    def __init__(self, folder):
        self.folder = folder

    def resolve(self, url, _public, context):
        for start, place in _MIRRORS.items():
            if url.startswith(start):
                return self.resolve_filename(str(self.folder / place / url.removeprefix(start)), context)
        return None


def schema(name):
    """Return a compiled schema of the OGC; skip the test where the folder of schemas is absent."""
    shared = Path(os.environ["GWNET_OPEN_DATA"]).parent if "GWNET_OPEN_DATA" in os.environ else ROOT.parent / "shared"
    folder = shared / "schemas"
    if not folder.is_dir():
        pytest.skip("no folder 'schemas' with the schemas of the OGC beside the open data")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Mirror(folder))
    return etree.XMLSchema(etree.parse(folder / "ogc" / name, parser))


def read(path):
    """Return a document as a tree."""
    return etree.parse(path, etree.XMLParser(no_network=True, resolve_entities=False, huge_tree=True))
