"""Lines of keys, against texts whose lines are counted by eye."""

import tomllib

import pytest

from imujump.recording.toml_lines import key_lines, line_of

TEXT = '''# comment = "x"
a = 1   # trailing [not.a.table]
"quoted.key" = 'C:\\path # no comment'
long = """
b = 2 ] } "quoted"
[c]
"""
d.e = { f = 1, "g h" = [1, 2, { i = "}" }] }
dates = [ 1979-05-27T07:32:00Z,  # with a comment ]
          1979-05-28 ]

[table]
x = true
[table.inner]   # header with a comment
y = ["[", "#", '"']
[[many]]
name = "first"
[[many]]
name = """ends in quotes"""""
[many.sub]
z = 0x1F
[[many.deep]]
w = -1.5e3
'''

LINES = {
    ("a",): 2,
    ("quoted.key",): 3,
    ("long",): 4,
    ("d",): 8,
    ("d", "e"): 8,
    ("d", "e", "f"): 8,
    ("d", "e", "g h"): 8,
    ("d", "e", "g h", 2, "i"): 8,
    ("dates", 0): 9,
    ("dates", 1): 10,
    ("table",): 12,
    ("table", "x"): 13,
    ("table", "inner"): 14,
    ("table", "inner", "y"): 15,
    ("table", "inner", "y", 2): 15,
    ("many", 0): 16,
    ("many", 0, "name"): 17,
    ("many", 1): 18,
    ("many", 1, "name"): 19,
    ("many", 1, "sub"): 20,
    ("many", 1, "sub", "z"): 21,
    ("many", 1, "deep", 0): 22,
    ("many", 1, "deep", 0, "w"): 23,
}


def paths(value, path=()):
    yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from paths(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from paths(inner, (*path, number))


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_key_is_on_its_line(newline):
    lines = key_lines(TEXT.replace("\n", newline))
    assert {path: lines[path] for path in LINES} == LINES


def test_every_key_that_the_parser_finds_has_a_line():
    found = set(paths(tomllib.loads(TEXT)))
    assert found <= set(key_lines(TEXT))


def test_a_missing_key_gets_the_line_of_what_should_hold_it():
    lines = key_lines(TEXT)
    assert line_of(lines, ("table", "inner", "missing", 3, "deeper")) == 14
    assert line_of(lines, ("missing",)) == 1


def test_text_that_is_no_toml_ends():
    for text in ("= 3", "a = [", "a = {", '"', "[", "[[a", "a.b.", "a = '''x", "]]", "a = 1 }"):
        assert key_lines(text)[()] == 1
