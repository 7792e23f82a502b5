"""Pages from templates: whatever enters is escaped, except markup that was made in this room."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from flicker.present.report.markup import Markup

if TYPE_CHECKING:
    from jinja2 import Environment


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("flicker.present", "_page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render(name: str, **values: Any) -> Markup:
    """Fill a template of the folder ``_page``; a name that it needs and does not get is an error."""
    return Markup(_environment().get_template(name).render(**values))
