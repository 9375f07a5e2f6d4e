"""Texts as a file of ours takes them."""

import re

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]*|[\d.]+:\d+")


def quoted(text: str) -> str:
    """Return a text in quotes where it is not plain.

    >>> quoted("GH-0101"), quoted(">= 1.10"), quoted('a"b')
    ('GH-0101', '">= 1.10"', '"a\\\\u0022b"')
    """
    if _PLAIN.fullmatch(text) and text.lower() != "null":  # which is YAML's word for no value
        return text
    escaped = "".join(c if c.isprintable() and c not in '\\"' else f"\\u{ord(c):04x}" for c in text)
    return f'"{escaped}"'
