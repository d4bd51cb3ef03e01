"""Numbers of the normal distribution are written once, in ``gwnet/constants.py``."""

import ast

import pytest

from ..helpers import ROOT, package_modules

#: What a number is near to, and the name to use for it: 0.975 quantile, standard deviation over median absolute
#: deviation and its inverse.
NAMED = {1.959963984540054: "NORMAL_95", 1.482602218505602: "MAD_TO_SD", 0.6744897501960817: "1 / MAD_TO_SD"}

#: How far from the number a literal still means it: 1.96, 1.95996, 1.483, 0.675.
NEAR = 6e-4


def literals(source):
    """Return the lines with a literal that has a name, each with that name."""
    floats = [
        node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Constant) and isinstance(node.value, float)
    ]
    return [(node.lineno, name) for node in floats for value, name in NAMED.items() if abs(node.value - value) < NEAR]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("x = 1.96 * y", [(1, "NORMAL_95")]),
        ("x = 0\ny = 1.4826", [(2, "MAD_TO_SD")]),
        ("y = m / 0.6745", [(1, "1 / MAD_TO_SD")]),
        ("y = 1.9", []),
        ('y = "1.96"', []),
    ],
)
def test_the_rule_finds_them(source, expected):
    assert literals(source) == expected


@pytest.mark.slow
def test_the_package_uses_the_names():
    home = ROOT / "gwnet" / "constants.py"
    assert [name for _, name in literals(home.read_text(encoding="utf-8"))] == ["NORMAL_95", "MAD_TO_SD"]
    elsewhere = {
        str(file.relative_to(ROOT)): lines
        for file in package_modules()
        if file != home and (lines := literals(file.read_text(encoding="utf-8")))
    }
    assert elsewhere == {}
