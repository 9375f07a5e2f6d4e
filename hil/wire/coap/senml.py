"""SenML packs resolved into records that stand alone (RFC 8428 §4.6).

    base name      goes before each name          base value   is added to each value
    base time      is added to each time          base sum     is added to each sum
    base unit      where a record has no unit     version      10 unless told, never later than 10

Base fields hold from the record that has them to the end of the pack.
"""

import base64
import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from hil.core.signal import EXACT
from hil.wire.coap.number import Unreadable, bounded, of_float

Scalar = Decimal | float | str | bool | bytes | None
"""What stands in a payload at one place: a number, a text, a switch, octets, or nothing."""

VERSION = 10
"""The version of SenML that RFC 8428 §4.4 describes."""

LABELS: Mapping[int, str] = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""The labels of the CBOR form (RFC 8428 §6, table 6)."""

_VALUES = ("v", "vs", "vb", "vd")
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*={0,2}")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One resolved record; `local` is its name without the base name, `value` None for a sum alone.

    `time` is in seconds, relative to now where it is below 2**28 (RFC 8428 §4.5.3).
    """

    name: str
    local: str
    unit: str
    time: Decimal
    value: Scalar
    sum: Decimal | None = None


@dataclass(slots=True)
class _Base:
    name: str = ""
    unit: str = ""
    time: Decimal = Decimal(0)
    value: Decimal | None = None
    sum: Decimal | None = None
    version: int = VERSION


def resolve(tree: Any, *, cbor: bool) -> tuple[Record, ...]:
    """Return the records of a pack as decoded from JSON or CBOR.  Raises Unreadable."""
    if not isinstance(tree, list):
        raise Unreadable("is no SenML pack: it is no list of records")
    base, records = _Base(), []
    for number, entry in enumerate(tree, 1):
        try:
            record = _record(_fields(entry, cbor), base, cbor)
        except Unreadable as error:
            raise Unreadable(f"is no SenML: record {number} {error}") from None
        if record is not None:
            records.append(record)
    return tuple(records)


def _fields(entry: Any, cbor: bool) -> dict[str, Any]:
    """Return a record's fields by their JSON labels."""
    if not isinstance(entry, dict):
        raise Unreadable("is no map")
    fields: dict[str, Any] = {}
    for key, value in entry.items():
        numbered = isinstance(key, int) and not isinstance(key, bool)
        label = LABELS.get(key, f"#{key}") if cbor and numbered else key
        if not isinstance(label, str):
            raise Unreadable("has a label that is no text")
        if label.endswith("_"):
            raise Unreadable(f"must be understood by its label {label[:20]!r}")  # RFC 8428 §4.4
        if label in fields:
            raise Unreadable(f"has its label {label[:20]!r} twice")
        fields[label] = value
    return fields


def _record(fields: dict[str, Any], base: _Base, cbor: bool) -> Record | None:
    _take_base(fields, base)
    given = [label for label in _VALUES if label in fields]
    if len(given) > 1:
        raise Unreadable(f"has {' and '.join(given)}, but can have one value")
    if not given and "s" not in fields:
        return None  # base fields for the records after it
    local = _text(fields, "n", "")
    name = base.name + local
    if _NAME.fullmatch(name) is None:
        raise Unreadable("has no name" if not name else f"has the name {name[:40]!r}")
    total = _number(fields, "s")
    if total is not None and base.sum is not None:
        total = _sum(base.sum, total)
    return Record(
        name=name,
        local=local,
        unit=_text(fields, "u", base.unit),
        time=_sum(base.time, _finite(fields, "t", Decimal(0))),
        value=_value(fields, given[0], base, cbor) if given else None,
        sum=total,
    )


def _take_base(fields: dict[str, Any], base: _Base) -> None:
    base.name = _text(fields, "bn", base.name)
    base.unit = _text(fields, "bu", base.unit)
    base.time = _finite(fields, "bt", base.time)
    for label in ("bv", "bs"):
        number = _number(fields, label)
        if number is not None and not number.is_finite():
            raise Unreadable(f"has {number} under {label}")
        if number is not None:
            setattr(base, "value" if label == "bv" else "sum", number)
    version = _finite(fields, "bver", Decimal(base.version))
    if not 1 <= version <= VERSION or version != version.to_integral_value():
        raise Unreadable(f"is of SenML version {version}, known is {VERSION}")
    base.version = int(version)


def _value(fields: dict[str, Any], label: str, base: _Base, cbor: bool) -> Scalar:
    found = fields[label]
    if label == "v":
        if base.value is None and isinstance(found, float):
            return found
        number = _number(fields, "v")
        assert number is not None
        return number if base.value is None else _sum(base.value, number)
    if label == "vb":
        if not isinstance(found, bool):
            raise Unreadable("has a vb that is neither true nor false")
        return found
    if label == "vs" or not cbor:
        text = _text(fields, label, "")
        return text if label == "vs" else _octets(text)
    if not isinstance(found, bytes):
        raise Unreadable("has a vd that is no octets")
    return found


def _octets(text: str) -> bytes:
    """Return octets from base64url without padding (RFC 8428 §5)."""
    try:
        if _BASE64URL.fullmatch(text) is not None:
            return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        pass
    raise Unreadable("has a vd that is no base64url")


def _text(fields: dict[str, Any], label: str, default: str) -> str:
    found = fields.get(label, default)
    if not isinstance(found, str):
        raise Unreadable(f"has a {label} that is no text")
    return found


def _number(fields: dict[str, Any], label: str) -> Decimal | None:
    if label not in fields:
        return None
    found = fields[label]
    if isinstance(found, float):
        return of_float(found)
    if isinstance(found, Decimal) or (isinstance(found, int) and not isinstance(found, bool)):
        return bounded(Decimal(found))
    raise Unreadable(f"has a {label} that is no number")


def _finite(fields: dict[str, Any], label: str, default: Decimal) -> Decimal:
    number = _number(fields, label)
    if number is not None and not number.is_finite():
        raise Unreadable(f"has {number} under {label}")
    return default if number is None else number


def _sum(first: Decimal, second: Decimal) -> Decimal:
    """Add two numbers; what is no number stays none."""
    return EXACT.add(first, second) if second.is_finite() else second
