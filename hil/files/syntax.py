"""What the YAML parser says, in plain sentences.

The parser stops at the first thing it cannot read and names it in the words of its own grammar.
Authors know lines, quotes and brackets, so that is what they are told.
"""

import re
from typing import Any

import yaml

from hil.files.mistake import Page, show

_EATEN = re.compile(r"[:,\[{-]\s+(#\S.*)$")
_LINES_SEARCHED = 20

_SENTENCES = {
    "mapping values are not allowed in this context": (
        "there is a second `: ` in one value, or the line is indented too far",
        "put the text in quotes, or line it up with the key above",
    ),
    "block sequence entries are not allowed in this context": (
        "a list entry `- ` cannot stand here",
        "begin the list on a line of its own",
    ),
    "did not find expected key": (
        "expected a key here: the line does not line up with the keys above it",
        "line it up, and look for a missing quote or bracket above",
    ),
    "did not find expected '-' indicator": (
        "expected a list entry `- ` here, lined up with those above",
        "line it up, or end the list by indenting less",
    ),
    "could not find expected ':'": (
        "expected `key: value`, found no colon with a blank after it",
        "write `key: value`",
    ),
    "found unexpected end of stream": (
        "a quote is opened here and never closed",
        "close the quote",
    ),
    "found unknown escape character": (
        "a backslash in double quotes begins an escape that does not exist",
        "use single quotes",
    ),
    "found undefined tag handle": ("tags are not read", "leave it out"),
    "found incompatible YAML document": ("this is not YAML 1.2", "leave the % line out"),
}
_BRACKETS = {
    "while parsing a flow sequence": "the list opened with `[` is not closed",
    "while parsing a flow mapping": "the mapping opened with `{` is not closed",
    "while parsing a flow node": "a list or mapping in brackets is not closed",
}


def explain(error: yaml.YAMLError, page: Page) -> None:
    """Note one mistake for what the parser could not read."""
    problem: Any = getattr(error, "problem_mark", None)
    context: Any = getattr(error, "context_mark", None)
    if problem is None:
        page.wrong_at(1, 1, "this cannot be read as YAML text")
        return
    start = context or problem
    eaten = _find_eaten(page, problem.line)
    if eaten is not None:
        line, column, text = eaten
        what = f"a `#` after a blank begins a comment, so {show(text)} is not read"
        page.wrong_at(line, column, what, f'quote the colour or text: "{_first(text)}"')
        return
    said = str(getattr(error, "problem", "") or "")
    where = problem
    bracket = _BRACKETS.get(str(getattr(error, "context", "") or ""))
    if bracket is not None and "did not find expected" in said:
        what, hint, where = bracket, "close it, with a comma between the entries", start
    elif said == "found character that cannot start any token":
        letter = _letter(page, problem)
        what = f"a value cannot begin with {show(letter)}"
        hint = "put the text in quotes"
    else:
        what, hint = _SENTENCES.get(said, (f"this cannot be read: {said}", ""))
        where = start if said == "found unexpected end of stream" else problem
    page.wrong_at(where.line + 1, where.column + 1, what, hint)


def _first(text: str) -> str:
    return re.split(r"[\s,}\]]", text, maxsplit=1)[0]


def _letter(page: Page, mark: Any) -> str:
    lines = page.text.split("\n")
    line = lines[mark.line] if mark.line < len(lines) else ""
    return line[mark.column : mark.column + 1] or "the end of the file"


def _find_eaten(page: Page, last: int) -> tuple[int, int, str] | None:
    """Find the nearest line above (from 0) whose `{key: #text` became a comment."""
    lines = page.text.split("\n")
    for number in range(min(last, len(lines) - 1), max(-1, last - _LINES_SEARCHED), -1):
        found = _EATEN.search(lines[number])
        if found is None:
            continue
        before = lines[number][: found.start(1)]
        if before.count("{") + before.count("[") > before.count("}") + before.count("]"):
            return number + 1, found.start(1) + 1, found.group(1)
    return None
