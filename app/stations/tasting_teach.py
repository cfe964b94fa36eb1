"""What the Tasting station shows before there is a session: the way, the tests, and what it gives."""

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QWidget

from app import parts, theme
from app.stations.tasting_example import example_card
from measure.judge.panel_session import METHODS

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
# common practice, no source
_READY = (
    "Plain paste of each batch, all at one temperature, as much on every spoon",
    "Spoons or cups that look alike, marked with the codes alone",
    "Water, and plain bread to clear the mouth between samples",
    "A quiet place where nobody sees another's sheet; dim light where the colours differ",
    "As many tastes as the plan says are enough; a few extra, for someone may stop",
)


def ready_card() -> QWidget:
    """Return the card that says what to have ready."""
    words = _top(parts.label("\n".join(f"• {text}" for text in _READY), "small", wrap=True))
    return parts.card(words, heading="What to have ready")


def teaching_page() -> QWidget:
    """Return the page."""
    inner = QWidget()
    inner.setMaximumWidth(1000)
    lead = _top(parts.label(_LEAD, "heading", wrap=True))
    way = parts.card(_numbered(_STEPS), heading="How it goes")
    tests = tuple(
        (METHODS[key].title, f"{text} Needs {METHODS[key].samples}.") for key, text in _WHEN.items()
    )
    which = parts.card(_pairs(tests), heading="Which test answers what")
    example = example_card()
    inner.setLayout(parts.column(lead, way, which, example, None, spacing=theme.MEDIUM, margin=theme.SMALL))
    holder = _Holder(inner, example)
    holder.setLayout(parts.row(inner, None, spacing=0))
    parts.box_of(holder).setStretch(0, 1000)
    return parts.scroll(holder)


class _Holder(QWidget):
    """Holds the page and shows the example where all else leaves room for it."""

    def __init__(self, inner: QWidget, example: QWidget) -> None:
        super().__init__()
        self._inner, self._example = inner, example
        # the height follows from the width; what narrow cards would need must not make it scroll
        self.setMinimumHeight(1)
        example.hide()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: show or hide the example."""
        super().resizeEvent(event)
        view = self.parentWidget()
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
            (_top(parts.label(title)), _top(parts.label(text, "soft", wrap=True)))
        ):
            grid.addWidget(words, row, column)
    return grid


def _top(words: QLabel) -> QLabel:
    words.setAlignment(Qt.AlignmentFlag.AlignTop)
    # as high as its words are in the width there is, not as in the width it would like
    words.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
    return words
