"""Progress of long work, and the way to stop it, without knowing who watches."""

from collections.abc import Callable

from measure.errors import Cancelled


class Progress:
    """Receive reports from long work and raise `Cancelled` when asked to stop.

    Parameters
    ----------
    listener : callable, optional
        Called as ``listener(fraction, stage)`` with a fraction in 0..1 and a short text.
    """

    def __init__(self, listener: Callable[[float, str], None] | None = None) -> None:
        self._listener = listener
        self._stop = False

    def cancel(self) -> None:
        """Ask the work to stop at its next report."""
        self._stop = True

    @property
    def cancelled(self) -> bool:
        """Whether a stop was asked for."""
        return self._stop

    def check(self) -> None:
        """Raise `Cancelled` if a stop was asked for; between reports of long work."""
        if self._stop:
            raise Cancelled

    def report(self, fraction: float, stage: str = "") -> None:
        """Say how far the work is.

        Raises
        ------
        Cancelled
            If a stop was asked for.
        """
        self.check()
        if self._listener is not None:
            self._listener(min(1.0, max(0.0, fraction)), stage)


class _Silent(Progress):
    """Progress nobody watches and nobody can cancel."""

    def cancel(self) -> None:
        """Do nothing: this one is shared."""


SILENT = _Silent()
