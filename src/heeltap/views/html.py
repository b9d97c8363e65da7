"""A Result as one HTML page that needs no other file: the chart is inside, it prints well, and names stay text.

Inside: `to_html`.
"""

from pathlib import Path

from heeltap.model.result import Result
from heeltap.views.charts import offset_chart
from heeltap.views.document import document_of

__all__ = ["to_html"]

_TEMPLATES = Path(__file__).parent / "templates"


def to_html(result: Result, *, command: str = "") -> str:
    """The page. Every text is escaped: file names, part names and section names are other people's."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    chart = offset_chart(result).decode()
    environment = Environment(loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined)
    page = environment.get_template("result.html.j2")
    return page.render(document=document_of(result, command=command), chart=chart[chart.index("<svg") :])
