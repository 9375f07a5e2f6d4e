"""Labels in a bench file: names for raw numbers."""

from hil.files.bench_shape import LABELS
from hil.files.leaf import TITLE
from hil.files.mistake import Page, show
from hil.files.tree import Node


def read_labels(node: Node, page: Page) -> dict[int, str]:
    """Return labels by raw number; each number and each label once."""
    labels: dict[int, str] = {}
    for key, raw, value in LABELS.open(node, page):
        label = TITLE.read(value, page, f"the label of {raw}")
        if label is None:
            continue
        if raw in labels:
            page.wrong(key, f"the raw number {raw} has two labels")
        if label in labels.values():
            page.wrong(value, f"the label {show(label)} stands for two raw numbers")
        labels[raw] = label
    return labels
