"""The fields of a layout in a bench file, in the order of the wire."""

import re

from hil.core.instant import MILLISECOND
from hil.files.bench_shape import BIT, BITS, FIELD, FORM, MEANING, ORDER_WORD
from hil.files.label_file import read_labels
from hil.files.leaf import DOTTED, DURATION, NAME, OCTETS, TITLE, WHOLE
from hil.files.mistake import Page, listed, nearest, show
from hil.files.tree import Node, Scalar, Seq
from hil.wire.rack import Carries, Crc, Field, Role

_NUMBERED = re.compile(r"[uif](\d+)")
SIZE_LIMIT = 65_507
"""The largest payload of a UDP datagram over IPv4."""

_ROLE_MEANINGS = {
    Role.READING: {"node", "sequence", "uptime", "boots", "length", "crc"},
    Role.REQUEST: {"node", "request", "operation", "value", "length", "crc"},
    Role.ANNOUNCE: {"node", "uptime", "boots", "length", "crc"},
    Role.ASK: {"length", "crc"},
    Role.ANSWER: {
        *("node", "request", "operation", "status", "value", "sequence", "uptime", "boots"),
        *("length", "crc"),
    },
}


class FieldReader:
    """Reads the fields of one layout, in order; `sound` unless what one refers to is wrong."""

    def __init__(
        self,
        page: Page,
        checks: dict[str, Crc | None],
        order: "str | tuple[int, ...]",
        role: Role | None,
    ) -> None:
        self.page = page
        self.checks = checks
        self.order = order
        self.role = role
        self.names: dict[str, int] = {}
        self.sound = True

    def read(self, node: Node) -> Field | None:
        """Return one field; None, with the mistakes noted, where it cannot be read."""
        page = self.page
        before = page.count
        keys = FIELD.open(node, page)
        if keys is None or "type" not in keys:
            return None
        form = FORM.read(keys["type"], page, "type")
        if form is None:
            return None
        size = self._size(form, keys, node)
        order = self._order(form, size or 0, keys)
        parts: tuple[tuple[Field, int, int], ...] = ()
        if "bits" in keys:
            parts = self._bits(form, size or 0, keys, node)
            form = "bits"
        name, carries = self._purpose(form, keys, node)
        crc = self._crc(keys, carries, size or 0, node)
        constant = self._constant(form, size or 0, keys)
        tick = DURATION.read(keys["tick"], page, "tick") if "tick" in keys else MILLISECOND
        labels = read_labels(keys["labels"], page) if "labels" in keys else {}
        if "tick" in keys and carries is not Carries.UPTIME:
            page.wrong(node, "`tick` goes only with `is: uptime`")
        if tick == 0:
            page.wrong(keys["tick"], "tick: a count of 0 ns would never pass")
        if page.count > before or size is None or tick is None:
            return None
        return Field(
            name=name,
            form=form,
            size=size,
            carries=carries,
            order=order,
            constant=constant,
            labels=labels,
            tick=tick,
            crc=crc,
            parts=parts,
        )

    def _size(self, form: str, keys: dict[str, Node], node: Node) -> int | None:
        number = _NUMBERED.fullmatch(form)
        if number is not None:
            if "size" in keys:
                self.page.wrong(keys["size"], f"a field of type `{form}` has its size already")
            return int(number[1]) // 8
        if "size" not in keys:
            self.page.wrong(node, f"a field of type `{form}` needs `size`, in octets")
            return None
        size = WHOLE.read(keys["size"], self.page, "size")
        if size is not None and not 1 <= size <= SIZE_LIMIT:
            self.page.wrong(keys["size"], f"size: {size} is not in 1 to {SIZE_LIMIT}")
            return None
        return size

    def _order(self, form: str, size: int, keys: dict[str, Node]) -> tuple[int, ...]:
        order: str | tuple[int, ...] | None = self.order
        if "order" in keys:
            order = read_order(keys["order"], self.page)
            if isinstance(order, tuple) and len(order) != size:
                what = f"order: {len(order)} places for a field of {size} octets"
                self.page.wrong(keys["order"], what)
        if _NUMBERED.fullmatch(form) is None:
            if "order" in keys:
                self.page.wrong(keys["order"], f"a field of type `{form}` has no octet order")
            return ()
        if order == "little":
            return tuple(range(size - 1, -1, -1))
        if isinstance(order, tuple) and len(order) == size:
            return order
        return tuple(range(size))

    def _bits(
        self, form: str, size: int, keys: dict[str, Node], node: Node
    ) -> tuple[tuple[Field, int, int], ...]:
        if form[0] != "u":
            self.page.wrong(keys["type"], f"bits need an unsigned type such as `u8`, got `{form}`")
        for other in ("name", "signal", "is", "constant", "labels"):
            if other in keys:
                self.page.wrong(keys[other], f"a field with `bits` has no `{other}` of its own")
        parts = []
        taken = 0
        for entry in BITS.open(keys["bits"], self.page):
            part = self._bit(form, size, entry)
            if part is None:
                continue
            mask = ((1 << part[2]) - 1) << part[1]
            if taken & mask:
                self.page.wrong(entry, f"{show(part[0].name)} lies over other bits of the field")
            taken |= mask
            parts.append(part)
        return tuple(parts)

    def _bit(self, form: str, size: int, node: Node) -> tuple[Field, int, int] | None:
        page = self.page
        keys = BIT.open(node, page)
        if keys is None:
            return None
        shift, width = WHOLE.at(keys, "shift", page), WHOLE.at(keys, "width", page)
        if shift is None or width is None:
            return None
        if shift < 0 or width < 1 or shift + width > 8 * size:
            page.wrong(node, f"bits {shift} to {shift + width - 1} are not in {8 * size} bits")
            return None
        name, carries = self._purpose(form, keys, node)
        constant = WHOLE.at(keys, "constant", page)
        if constant is not None and not 0 <= constant < 1 << width:
            page.wrong(keys["constant"], f"constant: {constant} does not fit into {width} bits")
        if carries is Carries.CRC:
            page.wrong(node, "a check cannot be a bit field")
        labels = read_labels(keys["labels"], page) if "labels" in keys else {}
        part = Field(
            name=name, form=form, size=size, carries=carries, constant=constant, labels=labels
        )
        return part, shift, width

    def _purpose(self, form: str, keys: dict[str, Node], node: Node) -> tuple[str, Carries]:
        page = self.page
        if form in ("pad", "bits"):
            for other in ("signal", "is", "constant"):
                if form == "pad" and other in keys:
                    page.wrong(keys[other], f"padding carries nothing, but has `{other}`")
            return self._name(keys), Carries.PADDING if form == "pad" else Carries.PLAIN
        purposes = [key for key in ("signal", "is", "constant") if key in keys]
        if len(purposes) > 1:
            page.wrong(keys[purposes[1]], f"a field has either {listed(purposes)}, not both")
        if "signal" in keys and "name" in keys:
            page.wrong(keys["name"], "a field has either `name` or `signal`, not both")
        if "signal" not in keys and "name" not in keys:
            page.wrong(node, "a field needs `name` or `signal`")
        name = self._name(keys)
        if "signal" in keys:
            if self.role is not None and self.role is not Role.READING:
                page.wrong(keys["signal"], "only readings carry signals", "is: value")
            return name, Carries.SIGNAL
        if "constant" in keys:
            return name, Carries.CONSTANT
        if "is" not in keys:
            return name, Carries.PLAIN
        return name, self._meaning(form, keys)

    def _meaning(self, form: str, keys: dict[str, Node]) -> Carries:
        word = MEANING.read(keys["is"], self.page, "is")
        if word is None:
            return Carries.PLAIN
        if self.role is not None and word not in _ROLE_MEANINGS[self.role]:
            self.page.wrong(keys["is"], f"a layout of {_article(self.role)} has no `{word}`")
        if word != "value" and form[0] != "u" and form != "pad":
            what = f"a field that is `{word}` needs an unsigned type, got `{form}`"
            self.page.wrong(keys["type"] if "type" in keys else keys["is"], what)
        return Carries(word)

    def _name(self, keys: dict[str, Node]) -> str:
        key = "signal" if "signal" in keys else "name"
        if key not in keys:
            return ""
        node = keys[key]
        name = DOTTED.read(node, self.page, key)
        if name is None:
            return ""
        if name in self.names:
            what = f"{show(name)} is in this layout twice, first in line {self.names[name]}"
            self.page.wrong(node, what)
        self.names[name] = node.line
        return name

    def _crc(self, keys: dict[str, Node], carries: Carries, size: int, node: Node) -> Crc | None:
        page = self.page
        if carries is not Carries.CRC:
            if "crc" in keys:
                page.wrong(keys["crc"], "`crc` goes only with `is: crc`")
            return None
        if "crc" not in keys:
            page.wrong(node, "a field that is `crc` needs the name of its check", "crc: NAME")
            return None
        name = NAME.read(keys["crc"], page, "crc")
        if name is None:
            return None
        if name not in self.checks:
            hint = nearest(name, self.checks)
            page.wrong(keys["crc"], f"there is no check {show(name)} under `checks`", hint)
            return None
        crc = self.checks[name]
        self.sound = self.sound and crc is not None  # one that is declared, but wrong
        if crc is not None and (crc.width + 7) // 8 != size:
            what = f"a check of {crc.width} bits in a field of {8 * size}"
            page.wrong(keys["crc"], what)
        return crc

    def _constant(self, form: str, size: int, keys: dict[str, Node]) -> int | bytes | None:
        if "constant" not in keys or form in ("bits", "pad"):
            return None
        node = keys["constant"]
        if form in ("text", "bytes"):
            return self._octets(form, size, node)
        if form[0] == "f":
            self.page.wrong(node, "a constant is a whole number or octets, not a fraction")
            return None
        number = WHOLE.read(node, self.page, "constant")
        low = -(1 << 8 * size - 1) if form[0] == "i" else 0
        if number is not None and not low <= number < low + (1 << 8 * size):
            self.page.wrong(node, f"constant: {number} does not fit into `{form}`")
        return number

    def _octets(self, form: str, size: int, node: Node) -> bytes | None:
        if form == "bytes":
            octets = OCTETS.read(node, self.page, "constant")
        else:
            text = TITLE.read(node, self.page, "constant")
            octets = None if text is None else text.encode().ljust(size, b"\0")
        if octets is not None and len(octets) != size:
            self.page.wrong(node, f"constant: {len(octets)} octets for a field of {size}")
        return octets


def read_order(node: Node, page: Page) -> "str | tuple[int, ...] | None":
    if isinstance(node, Scalar):
        return ORDER_WORD.read(node, page, "order")
    if not isinstance(node, Seq):
        page.wrong(node, "order: expected `big`, `little` or a list such as `[2, 3, 0, 1]`")
        return None
    places = [WHOLE.read(item, page, "order") for item in node.items]
    if any(place is None for place in places):
        return None
    known = tuple(place for place in places if place is not None)
    if sorted(known) != list(range(len(known))) or not known:
        what = f"order: each place from 0 to {max(len(known) - 1, 0)} must be there once"
        page.wrong(node, what, "[2, 3, 0, 1] for swapped words")
        return None
    return known


def _article(role: Role) -> str:
    return f"an {role.value}" if role.value[0] in "aeiou" else f"a {role.value}"
