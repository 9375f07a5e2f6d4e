"""Reading `software:`, and whether the model that it names fits the rest of the bench file."""

from hil.files.bench_shape import ANY, SETTINGS, SOFTWARE
from hil.files.leaf import NAME, WHOLE
from hil.files.mistake import Page, Placed
from hil.files.tree import Map, Node
from hil.nodes.rack import misfits
from hil.wire.rack import Rack, Software


def read_software(node: Node, page: Page) -> Software | None:
    """Return the software model; None, with every mistake noted, where the text is wrong."""
    fields = SOFTWARE.open(node, page)
    if fields is None or "model" not in fields or "seed" not in fields:
        return None
    model = NAME.read(fields["model"], page, "model")
    seed = WHOLE.read(fields["seed"], page, "seed")
    entries = SETTINGS.open(fields["settings"], page) if "settings" in fields else []
    settings = {name: ANY.read(value, page, name) or "" for _, name, value in entries}
    if model is None or seed is None:
        return None
    return Software(model=model, seed=seed, settings=settings)


def check_software(rack: Rack, root: Node, page: Page) -> None:
    """Note everything in a bench file that its software model does not fit, each at its key."""
    if rack.software is None:
        return
    for misfit in misfits(rack):
        page.wrong(_find(root, misfit.place), misfit.what, misfit.hint)


def _find(root: Node, path: tuple[str, ...]) -> Placed:
    """Return the last key of a path that is there."""
    place: Placed = root
    node = root
    for name in path:
        if type(node) is not Map or name not in node.pairs:
            break
        place, node = node.pairs[name]
    return place
