"""Building blocks of the report: text, tables, charts and pictures that look alike on every page."""

import io
import re
from collections.abc import Sequence
from functools import cache
from xml.sax.saxutils import escape

import numpy as np
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, KeepTogether, LongTable, Paragraph, TableStyle

from measure.model import Picture
from measure.output.charts_layout import Drawing
from measure.output.charts_style import PAPER
from measure.output.fonts import font_folder, with_east_asian
from measure.output.report_chart import draw_shapes

FONT, BOLD = "GritlineReport", "GritlineReportBold"
WIDTH_PT = 490.0  # of the text on a page
_SUB = '<sub rise="18%" size="72%">'
_SIZES = {"title": 17, "heading": 13, "part": 10.5, "body": 9, "small": 7.5, "lead": 10.5}


@cache
def register_fonts() -> None:
    """Register the font every word is set in; it is embedded, so that every sign shows everywhere."""
    folder = font_folder()
    pdfmetrics.registerFont(TTFont(FONT, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


@cache
def style(role: str, right: bool = False) -> ParagraphStyle:
    """Return the paragraph style of a role: title, heading, part, lead, body, small or cell."""
    register_fonts()
    size = _SIZES.get(role, 7.5)
    head = role in ("title", "heading", "part")
    return ParagraphStyle(
        f"{role}{right}",
        fontName=BOLD if head else FONT,
        fontSize=size,
        leading=size * 1.38,
        textColor=HexColor(PAPER.soft if role == "small" else PAPER.ink),
        spaceBefore={"heading": 14, "part": 8}.get(role, 0),
        spaceAfter={"title": 4, "heading": 5, "part": 3, "lead": 4, "body": 4, "small": 4}.get(role, 0),
        keepWithNext=1 if head else 0,
        alignment=TA_RIGHT if right else 0,
        splitLongWords=1,
    )


def markup(words: str) -> str:
    """Return plain text as paragraph markup, indices such as x_{50,3} and x_A set below the line.

    Examples
    --------
    >>> markup("x_{90,3} < 30 & x_A")
    'x<sub rise="18%" size="72%">90,3</sub> &lt; 30 &amp; x<sub rise="18%" size="72%">A</sub>'
    """
    # the fonts hold no thin spaces; control signs cannot be set, and a stranger's notes may hold some
    words = re.sub(r"[\u2007\u2009\u202f]", "\u00a0", words)
    words = "".join(c if c.isprintable() or c in "\n\u00a0" else "\ufffd" for c in words)
    words = re.sub(r"x_\{([^}]*)\}", rf"x{_SUB}\1</sub>", escape(words))
    words = re.sub(r"\b([xQq])_(\w)\b", rf"\1{_SUB}\2</sub>", words)
    return with_east_asian(words).replace("\n", "<br/>")


def text(words: str, role: str = "body", *, right: bool = False) -> Paragraph:
    """Return a paragraph of plain words."""
    return Paragraph(markup(words), style(role, right))


def bullets(sentences: Sequence[str], role: str = "body") -> list[Paragraph]:
    """Return sentences as a list of points."""
    indented = ParagraphStyle(f"{role}point", parent=style(role), leftIndent=10, bulletIndent=1)
    return [Paragraph(markup(s), indented, bulletText="•") for s in sentences]


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    *,
    right_from: int = 1,
    words_last: bool = False,
) -> LongTable:
    """Return a table with a heading row that comes again on every page.

    Parameters
    ----------
    head, rows : sequences of str
    widths : sequence of float
        Shares of the text's width.
    right_from : int
        Columns from this one on are set to the right, as numbers are.
    words_last : bool
        The last column holds words all the same.
    """
    last = len(head) - 1 if words_last else len(head)
    total = sum(widths)
    cells = [[text(w, "cell", right=right_from <= i < last) for i, w in enumerate(row)] for row in rows]
    top = [
        Paragraph(f"<b>{markup(w)}</b>", style("cell", right_from <= i < last)) for i, w in enumerate(head)
    ]
    made = LongTable(
        [top, *cells], colWidths=[WIDTH_PT * w / total for w in widths], repeatRows=1, spaceAfter=8,
        splitInRow=1,  # notes may be longer than a page
    )  # fmt: skip
    line, soft = HexColor(PAPER.line), HexColor(PAPER.soft)
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, soft),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, line),
                ("TOPPADDING", (0, 0), (-1, -1), 1.0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ]
        )
    )
    return made


def facts(rows: Sequence[tuple[str, str]]) -> LongTable:
    """Return name and value pairs; pairs without a value are left out."""
    cells = [[text(name, "small"), text(value, "cell")] for name, value in rows if value]
    made = LongTable(
        cells or [["", ""]], colWidths=[0.27 * WIDTH_PT, 0.73 * WIDTH_PT], spaceAfter=6, splitInRow=1
    )
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 0.6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.6),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return made


def together(*parts: object) -> KeepTogether:
    """Keep parts on one page."""
    return KeepTogether(list(parts))


def with_headings(parts: Sequence[Flowable]) -> list[Flowable]:
    """Return the parts with each heading tied to the group that follows, lest a page end between."""
    joined: list[Flowable] = []
    heads: list[Flowable] = []
    for part in parts:
        if isinstance(part, Paragraph) and part.style.keepWithNext:
            heads.append(part)
            continue
        if heads and isinstance(part, KeepTogether):
            part = together(*heads, *part._content)  # noqa: SLF001 - the group gives no other way in
        else:
            joined += heads
        heads = []
        joined.append(part)
    return joined + heads


class ChartBlock(Flowable):
    """A chart drawn as lines and letters, sharp at any size."""

    def __init__(self, drawing: Drawing, width: float, height: float) -> None:
        super().__init__()
        self.drawing, self.width, self.height = drawing, width, height
        self.spaceAfter = 6

    def draw(self) -> None:
        """Draw onto the page."""
        draw_shapes(self.canv, self.drawing.shapes, self.height, FONT, BOLD)


class PictureBlock(Flowable):
    """A picture with a bar of known length at its lower left.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        RGB.
    width : float
        On paper, points.
    um_across : float
        Width of the picture in the specimen, um; 0 leaves the bar out.
    """

    def __init__(self, pixels: np.ndarray, width: float, um_across: float = 0.0) -> None:
        super().__init__()
        self.width, self.height = width, width * pixels.shape[0] / pixels.shape[1]
        self._um_across, self._data = um_across, _jpeg(pixels)
        self.spaceAfter = 3

    def draw(self) -> None:
        """Draw onto the page."""
        self.canv.drawImage(ImageReader(io.BytesIO(self._data)), 0, 0, self.width, self.height)
        if self._um_across > 0:
            self._bar()

    def _bar(self) -> None:
        wanted = self._um_across / 4
        scale = 10 ** np.floor(np.log10(wanted))
        length = float(max(m for m in (1, 2, 5) if m * scale <= wanted) * scale)
        wide = self.width * length / self._um_across
        words, canvas = f"{length:g} µm", self.canv
        box = max(wide, pdfmetrics.stringWidth(words, FONT, 6.5)) + 8
        canvas.setFillColor(HexColor("#ffffff"))
        canvas.rect(4, 4, box, 15, stroke=0, fill=1)
        canvas.setFillColor(HexColor("#000000"))
        canvas.rect(8, 7, wide, 2, stroke=0, fill=1)
        canvas.setFont(FONT, 6.5)
        canvas.drawString(8, 11, words)


def shown(picture: Picture, most_px: int) -> tuple[np.ndarray, float]:
    """Return a picture for paper (RGB, 8 bit, at most so many px wide) and its size over the old."""
    import cv2

    from measure.outlines import shown_pixels

    factor = min(1.0, most_px / picture.width_px)
    size = (max(1, round(picture.width_px * factor)), max(1, round(picture.height_px * factor)))
    pixels = shown_pixels(picture.pixels, picture.bit_depth)[..., 2::-1]
    return cv2.resize(np.ascontiguousarray(pixels), size, interpolation=cv2.INTER_AREA), factor


def _jpeg(pixels: np.ndarray) -> bytes:
    import cv2

    bgr = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2BGR)
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
