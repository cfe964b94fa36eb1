"""What a newcomer should know before taking pictures of smears."""

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QLayout, QWidget

from app import parts

_THIN = "Thin it"
_ADVICE = (
    (
        _THIN,
        "One part paste in 20 to 100 parts of clear oil, stirred well, so that pieces lie apart. One to "
        "three hundredths of the picture covered is best, a tenth the most.",
    ),
    ("One layer", "Press a small drop under a cover glass until it spreads, and wait until nothing moves."),
    (
        "Same camera setting",
        "Keep the zoom and the picture size you took the ruling with. Another size needs a scale of its own.",
    ),
    (
        "Do not choose",
        "Move the slide a fixed step and take what comes. Picked places make a batch look better or "
        "worse than it is.",
    ),
    (
        "Blank oil",
        "One picture of the oil alone, at the same setting, takes uneven light out. Add it and say that "
        "it shows blank oil.",
    ),
)


def advice_card(plan: QAction) -> QWidget:
    """Return the card of advice with the way to plan; how much to thin is common practice, no source."""
    lines: list[QWidget | QLayout] = []
    for title, text in _ADVICE:
        lines += [parts.label(title, "heading"), parts.label(text, "soft", wrap=True)]
        if title == _THIN:
            lines.append(parts.row(parts.action_button(plan, text="Plan dilution and count"), None))
    return parts.card(*lines, heading="")
