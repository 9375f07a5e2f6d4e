"""Typing plain texts: words, flags, whole numbers, hex octets, addresses, versions.

Each function takes the text of a scalar and returns what it means, or raises Misread.
"""

import ipaddress
import re

from hil.files.mistake import Misread, listed, nearest, show
from hil.wire.firmware import requirement_problem
from hil.wire.rack import Address

_FLAGS = {"yes": True, "true": True, "no": False, "false": False}
_WHOLE = re.compile(r"[+-]?\d{1,20}|[+-]?0x[0-9A-Fa-f]{1,16}", re.ASCII)
_NAME = re.compile(r"[^\W_][\w-]*", re.ASCII)
_DOTTED = re.compile(r"[^\W_][\w-]*(?:\.[^\W_][\w-]*)*", re.ASCII)
_OCTETS = re.compile(r"[0-9A-Fa-f]{2}(?:\s*[0-9A-Fa-f]{2})*")


def read_flag(text: str) -> bool:
    """Read one of our own switches; `on` and `off` are words of signals, never flags."""
    try:
        return _FLAGS[text]
    except KeyError:
        raise Misread(f"expected `yes` or `no`, got {show(text)}") from None


def read_whole(text: str) -> int:
    """Read a whole number, decimal or hexadecimal.

    >>> read_whole("0x7FFF"), read_whole("010")
    (32767, 10)
    """
    if _WHOLE.fullmatch(text) is None:
        raise Misread(f"expected a whole number such as `12` or `0x7FFF`, got {show(text)}")
    return int(text, 16 if "x" in text else 10)


def read_name(text: str) -> str:
    """Read the name of a node, layout, field or variable: letters, digits, `-` and `_`."""
    if _NAME.fullmatch(text) is None:
        raise Misread(f"{show(text)} is not a name", "use letters, digits and `-`")
    return text


def read_dotted(text: str) -> str:
    """Read the name of a signal, which may have parts: `vane-1.angle`."""
    if _DOTTED.fullmatch(text) is None:
        raise Misread(f"{show(text)} is not a name", "use letters, digits, `-` and single dots")
    return text


def read_title(text: str) -> str:
    """Read one line of free text."""
    if not text.strip():
        raise Misread("the text is empty")
    if not text.isprintable():
        raise Misread(f"{show(text)} is not one line of printable text")
    return text


def read_word(text: str, words: tuple[str, ...]) -> str:
    """Read one of a few words."""
    if text in words:
        return text
    raise Misread(f"expected {listed(words)}, got {show(text)}", nearest(text, words))


def read_octets(text: str) -> bytes:
    """Read octets in hex: `21 11 00 41`."""
    if _OCTETS.fullmatch(text) is None:
        raise Misread(f"expected octets in hex such as `21 11 00 41`, got {show(text)}")
    return bytes.fromhex(text)


def read_version(text: str) -> str:
    """Read a firmware requirement such as `>= 1.10`; it stays text and keeps its zeros."""
    problem = requirement_problem(text)
    if problem:
        raise Misread(problem)
    return text


def read_host(text: str) -> str:
    """Read an IPv4 or IPv6 address."""
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        raise Misread(f"{show(text)} is not an address such as `127.0.0.1`") from None


def read_address(text: str) -> Address:
    """Read an address with a port.

    >>> str(read_address("[::1]:47801"))
    '[::1]:47801'
    """
    host, colon, port = text.rpartition(":")
    if not colon or re.fullmatch(r"\d{1,5}", port, re.ASCII) is None:
        raise Misread(
            f"expected an address with a port such as `127.0.0.1:47801`, got {show(text)}"
        )
    if not 1 <= int(port) <= 65535:
        raise Misread(f"the port {port} is not in 1 to 65535")
    bracketed = host.startswith("[") and host.endswith("]")
    inner = read_host(host[1:-1] if bracketed else host)
    if (":" in inner) != bracketed:
        raise Misread(f"{show(text)} is not an address with a port", "[::1]:47801")
    return Address(inner, int(port))
