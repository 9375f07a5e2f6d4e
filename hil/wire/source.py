"""A layout's decoder and encoder, written as Python source and compiled once.

A straight line of expressions over the words of one `struct` is several times faster than a loop
over field descriptions, and can be read: print(Codec(layout, node).source).  For a small reading
it comes out like this (t… and c… are the tables of hil.wire.encoding, k… are constants):

    def decode(payload):
        if len(payload) != 12:
            return longer(payload)
        w0, w1, w2, w3, w4, w5, = unpack(payload)
        if w0 != k0 or crc5(payload[:10]) != w5:
            return None
        return new(Decoded, (w1, w2, None, None, None, w3 * 1000000, None, (t4[w4], ), {}, ''))

Most readings concern nobody.  So `head` checks a datagram and reads its counters alone, `readings`
does the rest when somebody asks, and `restamp` makes the next reading from the last one while its
values stay the same.
"""

from hil.wire.encoding import WireError
from hil.wire.frame import Frame, Place, big_order
from hil.wire.rack import Carries

HEADER = (
    Carries.NODE,
    Carries.SEQUENCE,
    Carries.REQUEST,
    Carries.OPERATION,
    Carries.STATUS,
    Carries.UPTIME,
    Carries.BOOTS,
)
"""The header fields, in the order of Decoded and of the encoder's arguments."""

CHECKED = (Carries.CONSTANT, Carries.LENGTH, Carries.CRC)
"""Fields that say whether a datagram is of this layout."""

STAMPS = (Carries.SEQUENCE, Carries.UPTIME)
"""Header fields that differ between two readings of the same values."""

COUNTERS = (Carries.SEQUENCE, Carries.UPTIME, Carries.BOOTS)
"""Header fields that wrap around; all differences of them are taken modulo their width."""


def head_words(frame: Frame) -> set[int]:
    """Return the words that have to be read to know whether a datagram is good, and its header."""
    wanted = (*HEADER, *CHECKED)
    return {place.word for place in frame.places if place.field.carries in wanted}


class Source:
    """The source text for one layout; the names in it are bound by the codec."""

    def __init__(self, frame: Frame, name: str) -> None:
        self._frame = frame
        self._name = name
        for place in frame.places:
            if place.field.carries is Carries.CRC and place.field not in frame.fields:
                raise WireError(f"{name}: {place.field.name}: a CRC needs octets of its own")
        self._by_header = {
            place.field.carries: place for place in frame.places if place.field.carries in HEADER
        }

    def text(self) -> str:
        """Return the source of all functions."""
        return "\n".join(
            (
                self._decoder("decode"),
                self._decoder("known"),
                self._head(),
                self._readings(),
                self._encoder(),
                self._restamp(),
            )
        )

    def _decoder(self, function: str) -> str:
        """Write the decoder; `known` is the one that checks nothing but takes what is there."""
        words = "".join(f"w{word}, " for word in range(self._frame.words))
        lines = [f"def {function}(payload):"]
        if function == "decode":
            lines += [
                f"    if len(payload) != {self._frame.size}:",
                "        return longer(payload)",
            ]
        if words:
            lines.append(f"    {words}= unpack(payload)")
        refusals = self._refusals() if function == "decode" else []
        if refusals:
            lines += [f"    if {' or '.join(refusals)}:", "        return None"]
        return "\n".join([*lines, f"    return new(Decoded, ({self._decoded()}))", ""])

    def _head(self) -> str:
        """Write the checks of the decoder, and the header alone of what it returns."""
        needed = head_words(self._frame)
        straight = self._frame.reader(needed) is not None
        words = sorted(needed) if straight else range(self._frame.words)
        header = ", ".join(self._header(carries) for carries in HEADER)
        lines = [
            "def head(payload):",
            f"    if len(payload) != {self._frame.size}:",
            "        return longer_head(payload)",
        ]
        if needed:
            taken = "".join(f"w{word}, " for word in words)
            lines.append(f"    {taken}= {'unpack_head' if straight else 'unpack'}(payload)")
        refusals = self._refusals()
        if refusals:
            lines += [f"    if {' or '.join(refusals)}:", "        return None"]
        return "\n".join([*lines, f"    return new(Head, ({header}, ''))", ""])

    def _readings(self) -> str:
        """Write the function that returns the readings of a datagram known to be good."""
        words = "".join(f"w{word}, " for word in range(self._frame.words))
        lines = ["def readings(payload):"]
        if words:
            lines.append(f"    {words}= unpack(payload)")
        return "\n".join([*lines, f"    return ({self._shown()[0]})", ""])

    def _refusals(self) -> list[str]:
        """Write the conditions under which a datagram of the right size is not this layout."""
        tests = []
        for index, place in enumerate(self._frame.places):
            match place.field.carries:
                case Carries.CONSTANT:
                    tests.append(f"{place.expression} != k{index}")
                case Carries.LENGTH:
                    tests.append(f"{place.expression} != {self._frame.size}")
                case Carries.CRC:
                    covered = f"payload[:{place.offset}]"
                    tests.append(f"crc{index}({covered}) != {_unsigned(place)}")
        return tests

    def _decoded(self) -> str:
        """Write the items of Decoded."""
        readings, plain = self._shown()
        header = ", ".join(self._header(carries) for carries in HEADER)
        return f"{header}, ({readings}), {{{plain}}}, ''"

    def _shown(self) -> tuple[str, str]:
        """Write the items of the readings and of the plain fields."""
        readings, plain = "", ""
        for index, place in enumerate(self._frame.places):
            match place.field.carries:
                case Carries.SIGNAL:
                    readings += f"t{index}[{place.expression}], "
                case Carries.VALUE:
                    readings += f"*about{index}({self._operation()}, {place.expression}), "
                case Carries.PLAIN:
                    plain += f"{place.field.name!r}: t{index}[{place.expression}], "
        return readings, plain

    def _operation(self) -> str:
        place = self._by_header.get(Carries.OPERATION)
        return "None" if place is None else place.expression

    def _header(self, carries: Carries) -> str:
        place = self._by_header.get(carries)
        if place is None:
            return "None"
        if carries is Carries.UPTIME:
            return f"{_unsigned(place)} * {place.field.tick}"
        return _unsigned(place) if carries in COUNTERS else place.expression

    def _encoder(self) -> str:
        names = ", ".join(carries.value for carries in HEADER)
        words: list[list[str]] = [[] for _ in range(self._frame.words)]
        for index, place in enumerate(self._frame.places):
            words[place.word].append(_into_word(place, self._item(index, place)))
        items = ", ".join(" | ".join(parts) if parts else "0" for parts in words)
        lines = [
            f"def encode(values, {names}, value):",
            "    try:",
            f"        octets = pack({items})",
            "    except KeyError as missing:",
            f"        raise WireError({self._name + ': no value for '!r} + str(missing.args[0])) from None",
            "    except (struct_error, TypeError) as error:",
            f"        raise WireError({self._name + ': '!r} + str(error)) from None",
        ]
        return "\n".join([*lines, *self._sealing(), "    return octets", ""])

    def _sealing(self) -> list[str]:
        """Write the lines that put every CRC into its place."""
        lines = []
        for index, place in enumerate(self._frame.places):
            if place.field.carries is Carries.CRC:
                end = place.offset + place.size
                tail = "" if end == self._frame.size else f" + octets[{end}:]"
                lines.append(f"    covered = octets[:{place.offset}]")
                check = _octets(place, f"crc{index}(covered)")
                lines.append(f"    octets = covered + {check}{tail}")
        return lines

    def _restamp(self) -> str:
        """Write the function that puts another number and time into a datagram; None where not.

        A count that shares an octet with something else is not worth that.
        """
        stamps = [place for place in self._frame.places if place.field.carries in STAMPS]
        if any(place.field not in self._frame.fields for place in stamps):
            return "restamp = None"
        pieces, reached = [], 0
        for place in stamps:
            if place.offset > reached:
                pieces.append(f"octets[{reached}:{place.offset}]")
            count = "sequence"
            if place.field.carries is Carries.UPTIME:
                count = f"uptime // {place.field.tick}"
            mask = (1 << place.form.bits) - 1
            pieces.append(_octets(place, f"{count} & {mask:#x}"))
            reached = place.offset + place.size
        if reached < self._frame.size:
            pieces.append(f"octets[{reached}:]")
        lines = ["def restamp(octets, sequence, uptime):", f"    octets = {' + '.join(pieces)}"]
        return "\n".join([*lines, *self._sealing(), "    return octets", ""])

    def _item(self, index: int, place: Place) -> str:
        """Write the raw number of one place as an expression over the encoder's arguments."""
        name, carries = place.field.name, place.field.carries
        match carries:
            case Carries.CONSTANT:
                return f"k{index}"
            case Carries.SIGNAL:
                return f"c{index}[values[{name!r}]]"
            case Carries.VALUE:
                return f"counts{index}(operation)[value]"
            case Carries.PLAIN:
                return f"c{index}[values.get({name!r}, d{index})]"
            case Carries.LENGTH:
                return str(self._frame.size)
            case Carries.CRC | Carries.PADDING:
                return "0"
            case Carries.UPTIME:
                return _wrapped(place, f"uptime // {place.field.tick}")
            case Carries.SEQUENCE | Carries.BOOTS:
                return _wrapped(place, carries.value)
        low, high = place.form.low, place.form.high
        return carries.value if place.whole else f"fit({name!r}, {carries.value}, {low}, {high})"


def _unsigned(place: Place) -> str:
    if place.form.kind != "i":
        return place.expression
    return f"({place.expression} & {(1 << place.form.bits) - 1:#x})"


def _wrapped(place: Place, count: str) -> str:
    bits = f"({count} & {(1 << place.form.bits) - 1:#x})"
    sign = 1 << place.form.bits - 1
    return f"(({bits} ^ {sign:#x}) - {sign:#x})" if place.form.kind == "i" else bits


def _into_word(place: Place, item: str) -> str:
    if place.whole:
        return item
    return f"({item} & {(1 << place.form.bits) - 1:#x}) << {place.shift}"


def _octets(place: Place, number: str) -> str:
    """Write the octets of a number in the order of its field."""
    big = tuple(range(place.size))
    order = big_order(place.field)
    if order == big[::-1]:
        return f"({number}).to_bytes({place.size}, 'little')"
    octets = f"({number}).to_bytes({place.size}, 'big')"
    return octets if order == big else f"bytes(map({octets}.__getitem__, {order}))"
