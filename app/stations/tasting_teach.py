"""What the Tasting station shows before there is a session: the way, the tests, and what it gives."""

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QGridLayout, QLabel, QSizePolicy, QWidget

from app import parts, theme
from app.stations.tasting_example import example_card
from measure.judge.panel_session import METHODS

_WIDEST_IN_LINES, _NO_LIMIT = 71, 16_777_215  # of text; words in wider lines read badly. px, Qt's own
_WIDE_IN_LINES = 75  # width, over the height of a line of text, from which two columns read well
_LEAD = (
    "Published sizes say what some people felt in some foods. A tasting says what your panel feels in yours."
)
_STEPS = (
    ("Plan", "Choose a test, the batches and the assessors. The orders and the three-digit codes are drawn."),
    ("Print", "A worksheet for each assessor, and the key for the one who serves and nobody else."),
    ("Serve", "One by one, in the order of the sheet. Nobody who tastes knows what a code stands for."),
    ("Type", "Answers plate by plate. Who tasted what stays hidden until you close the session."),
    ("Use it", "An ascending series gives the limit of your panel; the verdict in Sizes can then follow it."),
)
# when each test is the right one; which samples it takes stands in METHODS
_WHEN = {
    "triangle": "Can anyone tell these two apart at all?",
    "paired": "Which of two is the grittier, when you expect one to be?",
    "ranking": "In which order of grittiness do three to six stand?",
    "series": "From which size on does this panel feel grit?",
    "scale": "How gritty is each, in numbers one can draw?",
}


def teaching_page() -> QWidget:
    """Return the page."""
    lead = top_aligned(parts.label(_LEAD, "heading", wrap=True))
    example = example_card()
    holder = _Holder(lead, (way_card(), _which_card()), example)
    return parts.scroll(holder)


def planning_guide() -> QWidget:
    """Return what stands beside a plan: the tests, and what may come of one."""
    made = QWidget()
    made.setLayout(parts.column(_which_card(), example_card(), margin=theme.SMALL))
    parts.box_of(made).setStretch(1, 1)
    return made


def way_card() -> QFrame:
    """Return the card that says how a tasting goes."""
    return parts.card(_numbered(_STEPS), None, heading="How it goes")


def _which_card() -> QFrame:
    tests = ((METHODS[key].title, f"{text} Needs {METHODS[key].samples}.") for key, text in _WHEN.items())
    return parts.card(_pairs(tuple(tests)), None, heading="Which test answers what")


class Beside(QWidget):
    """A part of the station, and a guide beside it where the window leaves room for both.

    Parameters
    ----------
    main, side : QWidget
    stretch : tuple of int
        How what room there is goes to the two.
    """

    def __init__(self, main: QWidget, side: QWidget, stretch: tuple[int, int]) -> None:
        super().__init__()
        self.side, self._wanted = side, True
        both = parts.row(main, side)
        for place, share in enumerate(stretch):
            both.setStretch(place, share)
        self.setLayout(both)
        side.hide()

    def want_side(self, wanted: bool) -> None:
        """Say whether the guide has anything to tell now."""
        self._wanted = wanted
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: show or hide the guide."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        in_lines = self.width() / self.fontMetrics().lineSpacing()
        self.side.setVisible(self._wanted and in_lines > _WIDE_IN_LINES)


class _Holder(QWidget):
    """Holds the page: cards side by side where it is wide, the example where all else leaves room for it."""

    def __init__(self, lead: QWidget, cards: tuple[QWidget, ...], example: QWidget) -> None:
        super().__init__()
        self._example = example
        self._cards = QBoxLayout(QBoxLayout.Direction.TopToBottom)
        self._cards.setSpacing(theme.MEDIUM)
        for card in cards:
            self._cards.addWidget(card, 1)
        self._inner = QWidget()
        inner = parts.column(lead, self._cards, example, None, spacing=theme.MEDIUM, margin=theme.SMALL)
        inner.setStretch(2, 1000)
        self._inner.setLayout(inner)
        self.setLayout(parts.row(self._inner, None, spacing=0))
        parts.box_of(self).setStretch(0, 1000)
        # the height follows from the width; what narrow cards would need must not make it scroll
        self.setMinimumHeight(1)
        example.hide()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: arrange for the width, and show or hide the example."""
        super().resizeEvent(event)
        view = self.parentWidget()
        wide = event.size().width() / self.fontMetrics().lineSpacing() > _WIDE_IN_LINES
        directions = QBoxLayout.Direction
        self._cards.setDirection(directions.LeftToRight if wide else directions.TopToBottom)
        widest = _WIDEST_IN_LINES * self.fontMetrics().lineSpacing()
        self._inner.setMaximumWidth(_NO_LIMIT if wide else widest)
        width = min(event.size().width(), self._inner.maximumWidth())
        self._example.setVisible(True)
        fits = view is not None and self._inner.heightForWidth(width) <= view.height()
        self._example.setVisible(fits and width > 700)


def _numbered(steps: tuple[tuple[str, str], ...]) -> QGridLayout:
    return _pairs(tuple((f"{place}  {title}", text) for place, (title, text) in enumerate(steps, start=1)))


def _pairs(pairs: tuple[tuple[str, str], ...]) -> QGridLayout:
    """Return titles with their words beside them."""
    grid = QGridLayout()
    grid.setHorizontalSpacing(theme.LARGE)
    grid.setVerticalSpacing(theme.SMALL)
    grid.setColumnStretch(1, 1)
    for row, (title, text) in enumerate(pairs):
        for column, words in enumerate(
            (top_aligned(parts.label(title)), top_aligned(parts.label(text, "soft", wrap=True)))
        ):
            grid.addWidget(words, row, column)
    return grid


def top_aligned(words: QLabel) -> QLabel:
    """Return words put at the top, as high as they are in the width there is."""
    words.setAlignment(Qt.AlignmentFlag.AlignTop)
    # as high as its words are in the width there is, not as in the width it would like
    words.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
    return words
