"""Circles of objects that nobody holds are collected on the window's own thread only.

The interpreter collects in whichever thread happens to make an object. A worker that does so may let go of a
connection of Qt: it takes a lock of Qt and then waits for the interpreter, while the window, which has the
interpreter, waits for that lock, and both stand still for ever. So collecting is stopped everywhere and done
by the window now and then, when as many objects were made as the interpreter itself would wait for.
"""

import gc

EVERY_MS = 500  # between two looks at how many objects were made


def stop_collecting() -> None:
    """Let no thread collect by itself from now on."""
    gc.disable()


def collect_due() -> None:
    """Collect what is due, the oldest objects seldom; to be called on the GUI thread."""
    made, most = gc.get_count(), gc.get_threshold()
    due = [age for age in range(3) if most[age] and made[age] > most[age]]
    if due:
        gc.collect(due[-1])
