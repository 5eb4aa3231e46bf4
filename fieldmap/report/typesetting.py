"""Setting a page: paragraphs, tables and pictures, and what has to fit on one page."""

from __future__ import annotations

import io
import warnings
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import matplotlib as mpl
import numpy as np
from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    Image,
    KeepInFrame,
    KeepTogether,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Table,
    TableStyle,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure
    from reportlab.pdfgen.canvas import Canvas


rl_config.useA85 = 0  # pictures as they are: a quarter smaller, and written in half the time
MARGIN = 0.7 * inch
FRAME_PADDING = 6  # what reportlab keeps free inside the margins, points
HIGHEST = 100_000.0  # as good as endless, points
SMALLEST = 0.75  # a page is printed no smaller than this, so that it can be read in the field
INK, QUIET, RULE = HexColor("#14202b"), HexColor("#4c5863"), HexColor("#b9c1c8")
DPI = 150
CELL_SIZE, CELL_PADDING = 8, 6.5  # of tables, points; a shade more than the padding, or words would break
Story = list[Any]


def room_on(page: tuple[float, float]) -> float:
    """How high a story on one page may be, points."""
    return page[1] - 2 * MARGIN - 2 * FRAME_PADDING


def height_of(story: Story, width: float) -> float:
    """How high a story is when nothing of it is broken, points."""
    heights = [
        each.wrap(width, HIGHEST)[1] + max(each.getSpaceBefore(), 0) + max(each.getSpaceAfter(), 0)
        for each in story
    ]
    return float(sum(heights))


def shrunk(story: Story, page: tuple[float, float]) -> KeepInFrame:
    """A story on one page, as much smaller as it has to be."""
    return KeepInFrame(_width_on(page), room_on(page), story, mode="shrink", hAlign="LEFT")


def fitted(story: Story, page: tuple[float, float]) -> Story:
    """A page of the report: printed smaller where it is a little too long, run over where it is far too long.

    What stands in the story as a list is kept together where it runs over.
    """
    flat = _flat(story)
    if height_of(flat, _width_on(page)) > room_on(page) and fits(flat, page):
        return [shrunk(flat, page)]
    return [KeepTogether(each) if isinstance(each, list) else each for each in story]


def fits(story: Story, page: tuple[float, float]) -> bool:
    """Whether a story goes on one page that can still be read in the field."""
    return height_of(_flat(story), _width_on(page)) <= room_on(page) / SMALLEST


def _flat(story: Story) -> Story:
    return [part for each in story for part in (each if isinstance(each, list) else [each])]


def _width_on(page: tuple[float, float]) -> float:
    return page[0] - 2 * MARGIN - 2 * FRAME_PADDING


@cache
def _styles() -> dict[str, ParagraphStyle]:
    fonts = Path(mpl.get_data_path(), "fonts", "ttf")
    for name, file in (("Body", "DejaVuSans.ttf"), ("Body-Bold", "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(fonts / file)))
    pdfmetrics.registerFontFamily(
        "Body", normal="Body", bold="Body-Bold", italic="Body", boldItalic="Body-Bold"
    )
    style = partial(ParagraphStyle, fontName="Body", textColor=INK)
    return {
        "body": style("body", fontSize=9, leading=12.5, spaceAfter=4),
        "small": style("small", fontSize=7.5, leading=10, spaceAfter=3, textColor=QUIET),
        "source": style("source", fontSize=7, leading=8.8, spaceAfter=2, textColor=QUIET),
        "fine": style("fine", fontSize=6.3, leading=8.2, spaceAfter=3, textColor=QUIET),
        "quiet": style("quiet", fontSize=9, leading=12, textColor=QUIET),
        "heading": style(
            "heading",
            fontName="Body-Bold",
            fontSize=11,
            leading=14,
            spaceBefore=10,
            spaceAfter=4,
            keepWithNext=1,
        ),
        "title": style("title", fontName="Body-Bold", fontSize=15, leading=19, spaceBefore=3, spaceAfter=4),
        "cell": style("cell", fontSize=CELL_SIZE, leading=10),
    }


def text_line(text: str, style: str = "body", *, markup: bool = False) -> Paragraph:
    """A paragraph; text of users is escaped unless it is markup of ours."""
    return Paragraph(text if markup else escape(text), _styles()[style])


def table_of(rows: list[tuple[str, ...]], width: float) -> Table:
    """Text to the left, numbers to the right; rules, no boxes."""
    styles = _styles()
    numeric = [all(row[k][0] in "-0123456789" for row in rows[1:] if row[k]) for k in range(len(rows[0]))]
    right = ParagraphStyle("right", styles["cell"], alignment=2)
    cells = [
        [Paragraph(escape(cell), right if numeric[k] else styles["cell"]) for k, cell in enumerate(row)]
        for row in rows
    ]
    cells[0] = [
        Paragraph(f"<b>{escape(cell)}</b>", right if numeric[k] else styles["cell"])
        for k, cell in enumerate(rows[0])
    ]
    table = Table(cells, colWidths=_column_widths(rows, width), repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, 0), 1, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return table


def _column_widths(rows: list[tuple[str, ...]], width: float) -> list[float]:
    """A share of the width for each column: no word is broken where there is room; what is left is shared evenly.

    Headings may stand in several lines, cells in one where there is room.
    """
    columns = list(zip(*rows, strict=True))
    words = np.array(
        [_widest([part for cell in cells for part in cell.split()], cells[0]) for cells in columns]
    )
    lines = np.maximum(words, [_widest(cells[1:], "") for cells in columns])
    if words.sum() >= width:
        widths = words * width / words.sum()
    elif lines.sum() >= width:
        widths = words + (lines - words) * (width - words.sum()) / (lines - words).sum()
    else:
        widths = lines + (width - lines.sum()) / len(columns)
    return [float(each) for each in widths]


def _widest(texts: Sequence[str], heading: str) -> float:
    """Width of the widest text in a cell, points; those that the heading holds are bold."""
    return CELL_PADDING + max(
        (stringWidth(text, "Body-Bold" if text in heading else "Body", CELL_SIZE) for text in texts),
        default=0.0,
    )


def picture_of(figure: Figure) -> Image:
    """A figure as a picture in its own size; the same figure gives the same bytes."""
    width, height = figure.get_size_inches()
    png = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a sign that the font lacks is shown as a box
        figure.savefig(png, dpi=DPI, metadata={"Software": None})
    png.seek(0)
    return Image(png, width * inch, height * inch)


def pdf_of(pages: Sequence[Story], page: tuple[float, float], *, title: str) -> bytes:
    """Pages one after the other, with title and number at their foot."""
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=page, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN,
        title=title, author="fieldmap", invariant=1,
    )  # fmt: skip

    def foot(canvas: Canvas, _: SimpleDocTemplate) -> None:
        canvas.setFont("Body", 7)
        canvas.setFillColor(QUIET)
        canvas.drawString(MARGIN, 0.45 * inch, title[:110])
        canvas.drawRightString(page[0] - MARGIN, 0.45 * inch, str(canvas.getPageNumber()))

    story = [each for one in pages for each in (*one, PageBreak())][:-1]
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()
