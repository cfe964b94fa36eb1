"""What stands at the left of the Tasting station: cautions, what to have ready, and how many tasters."""

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QVBoxLayout, QWidget

from app import parts, theme
from app.stations.tasting_teach import top_aligned
from measure.judge.serving import CAUTIONS

# common practice, no source
_READY = (
    "Plain paste of each batch, all at one temperature, as much on every spoon",
    "Spoons or cups that look alike, marked with the codes alone",
    "Water, and plain bread to clear the mouth between samples",
    "A quiet place where nobody sees another's sheet; dim light where the colours differ",
    "As many tastes as the plan says are enough; a few extra, for someone may stop",
)
# answers that find a difference 4 times in 5 at a risk of 5 %, by the share of people who perceive it; a test
# holds them to `measure.judge.discrimination.trials_needed`
ANSWERS = ((50, 16, 28), (40, 25, 42), (30, 42, 76), (20, 94, 169))
_ANSWERS_HEAD = ("Who can tell", "Triangle", "Paired")
_ANSWERS_WORDS = (
    "Answers that find the difference 4 times in 5, at a risk of 5 % of calling one that is not there."
)


class BeforeTasting(QWidget):
    """The cards; where the column is high, their words are of the usual size and answers are counted."""

    def __init__(self) -> None:
        super().__init__()
        self._words: list[QLabel] = []
        lists = (("Before anyone tastes", CAUTIONS), ("What to have ready", _READY))
        cards = [parts.card(self._listed(texts), heading=heading) for heading, texts in lists]
        self.tasters = _tasters_card()
        self.tasters.hide()  # it must not widen the column before it is known to fit
        self.setLayout(parts.column(*cards, self.tasters, None))

    def _listed(self, texts: tuple[str, ...]) -> QVBoxLayout:
        words = [top_aligned(parts.label(f"• {text}", "small", wrap=True)) for text in texts]
        self._words += words
        return parts.column(*words, spacing=theme.TIGHT)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: suit what is shown to the room in the view this lies in."""
        super().resizeEvent(event)
        view = self.parentWidget()
        high = view.height() if view is not None else event.size().height()
        # the roomiest first; what does not fit without scrolling gives way
        wide = self.tasters.minimumSizeHint().width() <= event.size().width()
        for look, counted in (("soft", True), ("small", True), ("soft", False), ("small", False)):
            for words in self._words:
                parts.set_look(words, look)
            self.tasters.setVisible(counted and wide)
            parts.box_of(self).activate()
            if self.heightForWidth(event.size().width()) <= high:
                return


def _tasters_card() -> QWidget:
    grid = QGridLayout()
    grid.setHorizontalSpacing(theme.MEDIUM)
    grid.setVerticalSpacing(theme.TIGHT)
    for column, head in enumerate(_ANSWERS_HEAD):
        grid.addWidget(parts.label(head), 0, column, _side(column))
    for row, (percent, *needed) in enumerate(ANSWERS, start=1):
        for column, text in enumerate((f"{percent} %", *map(str, needed))):
            grid.addWidget(parts.label(text, "soft"), row, column, _side(column))
    grid.setColumnStretch(0, 1)
    words = top_aligned(parts.label(_ANSWERS_WORDS, "soft", wrap=True))
    return parts.card(grid, words, heading="How many answers")


def _side(column: int) -> Qt.AlignmentFlag:
    return Qt.AlignmentFlag.AlignRight if column else Qt.AlignmentFlag.AlignLeft
