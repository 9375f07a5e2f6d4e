"""From the payload of a message to what it says about each signal, and back.

    payload ──format──▶ Content ──part──▶ a scalar ──signal, encoding──▶ value, or why there is none

A payload that is not of its format is Unreadable as a whole.  One that is, but says nothing usable
about a signal, gives a reading that is invalid and says why.  No octets raise anything else.
"""

import json
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from hil.wire.coap.cbor import load_cbor
from hil.wire.coap.description import Format, Part
from hil.wire.coap.number import Unreadable, bounded, exact
from hil.wire.coap.senml import Record, Scalar, resolve

SIZE_LIMIT = 65_536
"""The longest payload that is looked at, in octets."""


class Missing(ValueError):
    """A payload says nothing about a part; the text says what is not there."""


class Content:
    """What one payload says, ready to be asked for its parts.

    In a plain text everything is written out, numbers too; elsewhere a text is a text.
    """

    is_text = False

    def find(self, part: Part) -> Scalar:
        """Return what stands at a part's place.  Raises Missing."""
        raise NotImplementedError


class Text(Content):
    """A payload that is one text."""

    is_text = True

    def __init__(self, text: str) -> None:
        self._text = text

    def find(self, part: Part) -> str:
        return self._text


class Tree(Content):
    """Objects and lists of JSON or CBOR."""

    def __init__(self, root: Any) -> None:
        self._root = root

    def find(self, part: Part) -> Scalar:
        found, way = self._root, ""
        for step in part.pointer:
            way += f"/{step}"
            found = _step(found, step, way)
        if isinstance(found, dict | list):
            raise Missing(f"{_at(way)} is {'a list' if isinstance(found, list) else 'an object'}")
        return _scalar(found, way)


class Pack(Content):
    """A SenML pack, resolved."""

    def __init__(self, records: Sequence[Record]) -> None:
        self._records = records

    def find(self, part: Part) -> Scalar:
        name = part.record
        records = [record for record in self._records if name in (record.name, record.local)]
        if not records:
            raise Missing(f"has no record {name!r}")
        # Records are in the order of time (RFC 8428 §4.5.3): the last of the latest ones counts.
        record = max(reversed(records), key=lambda record: record.time)
        if part.units and record.unit and record.unit not in part.units:
            wanted = " or ".join(part.units)
            raise Missing(f"has its record {name!r} in {record.unit!r}, declared is {wanted}")
        if record.value is None:
            raise Missing(f"has no value in its record {name!r}, only a sum")
        return record.value


def open_payload(payload: bytes, form: Format) -> Content:
    """Decode a payload.  Raises Unreadable, whose text goes after `payload`."""
    if len(payload) > SIZE_LIMIT:
        raise Unreadable(f"has {len(payload)} octets, looked at are {SIZE_LIMIT}")
    if form is Format.TEXT:
        return Text(_decode(payload))
    if form is Format.JSON:
        return Tree(_load_json(payload))
    if form is Format.CBOR:
        return Tree(load_cbor(payload))
    if form is Format.SENML_JSON:
        return Pack(resolve(_load_json(payload), cbor=False))
    return Pack(resolve(load_cbor(payload), cbor=True))


def _decode(payload: bytes) -> str:
    try:
        return payload.decode()
    except UnicodeDecodeError as error:
        raise Unreadable(f"is not UTF-8, at octet {error.start + 1}") from None


def _load_json(payload: bytes) -> Any:
    try:
        return json.loads(
            _decode(payload),
            parse_float=exact,
            parse_int=exact,
            parse_constant=exact,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        where = f"line {error.lineno} column {error.colno}"
        raise Unreadable(f"is no JSON: {error.msg.lower()} at {where}") from None
    except RecursionError:
        raise Unreadable("is nested too deeply") from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        counted = Counter(name for name, _ in pairs)
        twice = next(name for name, count in counted.items() if count > 1)
        raise Unreadable(f"has its member {twice[:40]!r} twice")
    return members


def _step(found: Any, step: str, way: str) -> Any:
    """Follow one step of a JSON Pointer (RFC 6901); a map of CBOR may have whole numbers as keys."""
    if isinstance(found, dict):
        if step in found:
            return found[step]
        number = _whole(step)
        if number is not None and number in found:
            return found[number]
        raise Missing(f"has no member {_at(way)}")
    if isinstance(found, list):
        index = _whole(step)
        if index is None or not 0 <= index < len(found):
            raise Missing(f"has no entry {_at(way)}, but {len(found)} of them")
        return found[index]
    raise Missing(f"has no member {_at(way)}")


def _whole(step: str) -> int | None:
    digits = step.removeprefix("-")
    plain = digits.isascii() and digits.isdigit() and len(digits) < 20
    return int(step) if plain and (digits == "0" or digits[0] != "0") else None


def _at(way: str) -> str:
    return repr(way) if way else "the whole"


def _scalar(found: Any, way: str) -> Scalar:
    """Return one value of JSON or CBOR as what it is here."""
    if found is None or isinstance(found, bool | str | bytes | float):
        return found
    if not isinstance(found, int | Decimal):
        raise Missing(f"{_at(way)} is neither a number nor a text")
    try:
        return bounded(Decimal(found))
    except Unreadable as error:
        raise Missing(str(error)) from None
