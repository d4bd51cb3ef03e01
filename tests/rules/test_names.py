"""Every length, depth and elevation in a signature says its unit."""

import ast
import re

import pytest

from ..helpers import ROOT

#: Words that make a number a length, a depth or an elevation.
LENGTHS = {
    "depth",
    "elevation",
    "height",
    "thickness",
    "length",
    "distance",
    "displacement",
    "spread",
    "tolerance",
    "accuracy",
    "drawdown",
    "range",
}

UNIT = re.compile(r"_(m|mm|m2|m3|km|per_year|per_day|kpa)$")

#: Annotations of what is a number with a unit.
NUMBERS = re.compile(r"ArrayLike|Floats|float")

#: Names that hold one of the words and are no length, each with the reason.
ALLOWED: dict[str, str] = {}


def signature_names():
    """Return every parameter of a public function and field of a result in ``gwnet/hydro``, with its annotation."""
    found = []
    for file in sorted((ROOT / "gwnet" / "hydro").rglob("*.py")):
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
                found += [(f"{file.stem}.{node.name}", a.arg, ast.unparse(a.annotation)) for a in arguments]
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                fields = [line for line in node.body if isinstance(line, ast.AnnAssign)]
                found += [(f"{file.stem}.{node.name}", f.target.id, ast.unparse(f.annotation)) for f in fields]
    return found


def lacks_unit(name, annotation):
    words = set(name.lower().split("_"))
    return bool(words & LENGTHS) and bool(NUMBERS.search(annotation)) and not UNIT.search(name) and name not in ALLOWED


def test_the_rule_finds_a_bare_depth_and_passes_a_named_one():
    assert lacks_unit("depth_to_water", "ArrayLike")
    assert not lacks_unit("depth_to_water_m", "ArrayLike")
    assert not lacks_unit("depth_count", "int")


@pytest.mark.parametrize(("place", "name", "annotation"), signature_names())
def test_a_length_ends_in_its_unit(place, name, annotation):
    assert not lacks_unit(name, annotation), f"{place}: {name} should end in _m"


def test_the_columns_of_the_schema_say_their_unit():
    from sqlalchemy import Float

    from gwnet.store.models.schema import METADATA

    bare = [
        f"{table.name}.{column.name}"
        for table in METADATA.tables.values()
        for column in table.columns
        if isinstance(column.type, Float) and set(column.name.split("_")) & LENGTHS and not UNIT.search(column.name)
    ]
    assert bare == []


def test_instants_of_the_schema_end_in_utc():
    from gwnet.store.models.base import UtcDateTime
    from gwnet.store.models.schema import METADATA

    for table in METADATA.tables.values():
        for column in table.columns:
            assert isinstance(column.type, UtcDateTime) == column.name.endswith("_utc"), f"{table.name}.{column.name}"
