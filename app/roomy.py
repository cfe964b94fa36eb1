"""Words that explain stand in the usual size where a page has room for them, else small."""

from collections.abc import Iterable

from PySide6.QtWidgets import QLabel, QWidget

from app import parts

ROOMY, TIGHT = "soft", "small"


def suit_words(page: QWidget, words: Iterable[QLabel]) -> bool:
    """Choose the size of words on a page that lies in an area that scrolls; return whether all fits then.

    Parameters
    ----------
    page : QWidget
        What scrolls.
    words : iterable of QLabel
        Labels of the looks "soft" or "small".
    """
    view, labels = page.parentWidget(), list(words)
    if view is None:
        return True
    for look in (ROOMY, TIGHT):
        for label in labels:
            parts.set_look(label, look)
        parts.box_of(page).activate()
        if page.heightForWidth(view.width()) <= view.height():
            return True
    return False
