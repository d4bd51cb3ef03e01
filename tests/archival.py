"""Rules of PDF/A-3b (ISO 19005-3) looked at with pypdf, which writes none of our documents.

Numbers of clauses are those of ISO 19005-3, which takes them from ISO 19005-2 but for 6.8 (from memory).
"""

import io
import xml.etree.ElementTree as ET

from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject

_PDFAID = "{http://www.aiim.org/pdfa/ns/id/}"
_DC = "{http://purl.org/dc/elements/1.1/}"
_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_FORBIDDEN_ACTIONS = {
    "/Launch",
    "/Sound",
    "/Movie",
    "/ResetForm",
    "/ImportData",
    "/JavaScript",
    "/Hide",
    "/SetOCGState",
}


def broken_rules(content):
    """Return what a document breaks of the rules that are looked at here; nothing for a sound one."""
    reader = PdfReader(io.BytesIO(content))
    root = reader.trailer["/Root"]
    items = list(_objects(reader))
    return [
        *_file(reader),
        *_metadata(reader, root),
        *_intents(root),
        *(problem for item in items for problem in _object(item)),
        *_attachments(root, items),
        *(["6.6.1: actions at opening"] if "/AA" in root or "/JavaScript" in root.get("/Names", {}) else []),
    ]


def _objects(reader):
    seen, waiting = set(), [reader.trailer["/Root"]]
    while waiting:
        item = waiting.pop()
        if isinstance(item, IndirectObject):
            if item.idnum in seen:
                continue
            seen.add(item.idnum)
            item = item.get_object()
        if isinstance(item, DictionaryObject):
            yield item
            waiting += (
                [value for key, value in item.raw_items()]
                if hasattr(item, "raw_items")
                else [dict.get(item, key) for key in item]
            )
        elif isinstance(item, ArrayObject):
            waiting += list(list.__iter__(item))


def _file(reader):
    if "/ID" not in reader.trailer:
        yield "6.1.3: no file identifier"
    if reader.is_encrypted:
        yield "6.1.3: encrypted"


def _metadata(reader, root):
    if "/Metadata" not in root:
        yield "6.6.2.1: no XMP metadata"
        return
    tree = ET.fromstring(root["/Metadata"].get_data())
    part, level = (
        next((node.text for node in tree.iter(f"{_PDFAID}{name}")), None) for name in ("part", "conformance")
    )
    if (part, level) != ("3", "B"):
        yield f"6.6.4: declares part {part} and conformance {level}"
    title = next((node.text for name in tree.iter(f"{_DC}title") for node in name.iter(f"{_RDF}li")), None)
    stated = (reader.metadata or {}).get("/Title")
    if stated is not None and str(stated) != title:
        yield f"6.6.2.3: title {title!r} in the XMP, {stated!r} in the document"


def _intents(root):
    intents = [item.get_object() for item in root.get("/OutputIntents", [])]
    profiles = [item for item in intents if item.get("/S") == "/GTS_PDFA1" and "/DestOutputProfile" in item]
    if not profiles:
        yield "6.2.3: no output intent with a profile"
    for item in profiles:
        if item["/DestOutputProfile"].get_object().get_data()[36:40] != b"acsp":
            yield "6.2.3: the profile is none of the ICC"


def _object(item):
    kind, subtype = item.get("/Type"), item.get("/Subtype")
    if kind == "/Font" and subtype not in ("/Type0", "/Type3"):
        written = item.get("/FontDescriptor", DictionaryObject()).get_object()
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(written):
            yield f"6.2.11.4: font {item.get('/BaseFont')} is not embedded"
    if "/PatternType" in item:
        yield "a fill pattern, of which figures have none"
    if item.get("/S") in _FORBIDDEN_ACTIONS:
        yield f"6.5.1: action {item['/S']}"
    if item.get("/TR") is not None or item.get("/HTP") is not None:
        yield "6.2.5: a transfer function or halftone phase"
    if item.get("/Interpolate"):
        yield "6.2.8: an interpolated image"
    if subtype in ("/PS", "/3D", "/Sound", "/Movie", "/Screen"):
        yield f"6.2.9 or 6.3.1: {subtype}"
    if isinstance(item, StreamObject) and "LZW" in str(item.get("/Filter")):
        yield "6.1.7.2: LZW"
    if subtype == "/Link" and not int(item.get("/F", 0)) & 4:
        yield "6.3.2: a link that is not printed"


def _attachments(root, items):
    listed = {id(item.get_object()) for item in root.get("/AF", [])}
    for item in items:
        if "/EF" in item and ("/AFRelationship" not in item or id(item) not in listed or "/UF" not in item):
            yield f"6.8: file {item.get('/F')} has no relationship, or none to the document"
