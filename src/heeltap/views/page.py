"""One way to make a web page from a template: every text escaped, nothing undefined passed over.

Inside: `page_from`.
"""

from collections.abc import Callable
from pathlib import Path

__all__ = ["page_from"]

_TEMPLATES = Path(__file__).parent / "templates"


def page_from(template: str, *, filters: dict[str, Callable[..., object]] | None = None, **values: object) -> str:
    """The page of a template, complete in itself.

    Parameters
    ----------
    template : str
        Its file name among the templates.
    filters : dict, optional
        Functions that it calls by name.
    **values
        What it shows. Texts are escaped: names and notes are other people's.

    Returns
    -------
    str
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= filters or {}
    return environment.get_template(template).render(values)
