"""The templates, set up once: everything is escaped, made visible first, and nothing is missing."""

from functools import cache
from typing import TYPE_CHECKING

from hil.report.page.filters import FILTERS, finish

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = "templates"


@cache
def press() -> "Environment":
    """Return the environment of the templates; the library is loaded here, late."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("hil.report.page", TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=finish,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(FILTERS)
    return environment


def style_sheet() -> bytes:
    """Return the style sheet of all pages."""
    loader = press().loader
    assert loader is not None
    return loader.get_source(press(), "report.css")[0].encode("utf-8")
