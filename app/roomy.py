"""What a page shows by the room it has: words that explain in the usual size or small, and what more fits."""

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


def show_where_room(page: QWidget, more: QWidget, least: int) -> bool:
    """Show what fills the rest of a page that scrolls where that rest is high enough; return whether it is.

    Parameters
    ----------
    page : QWidget
        What scrolls.
    more : QWidget
        A part of it that is not needed and takes what height is left.
    least : int
        Height in px from which it is of use.
    """
    view = page.parentWidget()
    if view is None:
        return False
    hidden = more.isHidden()
    more.hide()
    box = parts.box_of(page)
    box.activate()
    needed = page.heightForWidth(view.width()) if page.hasHeightForWidth() else page.sizeHint().height()
    room = view.height() - needed - box.spacing() >= least
    more.setVisible(room)
    if hidden and room:
        box.activate()
    return room
