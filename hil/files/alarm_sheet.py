"""What one alarm spec is read against: its page, the rack, its input, its unit, its colours."""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal

from hil.alarms.palette import PALETTE
from hil.alarms.spec import SPECIAL, Paint
from hil.core.instant import Duration
from hil.core.signal import Kind, Signal
from hil.files.alarm_shape import AGE, COLOUR
from hil.files.leaf import QUANTITY, TITLE
from hil.files.mistake import Page, nearest, show
from hil.files.plan_shape import PATH
from hil.files.quantity import difference_in, value_in
from hil.files.scope import Scope, attempt
from hil.files.tree import Node, Seq

Fields = Mapping[str, Node]


class Sheet:
    """One alarm spec while it is read; `bands` are the names of its bands as far as known."""

    def __init__(
        self, page: Page, scope: Scope, signal: Signal, unit: str, paints: Mapping[str, Paint]
    ) -> None:
        self.page = page
        self.scope = scope
        self.signal = signal
        self.unit = unit
        self.paints = paints
        self.bands: tuple[str, ...] = ()

    def level(self, fields: Fields, key: str) -> Decimal | None:
        """Return a level in the unit of the spec."""
        return self._quantity(fields, key, lambda text: value_in(text, self.unit))

    def width(self, fields: Fields, key: str) -> Decimal | None:
        """Return a difference of levels, which is not negative."""
        value = self._quantity(fields, key, lambda text: difference_in(text, self.unit))
        if value is not None and value < 0:
            self.page.wrong(fields[key], f"{key}: a width is not negative")
            return None
        return value

    def _quantity(self, fields: Fields, key: str, read: Callable[[str], Decimal]) -> Decimal | None:
        text = QUANTITY.at(fields, key, self.page)
        if text is None:
            return None
        value: Decimal | None = attempt(lambda: read(text), fields[key], self.page, key)
        return value

    def colour(self, fields: Fields, key: str) -> str | None:
        """Return a colour that the palette or the file knows."""
        name = COLOUR.at(fields, key, self.page)
        if name is None or name in self.paints or name in PALETTE:
            return name
        near = nearest(name, {**PALETTE, **self.paints})
        hint = near or f"one of {', '.join(PALETTE)}, or state its RGB under `colours`"
        self.page.wrong(fields[key], f"{key}: there is no colour {show(name)}", hint)
        return None

    def age(self, fields: Fields, key: str) -> Duration | None:
        """Return a duration; None for `never`."""
        age = AGE.at(fields, key, self.page)
        return None if isinstance(age, str) else age

    def find(self, node: Node, key: str, *kinds: Kind) -> Signal | None:
        """Return a signal that can be seen and is of one of these kinds."""
        return find(node, key, kinds, self.scope, self.page)

    def look(self, name: str, place: Node) -> bool:
        """Tell whether a band or one of the special looks has this name; note it where not."""
        looks = (*self.bands, *SPECIAL)
        if name in looks:
            return True
        hint = nearest(name, looks) or f"one of {', '.join(looks)}"
        self.page.wrong(place, f"there is no band {show(name)}", hint)
        return False


def find(node: Node, key: str, kinds: tuple[Kind, ...], scope: Scope, page: Page) -> Signal | None:
    """Return a signal that can be seen and is of one of these kinds."""
    path = PATH.read(node, page, key)
    signal = None if path is None else scope.find(path, node, page)
    if signal is None:
        return None
    if not signal.sensed:
        page.wrong(node, f"{path} is in no reading of its node, so nobody can see it")
        return None
    if signal.kind not in kinds:
        wanted = " or ".join(kind.value for kind in kinds)
        page.wrong(node, f"{path} carries a {signal.kind.value}, expected a {wanted}")
        return None
    return signal


def texts(fields: Fields, key: str, page: Page) -> tuple[str, ...]:
    """Return one text or a list of them."""
    if key not in fields:
        return ()
    node = fields[key]
    read = [TITLE.read(entry, page, key) for entry in entries(node, page)]
    return tuple(text for text in read if text is not None)


def entries(node: Node, page: Page) -> Iterable[Node]:
    """Return the entries of a list, or the one thing that is no list."""
    if not isinstance(node, Seq):
        return [node]
    if not node.items:
        page.wrong(node, "the list is empty")
    return node.items
