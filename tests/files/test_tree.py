"""YAML as it is read here: text with places, and plain sentences for what cannot be read."""

import time

import pytest

from hil.files.mistake import Page
from hil.files.text import read_text
from hil.files.tree import Map, Scalar, Seq, read_tree


def read(raw):
    page = Page("f.yaml", raw if isinstance(raw, bytes) else raw.encode())
    return (read_tree(page) if read_text(page) else None), page


def said(raw):
    _, page = read(raw)
    return [str(mistake).removeprefix("f.yaml:") for mistake in page.mistakes]


def test_tree_knows_where_everything_stands():
    root, _ = read("a:\n  - é: {bb:  'x'}\n  - \"two\"\n")

    assert isinstance(root, Map)
    key, items = root.pairs["a"]
    assert (key.line, key.column) == (1, 1)
    assert isinstance(items, Seq)
    inner_key, inner = items.items[0].pairs["é"]
    assert (inner_key.line, inner_key.column) == (2, 5)
    leaf = inner.pairs["bb"][1]
    assert (leaf.text, leaf.plain, leaf.line, leaf.column) == ("x", False, 2, 14)
    assert (items.items[1].line, items.items[1].column) == (3, 5)


@pytest.mark.parametrize(
    "text", ["on", "off", "yes", "NO", "y", "12:30", "010", "1.10", "2026-01-01"]
)
def test_scalar_stays_text(text):
    # YAML 1.1 makes booleans, base-60 times, octal numbers, fractions and dates of these
    root, page = read(f"{text}: {text}\n")

    key, value = root.pairs[text]
    assert (text, text) == (key.text, value.text)
    assert page.mistakes == []


@pytest.mark.parametrize("colour", ["1030e0", "004721", "000100", "5319e7", "2e7d32"])
def test_colour_without_hash_stays_text(colour):
    # as numbers these are large, octal or infinite, and the colours are lost
    root, _ = read(f"a: [{colour}]\n")

    (leaf,) = root.pairs["a"][1].items
    assert isinstance(leaf, Scalar)
    assert colour == leaf.text


def test_repeated_key_names_both_lines():
    # most readers keep the last value and say nothing
    text = "checks:\n  press-1: 2 kPa\n  temp-1: 0.5\n  press-1: 200 kPa\n"

    assert said(text) == [
        "4:3: the key `press-1` stands here again, first in line 2\n    try: keep one of the two"
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (b"checks:\n\ta: 1\n", "2:1: the line starts with a tab\n    try: use spaces"),
        (b"a: 1\t# x\n", "1:5: there is a tab in the line\n    try: use spaces"),
        ("<<: {a: 1}\n", "1:1: merge keys (`<<`) are not read\n    try: write the keys out"),
        ("a: !!int 3\n", "1:4: tags are not read, got `tag:yaml.org,2002:int`\n    try: leave it out"),
        ("a: 1\n---\nb: 2\n", "2:1: a second document begins here, expected one per file\n    try: make two files of it"),
        ("", "1:1: the file is empty"),
        ("# nothing but this\n", "1:1: the file is empty"),
        ("a: *x\n", "1:4: nothing above is marked `&x`"),
        ("a: &x [*x]\n", "1:8: `*x` stands inside the very thing it repeats"),
        ("? [a]\n: b\n", "1:3: a key must be one word, got a list"),
        (b"a: \xff\n", "1:4: the byte 0xFF is not UTF-8\n    try: save the file as UTF-8"),
        ("a: 1\n".encode("utf-16"), "1:1: the file is UTF-16, expected UTF-8\n    try: save it as UTF-8"),
        (b"a: \x01\n", "1:4: the character U+0001 cannot stand in a text file"),
        ("a: b: c\n", "1:5: there is a second `: ` in one value, or the line is indented too far\n    try: put the text in quotes, or line it up with the key above"),
        ("a: 'x\n", "1:4: a quote is opened here and never closed\n    try: close the quote"),
        ("a: [1, 2\nb: 3\n", "1:4: the list opened with `[` is not closed\n    try: close it, with a comma between the entries"),
        ("a: {b: 1\n", "1:4: the mapping opened with `{` is not closed\n    try: close it, with a comma between the entries"),
        ("a: @x\n", "1:4: a value cannot begin with `@`\n    try: put the text in quotes"),
        ("a:\n  b: 1\n c: 2\n", "3:2: expected a key here: the line does not line up with the keys above it\n    try: line it up, and look for a missing quote or bracket above"),
        ("[" * 500, "1:61: more than 60 levels inside one another (the limit)"),
    ],
)  # fmt: skip
def test_unreadable_text_gets_one_plain_sentence(text, expected):
    assert [expected] == said(text)


def test_comment_that_eats_a_colour_is_named():
    # the flow mapping is left unclosed by the comment
    text = 'bands:\n  - {below: 6 bar, colour: #2e7d32}\n  - {from: 6 bar, colour: "#b71c1c"}\n'

    (sentence,) = said(text)
    assert sentence.startswith("2:28: a `#` after a blank begins a comment")
    assert sentence.endswith('try: quote the colour or text: "#2e7d32"')


def bomb(levels):
    lines = ["a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1]"]
    for level in range(1, levels):
        lines.append(f"a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * 9)}]")
    return "\n".join(lines) + "\n"


def test_alias_bomb_is_refused_by_the_number_it_stands_for():
    # a small file, a huge tree: 387,420,489 leaves in 306 bytes
    began = time.perf_counter()
    (sentence,) = said(bomb(9))

    assert "more than 100000 values (the limit)" in sentence
    assert time.perf_counter() - began < 1


def test_a_chain_of_aliases_cannot_be_deeper_than_lists_may_be():
    lines = ["a0: &a0 [1]"]
    lines += [f"a{level}: &a{level} [*a{level - 1}]" for level in range(1, 80)]

    (sentence,) = said("\n".join(lines) + "\n")
    assert "more than 60 levels" in sentence


def test_a_large_plain_file_has_no_limit():
    # a cap on the size would refuse honest work
    root, page = read("steps:\n" + "  - {wait: 1 s, note: abcdefgh}\n" * 60_000)

    assert page.mistakes == []
    assert len(root.pairs["steps"][1].items) == 60_000


def test_alias_shares_what_it_repeats():
    root, page = read("a: &x {b: 1}\nc: *x\n")

    assert page.mistakes == []
    assert root.pairs["a"][1] is root.pairs["c"][1]
