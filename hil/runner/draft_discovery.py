"""How nodes are found, written down again as a bench file has it: `discovery` and its layouts.

A scan knows these; a draft that left them out would be the first to find no announce any more.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from hil.core.instant import MILLISECOND, SECOND, Duration
from hil.runner.yaml_word import quoted
from hil.wire.announce import Discovery
from hil.wire.rack import Carries, Crc, Field, Layout

_UNNAMED = frozenset({Carries.PLAIN, Carries.CONSTANT, Carries.PADDING})


def layouts_of(found: Discovery | None) -> tuple[Layout, ...]:
    """Return the layouts by which nodes are found."""
    if found is None:
        return ()
    return tuple(layout for layout in (found.ask, found.announce) if layout is not None)


def checks_text(layouts: tuple[Layout, ...]) -> str:
    """Return `checks` for these layouts, or nothing."""
    names = _crc_names(layouts)
    if not names:
        return ""
    return "checks:\n" + "".join(f"  {name}: {_crc(crc)}\n" for crc, name in names.items()) + "\n"


def layouts_text(layouts: tuple[Layout, ...]) -> str:
    """Return the entries of these layouts under `layouts`."""
    names = _crc_names(layouts)
    return "".join("\n" + "".join(_layout(layout, names)) for layout in layouts)


def discovery_text(found: Discovery | None) -> str:
    """Return `discovery`, or nothing where none is declared."""
    if found is None or (found.announce is None and not found.coap):
        return ""
    lines = ["discovery:"]
    if found.group is not None:
        lines.append(f"  group: {quoted(str(found.group))}")
    if found.announce is not None:
        lines.append(f"  announce: {found.announce.name}")
    if found.ask is not None:
        lines.append(f"  ask: {found.ask.name}")
    lines += ["  coap: yes"] if found.coap else []
    lines += [f"  rounds: {found.rounds}", f"  every: {_exact(found.every)}"]
    return "\n".join(lines) + "\n\n"


def _crc_names(layouts: tuple[Layout, ...]) -> dict[Crc, str]:
    crcs = dict.fromkeys(
        field.crc for layout in layouts for field in layout.fields if field.crc is not None
    )
    return {crc: f"check-{turn}" for turn, crc in enumerate(crcs, start=1)}


def _crc(crc: Crc) -> str:
    return (
        f"{{width: {crc.width}, polynomial: {crc.polynomial:#x}, start: {crc.start:#x},"
        f" reflect-in: {_word(crc.reflect_in)}, reflect-out: {_word(crc.reflect_out)},"
        f" final-xor: {crc.final_xor:#x}, check: {crc.check:#x}}}"
    )


def _word(flag: bool) -> str:
    return "yes" if flag else "no"


def _layout(layout: Layout, crcs: Mapping[Crc, str]) -> Iterator[str]:
    yield f"  {layout.name}:\n    role: {layout.role.value}\n"
    if layout.append_allowed:
        yield "    append-allowed: yes\n"
    yield "    fields:\n"
    for field in layout.fields:
        yield f"      - {_mapping(_field(field, crcs))}\n"
    yield "    examples:\n"
    for example in layout.examples:
        values = {name: _value(value) for name, value in example.values.items()}
        yield f"      - bytes: {example.raw.hex(' ').upper()}\n"
        yield f"        values: {_mapping(values)}\n"


def _field(field: Field, crcs: Mapping[Crc, str]) -> dict[str, str]:
    """Return the keys of a field with their values as they stand in the file."""
    bits, size = field.form == "bits", field.size
    keys = {"name": quoted(field.name)} if field.name else {}
    keys["type"] = f"u{8 * size}" if bits else field.form
    if field.form in ("text", "bytes", "pad"):
        keys["size"] = str(size)
    if field.order not in ((), tuple(range(size))):
        keys["order"] = f"[{', '.join(map(str, field.order))}]"
    if bits:
        keys["bits"] = f"[{', '.join(_mapping(_part(*part)) for part in field.parts)}]"
        return keys
    keys |= _purpose(field)
    if field.crc is not None:
        keys["crc"] = crcs[field.crc]
    return keys


def _part(part: Field, shift: int, width: int) -> dict[str, str]:
    place = {"shift": str(shift), "width": str(width)}
    return {"name": quoted(part.name), **place, **_purpose(part)}


def _purpose(field: Field) -> dict[str, str]:
    keys: dict[str, str] = {}
    if field.carries not in _UNNAMED:
        keys["is"] = field.carries.value
    if field.carries is Carries.UPTIME:
        keys["tick"] = _exact(field.tick)
    if isinstance(field.constant, bytes):
        text = field.constant.rstrip(b"\0").decode("utf-8", "replace")
        keys["constant"] = quoted(text if field.form == "text" else field.constant.hex(" "))
    elif field.constant is not None:
        keys["constant"] = f"{field.constant:#x}" if field.constant >= 0 else str(field.constant)
    if field.labels:
        keys["labels"] = _mapping({str(raw): quoted(word) for raw, word in field.labels.items()})
    return keys


def _mapping(keys: Mapping[str, str]) -> str:
    return f"{{{', '.join(f'{key}: {value}' for key, value in keys.items())}}}"


def _value(value: Decimal | str) -> str:
    return quoted(value) if isinstance(value, str) else f"{value:f}"


def _exact(length: Duration) -> str:
    """Return a duration with nothing rounded, in the largest unit that it is a whole number of."""
    for step, unit in ((SECOND, "s"), (MILLISECOND, "ms"), (1_000, "µs")):
        if length % step == 0:
            return f"{length // step} {unit}"
    return f"{length} ns"
