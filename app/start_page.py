"""The page without a study: what the job is, and the three ways to begin."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from app import icons, parts, preferences, theme
from app.start_pictures import SampleStrip

STEPS = (
    (
        "scale",
        "Scale",
        "Photograph a stage micrometer once for each zoom. Gritline finds its lines and knows how many "
        "micrometres one pixel is, and how sure that is.",
    ),
    (
        "fields",
        "Fields",
        "Thin a little paste with clear oil, smear it on glass, photograph a few places without choosing "
        "them, and drop the pictures here.",
    ),
    (
        "particles",
        "Particles",
        "Every piece is outlined and named kernel, skin or salt. Look at the doubtful ones first and mend "
        "them with a stroke.",
    ),
    (
        "sizes",
        "Sizes",
        "Read how coarse the batch is, how sure that is, and whether a tongue is likely to feel it.",
    ),
    (
        "compare",
        "Compare",
        "Put batches side by side: did the last change help, and how much longer must you grind?",
    ),
    (
        "tasting",
        "Tasting",
        "Let a panel taste blind, and find from which size on it feels your paste.",
    ),
    (
        "report",
        "Report",
        "Hand it over: a PDF that stands alone, and tables for other programs.",
    ),
)
NEEDED = (
    "What you need",
    "A microscope with a camera, a stage micrometer, slides and cover glasses, and clear oil to thin the "
    "paste with.",
)
# how much to thin is common practice, no source
SMEAR = (
    "A first smear",
    (
        "Stir the jar to the bottom, and take a dab.",
        "Stir one part of it into 20 to 100 parts of clear oil; Plan, in Fields, tells how many.",
        "Press a small drop under a cover glass, and wait until nothing moves.",
        "Photograph a ruling once at this zoom, then a few places you did not choose.",
    ),
)
CARE = (
    "Take care",
    (
        "Nuts, peanuts and sesame can cause severe or fatal reactions, also in traces.",
        "Never taste a diluted or photographed sample. Keep slides and cover glasses away from food.",
        "A fine grind says nothing about microbes, mould toxins or wear of the mill.",
        "Gritline certifies no food as safe: follow local food law and your food-safety plan.",
    ),
)
IN_A_ROW = 4
_WIDEST_IN_LINES = 77  # of text; words in wider lines read badly


class StartPage(QWidget):
    """What one sees first.

    Signals
    -------
    recent_chosen(str)
        The user chose a study opened before.
    """

    recent_chosen = Signal(str)

    def __init__(
        self, begin: Callable[[], None], open_: Callable[[], None], sample: Callable[[], None]
    ) -> None:
        super().__init__()
        self.begin = parts.button(
            "Begin a study…", begin, look="primary", tip="Choose where the study is kept"
        )
        self.open = parts.button("Open a study…", open_, tip="Open a study from its file")
        self.sample = parts.button(
            "Try the sample study", sample, tip="A hazelnut spread after passes 1, 3 and 6"
        )
        self.recent_heading = parts.label("Opened before", "heading")
        self.recent = QListWidget()
        self.recent.setAccessibleName("Studies opened before")
        self.recent.itemActivated.connect(self._chosen)
        self.recent.itemClicked.connect(self._chosen)
        self.fields = SampleStrip()
        self._inner = inner = QWidget()
        inner.setMaximumWidth(_WIDEST_IN_LINES * inner.fontMetrics().lineSpacing())
        self._lay_out(inner)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        holder = QWidget()
        # the height follows from the width; what cards would need when narrow must not make it scroll
        holder.setMinimumHeight(1)
        holder.setLayout(parts.row(None, inner, None, spacing=0))
        parts.box_of(holder).setStretch(1, 1000)
        outer.addWidget(parts.scroll(holder))

    def _lay_out(self, inner: QWidget) -> None:
        lead = parts.label(
            "Gritline measures the pieces in a ground paste from microscope pictures: nut and seed butters, "
            "chocolate, spreads. A study is one file that holds the pictures, the outlines and every "
            "correction.",
            wrap=True,
        )
        note = parts.label(
            "Nothing needs saving: each step is in the file the moment you take it, and can be undone. "
            "You can also drop a study file on this window.",
            "soft",
            wrap=True,
        )
        ways = parts.row(self.begin, self.open, self.sample, None, spacing=theme.MEDIUM)
        whole = QVBoxLayout(inner)
        whole.setContentsMargins(theme.LARGE, theme.HUGE, theme.LARGE, theme.LARGE)
        whole.setSpacing(theme.MEDIUM)
        title = parts.label("How coarse is it, and will a tongue feel it?", "title")
        before = (self.recent_heading, self.recent)
        parts.fill(whole, (title, lead, theme.SMALL, ways, note, *before, theme.SMALL, self._steps()))
        smear, care = _list_card(*SMEAR, numbered=True), _list_card(*CARE)
        both = parts.row(smear, care, spacing=theme.MEDIUM)
        both.setStretch(0, 1)
        both.setStretch(1, 1)
        parts.fill(whole, (both, self.fields, None))
        self.fields.hide()

    def _steps(self) -> QWidget:
        made = QWidget()
        grid = QGridLayout(made)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(theme.MEDIUM)
        self._marks: list[tuple[QLabel, str]] = []
        steps = enumerate(STEPS, start=1)
        cards = [(f"{place}  {title}", name, text) for place, (name, title, text) in steps]
        cards.append((NEEDED[0], "program", NEEDED[1]))
        for place, (heading, name, text) in enumerate(cards):
            mark = QLabel()
            self._marks.append((mark, name))
            body = parts.label(text, "soft", wrap=True)
            body.setAlignment(Qt.AlignmentFlag.AlignTop)
            box = parts.card(parts.row(mark, parts.label(heading, "heading"), None), body)
            box.setAccessibleName(heading)
            parts.box_of(box).setStretch(1, 1)
            row, column = divmod(place, IN_A_ROW)
            grid.addWidget(box, row, column)
            grid.setColumnStretch(column, 1)
        return made

    def refresh(self) -> None:
        """Show the studies opened before and the icons in the colours of the room."""
        for mark, name in self._marks:
            mark.setPixmap(icons.pixmap(name, 26, "accent"))
        self.recent.clear()
        for path in preferences.recent_studies():
            item = QListWidgetItem(f"{path.stem}    {path.parent}")
            item.setData(Qt.ItemDataRole.UserRole, str(path))
            item.setToolTip(str(path))
            self.recent.addItem(item)
        some = self.recent.count() > 0
        self.recent_heading.setVisible(some)
        self.recent.setVisible(some)
        rows = min(4, max(1, self.recent.count()))
        height = rows * (self.recent.sizeHintForRow(0) if some else 20) + 2 * self.recent.frameWidth() + 4
        self.recent.setFixedHeight(height)
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: fill the room of a large screen with what good fields look like."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        width = min(self.width(), self._inner.maximumWidth())
        wanted = width >= 1000 and self.fields.fill()
        self.fields.setVisible(wanted)
        if wanted:
            self.fields.setVisible(self._inner.heightForWidth(width) <= self.height())

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Return a size that still shows the buttons."""
        return QSize(560, 320)

    def _chosen(self, item: QListWidgetItem) -> None:
        path = item.data(Qt.ItemDataRole.UserRole)
        if Path(path).is_file():
            self.recent_chosen.emit(path)


def _list_card(heading: str, lines: tuple[str, ...], *, numbered: bool = False) -> QFrame:
    """Return a card of short sentences, one below the other."""
    made = []
    for place, line in enumerate(lines, start=1):
        words = parts.label(line, "soft", wrap=True)
        mark = parts.label(str(place) if numbered else "•")
        for one in (mark, words):
            one.setAlignment(Qt.AlignmentFlag.AlignTop)
        both = parts.row(mark, words)
        both.setStretch(1, 1)
        made.append(both)
    return parts.card(*made, heading=heading)
