"""The one obvious next step of the Scale station."""

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from app.stations.scale_making import KEY

if TYPE_CHECKING:
    from app.stations.scale import Station


class NextStep(NamedTuple):
    """Text of the button, its tip, what it does, and whether it can be pressed."""

    text: str
    tip: str
    does: Callable[[], object]
    enabled: bool = True


def next_step(station: "Station") -> NextStep:
    """Return what a newcomer should do now."""
    session, draft = station.session, station.draft
    if session.study is None:
        return NextStep("Begin a study first", "", lambda: None, False)
    if session.tasks.busy(KEY):
        return NextStep("Looking for the ruling…", "Stop it above", lambda: None, False)
    if draft is None:
        if station.state_text()[0]:
            return NextStep(
                "Go on to Fields",
                "Add pictures of your smears",
                lambda: station.wants_station.emit("fields"),
            )
        return _of(station, "scale.open", "Open a picture of a ruling…")
    if draft.fit is not None:
        return _of(station, "scale.keep", "Keep this scale")
    if draft.by_hand and len(draft.points_px) >= 2:
        return NextStep("Type the length", "From the first line to the last", station.marked.length.setFocus)
    if station.action("scale.drag").isChecked() or station.action("scale.click").isChecked():
        words = "Now click in the picture" if draft.has_bar else "Mark lines in the picture"
        return NextStep(words, "Click them or drag across them", lambda: None, False)
    if draft.has_bar:
        return _of(station, "scale.click", "Click both ends of the bar")
    return _of(station, "scale.drag", "Mark the lines by hand")


def _of(station: "Station", action_id: str, text: str) -> NextStep:
    action = station.action(action_id)
    return NextStep(text, action.toolTip(), action.trigger, action.isEnabled())
