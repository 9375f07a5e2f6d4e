"""The texts that both file formats share: names, flags, numbers, durations, quantities."""

from decimal import Decimal
from typing import Any

from hil.core.instant import Duration
from hil.files.duration import read_duration
from hil.files.quantity import read_number
from hil.files.scalar import (
    read_address,
    read_dotted,
    read_flag,
    read_host,
    read_name,
    read_octets,
    read_title,
    read_version,
    read_whole,
    read_word,
)
from hil.files.shape import Leaf
from hil.wire.rack import Address

ANY_TEXT: dict[str, Any] = {"type": ["string", "number", "boolean"]}
NAME_PATTERN = "^[A-Za-z0-9][A-Za-z0-9_-]*$"
DOTTED_PATTERN = "^[A-Za-z0-9][A-Za-z0-9_-]*([.][A-Za-z0-9][A-Za-z0-9_-]*)*$"
WHOLE_PATTERN = "^([+-]?[0-9]+|[+-]?0x[0-9A-Fa-f]+)$"

TITLE: Leaf[str] = Leaf("a text", read_title, ANY_TEXT)
NAME: Leaf[str] = Leaf("a name", read_name, {"type": ["string", "number"], "pattern": NAME_PATTERN})
DOTTED: Leaf[str] = Leaf(
    "a name", read_dotted, {"type": ["string", "number"], "pattern": DOTTED_PATTERN}
)
FLAG: Leaf[bool] = Leaf("`yes` or `no`", read_flag, {"enum": [True, False, "yes", "no"]})
WHOLE: Leaf[int] = Leaf(
    "a whole number",
    read_whole,
    {"anyOf": [{"type": "integer"}, {"type": "string", "pattern": WHOLE_PATTERN}]},
)
NUMBER: Leaf[Decimal] = Leaf("a number", read_number, {"type": "number"})
DURATION: Leaf[Duration] = Leaf(
    "a duration such as `150 ms`", read_duration, {"type": "string", "examples": ["150 ms"]}
)
OCTETS: Leaf[bytes] = Leaf(
    "octets in hex such as `21 11 00 41`", read_octets, {"type": ["string", "number"]}
)
VERSION: Leaf[str] = Leaf(
    "a version such as `>= 1.10`", read_version, {"type": ["string", "number"]}
)
HOST: Leaf[str] = Leaf("an address such as `127.0.0.1`", read_host, {"type": "string"})
ADDRESS: Leaf[Address] = Leaf(
    "an address with a port such as `127.0.0.1:47801`", read_address, {"type": "string"}
)
QUANTITY: Leaf[str] = Leaf(
    "a quantity such as `4.8 bar`", str, {"type": ["string", "number"], "examples": ["4.8 bar"]}
)
VALUE: Leaf[str] = Leaf("a value", str, ANY_TEXT)
RANGE: Leaf[str] = Leaf(
    "a range such as `0 bar to 10 bar`", str, {"type": "string", "examples": ["0 bar to 10 bar"]}
)

WINDOW: Leaf[str] = Leaf(
    "a duration or a window such as `100 ms to 600 ms`", str, {"type": "string"}
)
BOUND: Leaf[str] = Leaf(
    "a limit such as `300 ms`, `at least 200 deg/s` or `20 ms to 40 ms`",
    str,
    {"type": ["string", "number"], "examples": ["300 ms", "at least 200 deg/s"]},
)


def words(*choices: str) -> Leaf[str]:
    """Return the leaf of a text that is one of a few words."""
    shown = " or ".join(f"`{choice}`" for choice in choices)
    return Leaf(shown, lambda text: read_word(text, choices), {"enum": list(choices)})
