"""CBOR that may be handed to the library: well formed, shallow, and of plain kinds only.

`check` walks a payload as RFC 8949 appendix C does and refuses what would cost memory or mean
something special: deep nesting, tags but the few below, and anything behind the one item.  What is
left the library decodes.  Both know nothing but one exception here, Unreadable.
"""

from typing import Any

import cbor2

from hil.wire.coap.number import Unreadable

DEPTH_LIMIT = 32
"""How deep lists, maps and tags may be nested."""

BIGNUM_OCTETS = 64

_UNSIGNED, _NEGATIVE, _OCTETS, _TEXT, _LIST, _MAP, _TAG, _SIMPLE = range(8)
_KINDS = {2: "a bignum", 3: "a bignum", 4: "a decimal fraction", 55799: "CBOR itself"}
"""The tags that are understood (RFC 8949 §3.4); 4 is that of SenML's exact numbers."""

_BREAK = 0xFF


def load_cbor(payload: bytes) -> Any:
    """Return what a payload says.  Raises Unreadable for anything that is not one plain item."""
    check(payload)
    try:
        return cbor2.loads(payload, max_depth=DEPTH_LIMIT + 8, allow_duplicate_keys=False)
    except (cbor2.CBORDecodeError, ValueError, TypeError, ArithmeticError) as error:
        raise Unreadable(f"is no CBOR that can be used: {_words(error)}") from error


def _words(error: Exception) -> str:
    return str(error).split("\n")[0][:120] or type(error).__name__


def check(payload: bytes) -> None:
    """See that a payload is one well-formed, plain item.  Raises Unreadable with the place."""
    end = _Walk(payload).item(0, 0)
    if end != len(payload):
        raise Unreadable(f"has {len(payload) - end} octets behind its CBOR, from octet {end + 1}")


class _Walk:
    """One pass over a payload; every function returns where its item ends."""

    def __init__(self, payload: bytes) -> None:
        self._payload = payload

    def item(self, at: int, depth: int) -> int:
        if depth > DEPTH_LIMIT:
            raise Unreadable(f"is nested more than {DEPTH_LIMIT} deep, at octet {at + 1}")
        kind, low, argument, after = self._head(at)
        if kind in (_UNSIGNED, _NEGATIVE):
            return self._definite(argument, after, at)
        if kind in (_OCTETS, _TEXT):
            return self._string(kind, argument, after, at)
        if kind == _TAG:
            return self._tag(self._known(argument, at), after, at, depth)
        if kind == _SIMPLE:
            if low == 31 or (low == 24 and argument is not None and argument < 32):
                raise Unreadable(f"is no CBOR: an odd simple value at octet {at + 1}")
            return after
        return self._items(kind, argument, after, at, depth)

    def _head(self, at: int) -> tuple[int, int, int | None, int]:
        """Return an item's kind, its low bits, its argument (None: indefinite), and what follows."""
        if at >= len(self._payload):
            raise self._cut(at)
        first = self._payload[at]
        kind, low = first >> 5, first & 31
        if low < 24:
            return kind, low, low, at + 1
        if low == 31:
            return kind, low, None, at + 1
        if low > 27:
            raise Unreadable(f"is no CBOR: octet {at + 1} is 0x{first:02x}")
        after = at + 1 + (1 << low - 24)
        if after > len(self._payload):
            raise self._cut(at)
        return kind, low, int.from_bytes(self._payload[at + 1 : after], "big"), after

    def _string(self, kind: int, argument: int | None, after: int, at: int) -> int:
        if argument is not None:
            return self._past(after, argument, at)
        while not self._is_break(after):
            chunk, _, size, begin = self._head(after)
            if chunk != kind:
                raise Unreadable(f"is no CBOR: another kind inside a string, octet {after + 1}")
            after = self._past(begin, self._known(size, after), after)
        return after + 1

    def _tag(self, tag: int, after: int, at: int, depth: int) -> int:
        if tag not in _KINDS:
            raise Unreadable(f"has the tag {tag} at octet {at + 1}, which is not understood")
        end = self.item(after, depth + 1)
        if tag in (2, 3) and end - after > BIGNUM_OCTETS:
            raise Unreadable(f"has a number of {end - after} octets, at octet {at + 1}")
        return end

    def _items(self, kind: int, argument: int | None, after: int, at: int, depth: int) -> int:
        each = 2 if kind == _MAP else 1
        if argument is None:
            while not self._is_break(after):
                for _ in range(each):
                    after = self.item(after, depth + 1)
            return after + 1
        if argument * each > len(self._payload) - after:
            raise self._cut(at)
        for _ in range(argument * each):
            after = self.item(after, depth + 1)
        return after

    def _is_break(self, at: int) -> bool:
        if at >= len(self._payload):
            raise self._cut(at)
        return self._payload[at] == _BREAK

    def _past(self, begin: int, size: int, at: int) -> int:
        if size > len(self._payload) - begin:
            raise self._cut(at)
        return begin + size

    def _definite(self, argument: int | None, after: int, at: int) -> int:
        self._known(argument, at)
        return after

    def _known(self, argument: int | None, at: int) -> int:
        if argument is None:
            raise Unreadable(f"is no CBOR: octet {at + 1} is 0x{self._payload[at]:02x}")
        return argument

    def _cut(self, at: int) -> Unreadable:
        return Unreadable(f"is cut short: the item at octet {at + 1} does not end")
