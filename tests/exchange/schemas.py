"""Schemas of the OGC, read from a folder beside the checkout; they are no part of the project."""

import os
import re
import shutil
import subprocess
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
