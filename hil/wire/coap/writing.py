"""Values as payloads: what a PUT carries, and what a node of ours answers.

Numbers are written as exactly as the format can: in text and JSON digit for digit, in CBOR as a
whole number or else as the nearest binary fraction.
"""

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal

import cbor2

from hil.core.signal import EXACT, Kind, Signal, Value, show_number
from hil.wire.coap.description import Format, Part, Target, Written
from hil.wire.coap.number import Unreadable, bounded, to_binary32
from hil.wire.coap.senml import LABELS
from hil.wire.encoding import WireError
from hil.wire.rack import Encoding

Entry = Decimal | str | bool
"""What is written at one place."""

_NUMBERS = {name: number for number, name in LABELS.items()}


def write_value(value: Value, target: Target, signal: Signal, encoding: Encoding) -> bytes:
    """Return the payload that drives a signal to a value.  Raises WireError where none can."""
    part = target.part
    return write([(part, written(value, part, signal, encoding))], target.format)


def written(value: Value, part: Part, signal: Signal, encoding: Encoding) -> Entry:
    """Return a value as it is written at a place.  Raises WireError where it cannot be."""
    if signal.kind is Kind.TEXT:
        if not isinstance(value, str):
            raise WireError(f"{signal.name}: wants text, got {value}")
        return value
    if isinstance(value, str):
        return _label(value, part, signal, encoding)
    if not value.is_finite():
        raise WireError(f"{signal.name}: {value} is no number")
    raw = EXACT.divide(EXACT.subtract(value, encoding.offset), encoding.scale)
    try:
        return bounded(raw)
    except Unreadable as error:
        raise WireError(f"{signal.name}: {error}") from None


def _label(value: str, part: Part, signal: Signal, encoding: Encoding) -> Entry:
    raws = {label: raw for raw, label in encoding.labels.items()}
    if value not in raws:
        raise WireError(f"{signal.name}: no label is called {value!r}")
    if part.written is Written.WORD:
        return value
    return raws[value] == 1 if part.written is Written.BOOLEAN else Decimal(raws[value])


def write(entries: Sequence[tuple[Part, Entry | None]], form: Format, base_name: str = "") -> bytes:
    """Return the payload that says this at these places; None stands for no value.

    A text can say one thing only.  A SenML record without a value is left out; its unit is the
    first that the part allows.  Raises WireError where a number is beyond the format.
    """
    if form is Format.TEXT:
        return b"".join(_text(part, entry) for part, entry in entries[:1])
    if not form.is_senml:
        tree = _tree(entries)
        return _json(tree).encode() if form is Format.JSON else _cbor(tree, entries)
    records = [_record(part, entry) for part, entry in entries if entry is not None]
    if base_name and records:
        records[0] = {"bn": base_name, **records[0]}
    if form is Format.SENML_JSON:
        return _json(records).encode()
    return _cbor([{_NUMBERS[name]: each for name, each in one.items()} for one in records], entries)


def _text(part: Part, entry: Entry | None) -> bytes:
    if entry is None:
        return b"NaN"
    return f"{_plain(entry)}{' ' if part.suffix else ''}{part.suffix}".encode()


def _record(part: Part, entry: Entry) -> dict[str, object]:
    label = {str: "vs", bool: "vb"}.get(type(entry), "v")
    unit = {"u": part.units[0]} if part.units else {}
    return {"n": part.record, **unit, label: entry}


def _tree(entries: Sequence[tuple[Part, Entry | None]]) -> object:
    """Put entries where their pointers lead; the whole is an entry itself where one has none."""
    root: dict[str, object] = {}
    for part, entry in entries:
        if not part.pointer:
            return entry
        inner = root
        for step in part.pointer[:-1]:
            deeper = inner.setdefault(step, {})
            if not isinstance(deeper, dict):
                break
            inner = deeper
        inner[part.pointer[-1]] = entry
    return root


def _plain(entry: Entry) -> str:
    if isinstance(entry, bool):
        return "true" if entry else "false"
    return entry if isinstance(entry, str) else show_number(_trimmed(entry))


def _trimmed(number: Decimal) -> Decimal:
    """Return a number without zeros at its end: 20.50 as 20.5, 300 as 300."""
    if number == number.to_integral_value(context=EXACT):
        return number.quantize(Decimal(1), context=EXACT) if abs(number) < 10**40 else number
    return number.normalize(EXACT)


def _json(tree: object) -> str:
    """Write JSON with exact numbers, which the library can only write as binary fractions."""
    if isinstance(tree, Mapping):
        members = ",".join(f"{json.dumps(name)}:{_json(entry)}" for name, entry in tree.items())
        return f"{{{members}}}"
    if isinstance(tree, list):
        return f"[{','.join(map(_json, tree))}]"
    if isinstance(tree, Decimal):
        return _plain(tree)
    return json.dumps(tree)


def _cbor(tree: object, entries: Sequence[tuple[Part, Entry | None]]) -> bytes:
    """Write CBOR; the library writes fractions as binary64 unless it is told to be short."""
    short = any(part.binary32 for part, _ in entries)
    return cbor2.dumps(_binary(tree, short), canonical=short)


def _binary(tree: object, short: bool) -> object:
    """Return a tree with its decimals as CBOR's own numbers: whole ones, or binary fractions."""
    if isinstance(tree, Mapping):
        return {name: _binary(entry, short) for name, entry in tree.items()}
    if isinstance(tree, list):
        return [_binary(entry, short) for entry in tree]
    if not isinstance(tree, Decimal):
        return tree
    if tree == tree.to_integral_value(context=EXACT) and abs(tree) < 1 << 64:
        return int(tree)
    try:
        return to_binary32(float(tree)) if short else float(tree)
    except OverflowError:
        raise WireError(f"{show_number(tree)} is beyond binary32") from None
