"""Schemas of the OGC, read from a folder beside the checkout; they are no part of the project."""

import functools
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
import xmlschema
from lxml import etree

from ..helpers import ROOT

_MIRRORS = {
    "http://schemas.opengis.net/": "ogc/",
    "https://schemas.opengis.net/": "ogc/",
    "http://www.w3.org/": "w3c/",
    "https://www.w3.org/": "w3c/",
}


def mirrored(url, folder):
    """Return the file of a folder that stands for an address on the web; None for another address."""
    for start, place in _MIRRORS.items():
        if url.startswith(start):
            return folder / place / url.removeprefix(start)
    return None


class _Mirror(etree.Resolver):
    """Finds in a folder what a schema names on the web."""

    def __init__(self, folder):
        self.folder = folder

    def resolve(self, url, _public, context):
        file = mirrored(url, self.folder)
        return None if file is None else self.resolve_filename(str(file), context)


def schemas_folder():
    """Return the folder of schemas; skip the test where it is absent."""
    shared = Path(os.environ["GWNET_OPEN_DATA"]).parent if "GWNET_OPEN_DATA" in os.environ else ROOT.parent / "shared"
    folder = shared / "schemas"
    if not folder.is_dir():
        pytest.skip("no folder 'schemas' with the schemas of the OGC beside the open data")
    return folder


def schema(name):
    """Return a compiled schema of the OGC."""
    folder = schemas_folder()
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Mirror(folder))
    return etree.XMLSchema(etree.parse(folder / "ogc" / name, parser))


@functools.cache
def _second_schema(path, folder):
    """Return a schema compiled by the library xmlschema, which shares no code with that of lxml; offline."""

    def find(url):
        file = mirrored(url, folder)
        return url if file is None else file.as_uri()

    return xmlschema.XMLSchema(str(path), uri_mapper=find, allow="local")


def agreed_validity(name, tree):
    """Return whether a document is valid by a schema; fail where two validators do not agree about it."""
    folder = schemas_folder()
    first, second = schema(name), _second_schema(folder / "ogc" / name, folder)
    by_first, by_second = first.validate(tree), second.is_valid(tree)
    problems = first.error_log if by_second else [error.reason for error in second.iter_errors(tree)]
    assert by_first == by_second, problems
    return by_first


def features(path, name, scratch):
    """Return what GDAL finds in a document by its schema, as text; it validates on the way."""
    if shutil.which("ogrinfo") is None:
        pytest.skip("no ogrinfo: install Debian's gdal-bin to run this test")
    cache = scratch / "cache"
    cache.mkdir()
    for folder, host in (("ogc", "schemas.opengis.net"), ("w3c", "www.w3.org")):
        top = schemas_folder() / folder
        for file in top.rglob("*.xsd"):
            shutil.copy(file, cache / re.sub(r"[^A-Za-z0-9.]", "_", f"{host}/{file.relative_to(top).as_posix()}"))
    settings = f'<SchemaCache enabled="true"><Directory>{cache}</Directory></SchemaCache>'
    (scratch / "settings.xml").write_text(
        f"<Configuration><AllowRemoteSchemaDownload>false</AllowRemoteSchemaDownload>{settings}</Configuration>"
    )
    wanted = {
        "XSD": f"http://schemas.opengis.net/{name}",
        "CONFIG_FILE": scratch / "settings.xml",
        **dict.fromkeys(
            ("VALIDATE", "FAIL_IF_VALIDATION_ERROR", "REMOVE_UNUSED_LAYERS", "REMOVE_UNUSED_FIELDS"), "YES"
        ),
    }
    options = [part for key, value in wanted.items() for part in ("-oo", f"{key}={value}")]
    command = ["ogrinfo", "-q", "-al", f"GMLAS:{path}", *options]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)


def read(path):
    """Return a document as a tree."""
    return etree.parse(path, etree.XMLParser(no_network=True, resolve_entities=False, huge_tree=True))
