"""Public functions are documented in the numpydoc form, held to by its own validator.

The checks are those of ``[tool.numpydoc_validation]`` in pyproject.toml. Short forms are enough: a dataclass that
lists its fields under Attributes; a class that takes the arguments of its base; a summary that begins with "Return" and
says all there is to say beside the annotated type; a method of one line that says "see `gwnet.x.y`", when that function
exists and is documented itself; and "Parameters as `gwnet.x`" (or two places), when that package documents under
Parameters every parameter that the function does not document itself. A protocol is documented by the classes that
fulfil it.
"""

import dataclasses
import importlib
import inspect
import pkgutil
import re
import tomllib

import pytest
from numpydoc.docscrape import NumpyDocString
from numpydoc.validate import validate

import gwnet

from ..helpers import ROOT

COVERED = (
    *("gwnet.hydro", "gwnet.analysis", "gwnet.units", "gwnet.clock", "gwnet.network"),
    *("gwnet.store.fetch", "gwnet.store.save", "gwnet.store.recorded"),
    *(f"gwnet.ingest.tables.{name}" for name in ("convert", "event", "overlaps", "recording", "kept", "documented")),
)

CHECKS = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["numpydoc_validation"]["checks"])

SEE = re.compile(r"see `(gwnet\.[\w.]+)`")
AS = re.compile(r"Parameters as `(gwnet\.[\w.]+)`(?: and `(gwnet\.[\w.]+)`)?")


def modules():
    names = [found.name for found in pkgutil.walk_packages(gwnet.__path__, "gwnet.")]
    return [name for name in names if name.startswith(COVERED)]


def is_public(name):
    return not name.startswith("_") or name == "__call__"


def public_objects():
    """Return the dotted names of the public functions, classes and methods that are covered."""
    found = ["gwnet.open"]
    for name in modules():
        module = importlib.import_module(name)
        for key, value in vars(module).items():
            if key.startswith("_") or getattr(value, "__module__", None) != name:
                continue
            if inspect.isfunction(value):
                found.append(f"{name}.{key}")
            elif inspect.isclass(value) and not getattr(value, "_is_protocol", False):
                found.append(f"{name}.{key}")
                methods = [n for n, m in vars(value).items() if inspect.isfunction(m) and is_public(n)]
                found += [f"{name}.{key}.{method}" for method in methods]
    return found


def resolved(name):
    """Return the object that a dotted name stands for."""
    parts = name.split(".")
    for cut in range(len(parts), 0, -1):
        try:
            value = importlib.import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for part in parts[cut:]:
            value = getattr(value, part)
        return value
    raise AssertionError(name)


def excused(value, text):
    """Return the checks that a short form of documentation stands in for."""
    if dataclasses.is_dataclass(value) and "Attributes\n---" in text:
        missing = [field.name for field in dataclasses.fields(value) if field.name[0] != "_" and field.name not in text]
        assert missing == [], f"fields not described: {missing}"
        return {"PR01"}
    if inspect.isclass(value) and "__init__" not in vars(value) and not dataclasses.is_dataclass(value):
        return {"PR01"}  # the base class documents what it is made from
    says_what = isinstance(value, property) or "return" in inspect.get_annotations(value)
    return {"RT01"} if says_what and text.startswith("Return ") else set()


def parameters_in(text):
    """Return the names under Parameters in a docstring."""
    return {name.strip(" *") for entry in NumpyDocString(text)["Parameters"] for name in entry.name.split(",")}


def shared(value, text):
    """Return the checks that "Parameters as" stands in for; fail where a parameter is documented nowhere."""
    pointed = AS.search(text)
    if not pointed:
        return set()
    sentence = text[pointed.end() :].partition("\n\n")[0]
    described = parameters_in(text) | {"self"}
    for place in filter(None, pointed.groups()):
        described |= parameters_in(inspect.getdoc(resolved(place)))
    described |= set(re.findall(r"``(\w+)``", sentence))
    missing = set(inspect.signature(value).parameters) - described
    assert missing == set(), f"described neither here nor in {pointed[1]}: {sorted(missing)}"
    says_what = re.match(r"(.* and return|Return|Yield) ", text)
    return {"PR01", "RT01", "YD01"} if says_what else {"PR01"}


@pytest.mark.parametrize("name", public_objects())
def test_a_public_function_is_documented(name):
    value = resolved(name)
    text = inspect.getdoc(value) or ""
    pointed = SEE.search(text)
    if pointed and "\n" not in text:
        assert inspect.getdoc(resolved(pointed[1])), f"{name} points to {pointed[1]}, which has no docstring"
        return
    held_to = CHECKS - excused(value, text) - shared(value, text)
    faults = [f"{code}: {fault}" for code, fault in validate(name)["errors"] if code in held_to]
    assert faults == []


def test_a_faulty_docstring_is_found(tmp_path, monkeypatch):
    (tmp_path / "faulty_example.py").write_text(
        '"""A module."""\n\n\ndef f(depth_m, other_m):\n    """Return it\n\n    Parameters\n    ----------\n'
        '    depth_m : float\n        A depth\n    """\n    return depth_m\n'
    )
    monkeypatch.syspath_prepend(tmp_path)
    codes = {code for code, _ in validate("faulty_example.f")["errors"]} & CHECKS
    assert {"SS03", "PR01", "PR09", "RT01"} <= codes


def test_a_parameter_that_is_described_nowhere_is_found():
    def example(connection, other):
        """Return it.

        Parameters as `gwnet.store.fetch`.
        """

    with pytest.raises(AssertionError, match=r"described neither here nor in gwnet\.store\.fetch: \['other'\]"):
        shared(example, inspect.getdoc(example))
