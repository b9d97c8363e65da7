"""A Result as one HTML page that needs no other file: the chart is inside, it prints well, and names stay text.

Inside: `to_html`.
"""

from heeltap.model.result import Result
from heeltap.views.charts import offset_chart
from heeltap.views.document import document_of
from heeltap.views.page import page_from

__all__ = ["to_html"]


def to_html(result: Result, *, command: str = "") -> str:
    """The page. Every text is escaped: file names, part names and section names are other people's."""
    chart = offset_chart(result).decode()
    document = document_of(result, command=command)
    return page_from("result.html.j2", document=document, chart=chart[chart.index("<svg") :])
