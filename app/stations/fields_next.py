"""The one obvious next step of the Fields station."""

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from app import number_text
from app.stations import fields_words

if TYPE_CHECKING:
    from app.stations.fields import Station


class NextStep(NamedTuple):
    """Text of the button, its tip, what it does, and whether it can be pressed."""

    text: str
    tip: str
    does: Callable[[], object]
    enabled: bool = True


def next_step(station: "Station") -> NextStep:
    """Return what a newcomer should do now."""
    session = station.session
    if session.study is None:
        return NextStep("", "", lambda: None, enabled=False)
    if session.measuring.under_way:
        left = number_text.count(len(session.measuring.under_way), "field")
        return NextStep(f"Measuring, {left} to go", "Stop it at the foot of the window", lambda: None, False)
    rows = [row for row in session.open_study.fields() if row.role == "field"]
    if not rows:
        add = station.action("fields.add")
        return NextStep("Add pictures…", add.toolTip(), add.trigger, add.isEnabled())
    if any(row.scale_id is None for row in rows):
        return _towards_scale(station)
    chosen = [row for row in rows if row.id in station.list.field_ids()]
    settings = station.settings.settings()
    changed = [row for row in chosen if row.measured and row.settings != settings]
    todo = station.unmeasured()
    again = [row.id for row in rows if fields_words.stale_words(row, session.scale_of(row))]
    if changed:
        words = number_text.count(len(chosen), "field")
        act = station.action("fields.measure")
        return NextStep(f"Measure {words} with these settings", act.toolTip(), act.trigger, act.isEnabled())
    if todo:
        act = station.action("fields.measure_all")
        return NextStep(
            f"Measure {number_text.count(len(todo), 'field')}", act.toolTip(), act.trigger, act.isEnabled()
        )
    if again:
        return NextStep(
            f"Measure {number_text.count(len(again), 'field')} again",
            "What they were measured with has changed since",
            lambda: session.measure(again, settings),
            session.writable,
        )
    return NextStep(
        "Look at the particles",
        "Go on to the outlines, doubtful ones first",
        lambda: station.wants_station.emit("particles"),
    )


def _towards_scale(station: "Station") -> NextStep:
    if not station.session.open_study.scales():
        return NextStep(
            "Make a scale first",
            "Without a scale there are no micrometres",
            lambda: station.wants_station.emit("scale"),
        )
    return NextStep(
        "Give each field its scale",
        "Choose them all, then choose the scale above",
        station.choose_without_scale,
    )
