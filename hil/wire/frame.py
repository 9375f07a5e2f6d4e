"""Where each field's raw number sits in a datagram: one `struct` for the whole layout.

    octets as sent ──spread──▶ big-endian words ──struct──▶ words ──shift, mask, sign──▶ raw numbers

Layouts whose numbers are all big-endian, or all little-endian, with the sizes `struct` knows need
no spreading.  Any other octet order, and numbers of 3, 5, 6 or 7 octets, go through one
permutation of the whole datagram, which also widens such a number to the next word with zeros
below it.  Nothing is ever aligned: layouts are packed, padding is a declared field.
"""

from collections.abc import Callable, Container, Iterable
from operator import itemgetter
from struct import Struct
from typing import Any, NamedTuple

from hil.wire.encoding import Form, Raw
from hil.wire.rack import Field

_CODES = {1: "B", 2: "H", 4: "I", 8: "Q"}


class Place(NamedTuple):
    """One raw number of the layout: the field, its octets, and the bits of the word it is in."""

    field: Field
    form: Form
    offset: int
    size: int
    word: int
    shift: int
    whole: bool
    """The word as `struct` reads it is the raw number already."""

    @property
    def expression(self) -> str:
        """The raw number as a Python expression over the words w0, w1, …"""
        if self.whole:
            return f"w{self.word}"
        bits = f"(w{self.word} >> {self.shift} & {(1 << self.form.bits) - 1:#x})"
        if self.form.kind != "i":
            return bits
        sign = 1 << self.form.bits - 1
        return f"(({bits} ^ {sign:#x}) - {sign:#x})"


def number_form(field: Field, width: int | None = None) -> Form:
    """Return the shape of a field's raw number; `width` is that of a part of a bit field."""
    if field.form in ("text", "bytes"):
        return Form(field.form, field.size * 8)
    bits = field.size * 8 if width is None else width
    return Form(field.form[0] if field.form[0] in "if" else "u", bits)


def big_order(field: Field) -> tuple[int, ...]:
    """Return the octet order of a field, with big-endian for one that declares none."""
    return field.order or tuple(range(field.size))


class Frame:
    """The places of a layout's raw numbers, and the way from octets to words and back."""

    def __init__(self, fields: Iterable[Field]) -> None:
        self.fields = tuple(fields)
        self.size = sum(field.size for field in self.fields)
        self.places: list[Place] = []
        self.words = 0
        self._source: list[int] = []  # for each octet of the words, the octet of the datagram
        self._codes: list[tuple[Field, str, int]] = []  # of each field, and the word it is
        offset = 0
        for field in self.fields:
            lay = self._lay_word if _is_word(field) else self._lay
            self._codes.append((field, lay(field, offset), self.words - 1))
            offset += field.size
        code = "".join(code for _, code, _ in self._codes)
        little = self._has_size_of_words() and all(map(_is_little, self.fields))
        self.spreads = not little and self._source != list(range(self.size))
        self.struct = Struct(("<" if little else ">") + code)
        self._spread, self._gather = self._permutations()

    def _lay(self, field: Field, offset: int) -> str:
        """Place octets that are no number; return their `struct` code."""
        self._source.extend(range(offset, offset + field.size))
        if field.form == "pad":
            return f"{field.size}x"
        self.places.append(
            Place(field, number_form(field), offset, field.size, self.words, 0, True)
        )
        self.words += 1
        return f"{field.size}s"

    def _lay_word(self, field: Field, offset: int) -> str:
        """Place a number, or the parts of a bit field; return the `struct` code of its word."""
        wide = next(size for size in _CODES if size >= field.size)
        order = big_order(field)
        self._source.extend(offset + order.index(rank) for rank in range(field.size))
        self._source.extend([self.size] * (wide - field.size))
        below = 8 * (wide - field.size)
        word, self.words = self.words, self.words + 1
        for part, shift, width in field.parts:
            form = number_form(part, width)
            self.places.append(Place(part, form, offset, field.size, word, below + shift, False))
        if field.form != "bits":
            form = number_form(field)
            self.places.append(Place(field, form, offset, field.size, word, below, below == 0))
        if field.form[0] == "f":
            return {4: "f", 8: "d"}[wide]
        code = _CODES[wide]
        return code.lower() if field.form[0] == "i" and below == 0 else code

    def reader(self, words: Container[int]) -> Callable[[bytes], tuple[Any, ...]] | None:
        """Return what reads only these words, in one go and straight from a datagram.

        None where no `struct` can do that: octet orders differ, or a number has odd octets.
        """
        signs, code = set(), ""
        for field, own, word in self._codes:
            if word in words and field.form != "pad":
                code += own
                if _is_word(field) and field.size > 1:
                    signs.add(_sign(field))
            else:
                code += f"{field.size}x"
        if "" in signs or len(signs) > 1:
            return None
        return Struct((signs.pop() if signs else ">") + code).unpack

    def _has_size_of_words(self) -> bool:
        return len(self._source) == self.size

    def _permutations(self) -> tuple[Callable[[bytes], bytes], Callable[[bytes], bytes]]:
        """Return the functions from the datagram to the words' octets, and back."""
        if not self.spreads:
            return _same, _same
        there = itemgetter(*self._source)
        back = itemgetter(*(self._source.index(octet) for octet in range(self.size)))
        return lambda sent: bytes(there(sent + b"\0")), lambda words: bytes(back(words))

    def unpack(self, payload: bytes) -> tuple[Any, ...]:
        """Return the words of a datagram of exactly this size."""
        return self.struct.unpack(self._spread(payload))

    def pack(self, *words: Raw) -> bytes:
        """Return the datagram of these words.  Raises struct.error for one that does not fit."""
        return self._gather(self.struct.pack(*words))

    def raws(self, payload: bytes) -> list[Raw]:
        """Return the raw number of every place; the slow way, for examples and diagnosis."""
        words = self.unpack(payload)
        return [
            words[place.word] if place.whole else extract(words[place.word], place)
            for place in self.places
        ]


def extract(word: int, place: Place) -> int:
    """Take a raw number out of the bits of its word."""
    bits = word >> place.shift & (1 << place.form.bits) - 1
    return bits - (1 << place.form.bits) if bits > place.form.high else bits


def _same(octets: bytes) -> bytes:
    return octets


def _is_word(field: Field) -> bool:
    return field.form not in ("text", "bytes", "pad")


def _sign(field: Field) -> str:
    """Return how `struct` is told of a number's octet order; empty where it cannot read it."""
    order, big = big_order(field), tuple(range(field.size))
    if field.size not in _CODES:
        return ""
    return ">" if order == big else "<" if order == big[::-1] else ""


def _is_little(field: Field) -> bool:
    return not _is_word(field) or big_order(field) == tuple(reversed(range(field.size)))
