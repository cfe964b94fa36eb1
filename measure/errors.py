"""Errors that are the world's fault, each carrying the sentence its user reads.

Anything else that escapes is a bug of ours and is treated as one.
"""


class KnownError(Exception):
    """A fault outside the program; ``text`` says what is wrong and what to do about it.

    Parameters
    ----------
    text : str
        One plain sentence or two: the file or field at fault, and the remedy.
    """

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.text = text


class InvalidInput(KnownError, ValueError):  # noqa: N818 - a word for the reader, not a suffix
    """A picture, table, number or option that cannot be used."""


class StudyFileError(KnownError):
    """A study file that cannot be opened, read or written."""


class DamagedStudy(StudyFileError):  # noqa: N818 - says what is wrong with it
    """A study file of which parts cannot be read any more; the rest can be rescued into a new one."""


class LostStudy(StudyFileError):  # noqa: N818 - says what is wrong with it
    """An open study whose file can no longer be reached or written; a copy can be kept elsewhere."""


class Cancelled(Exception):  # noqa: N818 - not an error, only a way out
    """The user stopped the work; nothing is wrong."""
