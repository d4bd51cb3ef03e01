"""Every public function, class and method of the package is reached from a command, the network or a migration."""

import pytest

from ..helpers import ROOT, package_modules
from .call_graph import Graph

#: What is called from outside: the package's `open`, both modules that are run, and the network with its parts.
ROOTS = ["gwnet", "gwnet.__main__", "gwnet.docs.__main__"]
NETWORK = ["gwnet.network.core:Network.*", "gwnet.network.core:init", "gwnet.network.core:upgrade"]

MADE_UP = {
    "pack": "from pack.door import Door\n\ndef open():\n    return Door()\n",
    "pack.door": (
        "from pack import tools\n"
        "from pack.face import helper as assist\n"
        "from pack.shapes import Round, Square\n\n"
        "class Door:\n"
        "    def turn(self):\n        return assist(Round()), tools.oil(), getattr(self, 'lock')()\n"
        "    def lock(self):\n        from pack.late import lazily\n        return lazily()\n"
        "    def forgotten(self):\n        return Square()\n"
    ),
    "pack.face": "from pack.inner import helper\n",
    "pack.inner": "def helper(shape):\n    return shape.area()\n\ndef alone():\n    return alone()\n",
    "pack.shapes": (
        "class Round:\n    def area(self):\n        return 1\n    def edge(self):\n        return 2\n\n"
        "class Square:\n    def area(self):\n        return 1\n"
    ),
    "pack.tools": (
        "import functools\n"
        "from pack.inner import alone\n\n"
        "TABLE = {'a': listed}\n\n"
        "def oil():\n    return TABLE['a']()\n\n"
        "def listed():\n    return 1\n\n"
        "@functools.lru_cache\ndef kept():\n    return 1\n"
    ),
    "pack.late": "def lazily():\n    return 1\n\ndef never():\n    return 2\n",
    "pack.hooks": (
        "import click\n\nclass Group(click.Group):\n    def list_commands(self):\n        return []\n\n"
        "class Sub(Group):\n    pass\n\n"
        "class Registry:\n    def __init_subclass__(cls):\n        TABLE[cls.__name__] = cls\n\n"
        "class Heir(Registry):\n    pass\n"
    ),
    "pack.parts": "",
    "pack.parts.first": "from pack.door import register\n\n@register\ndef made():\n    return 1\n",
    "pack.shelf": (
        "import pkgutil\nfrom pack import parts\n\n"
        "def bring():\n    return list(pkgutil.iter_modules(parts.__path__))\n"
    ),
}


def modules(folder):
    """Return the sources below a folder of the checkout by dotted name."""
    named = {}
    for file in package_modules() if folder == "gwnet" else sorted((ROOT / folder).rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        named[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file.read_text(encoding="utf-8")
    return named


@pytest.fixture(scope="module")
def unreached():
    sources = modules("gwnet")
    migrations = {name.replace("versions.", ""): code for name, code in modules("migrations").items()}
    commands = [name for name in sources if name.split(".")[:2] == ["gwnet", "cli"]]
    folders = ("gwnet.reporting.sections.", "gwnet.exchange.")  # whose modules are imported to register what they hold
    registered = [name for name in sources if name.startswith(folders)]
    return set(Graph(sources | migrations).unreached([*ROOTS, *NETWORK, *commands, *registered, *migrations]))


def test_what_nothing_calls_is_found():
    roots = ["pack", "pack.door:Door.turn"]
    assert Graph(MADE_UP).unreached(roots) == [
        "pack.door:Door.forgotten",
        "pack.hooks:Group",
        "pack.hooks:Group.list_commands",
        "pack.hooks:Heir",
        "pack.hooks:Registry",
        "pack.hooks:Sub",
        "pack.inner:alone",
        "pack.late:never",
        "pack.parts.first:made",
        "pack.shapes:Round.edge",
        "pack.shapes:Square",
        "pack.shapes:Square.area",
        "pack.shelf:bring",
        "pack.tools:kept",
    ]


def test_a_class_that_is_a_root_brings_its_methods_and_those_that_a_framework_calls():
    left = Graph(MADE_UP).unreached(["pack", "pack.door:Door.*", "pack.hooks:Group", "pack.shelf:bring"])
    assert left == ["pack.inner:alone", "pack.late:never", "pack.shapes:Round.edge", "pack.tools:kept"]


@pytest.mark.slow
def test_every_public_definition_is_reached(unreached):
    assert sorted(unreached) == []
