"""The runner of console examples finds what it should and fails where it should."""

import pytest

from .console import Example, examples, first_missing, run, surroundings_with_gwnet

PAGE = """# A page

```console
$ not run
```

```console test
$ cat > a.txt <<'END'
> one
> END
$ cat a.txt
one
$ false  # exit 1
```
"""


def test_only_marked_blocks_are_found():
    found = examples(PAGE)
    assert [example.command for example in found] == ["cat > a.txt <<'END'\none\nEND", "cat a.txt", "false  # exit 1"]
    assert [example.line for example in found] == [8, 11, 13]
    assert found[1].printed == ["one"]
    assert [example.code for example in found] == [0, 0, 1]


def test_examples_run_one_after_another(tmp_path):
    environment = surroundings_with_gwnet(tmp_path / "programs")
    for example in examples(PAGE):
        run(example, tmp_path, environment)
    run(Example(1, "gwnet --version", ["gwnet …"]), tmp_path, environment)


@pytest.mark.parametrize(
    ("command", "printed"),
    [("false", []), ("true  # exit 1", []), ("echo two", ["one"]), ("printf 'b\\na\\n'", ["a", "b"])],
)
def test_a_wrong_code_or_text_fails(command, printed, tmp_path):
    with pytest.raises(AssertionError):
        run(Example(1, command, printed), tmp_path, surroundings_with_gwnet(tmp_path / "programs"))


@pytest.mark.parametrize(
    ("expected", "printed", "missing"),
    [
        (["a", "b"], "a\nb\n", None),
        (["a", "c"], "a\nb\nc\n", "c"),
        (["a", "…", "c"], "a\nb\nc\n", None),
        (["made … in 3 s"], "made 12 files in 3 s\n", None),
        (["a"], "", "a"),
    ],
)
def test_printed_lines_are_compared_in_order(expected, printed, missing):
    assert first_missing(expected, printed) == missing
