"""The spot check: a few pieces of a batch outlined by hand, without seeing the tool's outlines."""

from dataclasses import replace

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.canvas.marks_item import Marks
from app.canvas.tools_shape import DrawTool
from app.canvas.view import PictureView
from app.messages import NOTE
from app.session import Session
from measure import outlines
from measure.judge.spot_check import FEWEST, agreement, choose_blind
from measure.output.study_tables import field_tables
from measure.study.records import SpotCheck

_SHARE_OF_VIEW = 0.2  # of the view's height that a piece of upper-quartile size takes
_MOST_OFF = (
    0.08  # of the view: a piece is shown off the middle by up to this, so that the middle tells nothing
)


class BlindCheck(QObject):
    """Asks for one outline after another and keeps each in the study at once.

    A check that was stopped goes on where it was; the tool's sizes are those of the moment it began.

    Signals
    -------
    changed()
        Another piece is asked for, or the check began, stopped or ended.
    """

    changed = Signal()

    def __init__(self, session: Session, view: PictureView) -> None:
        super().__init__()
        self._session, self._view = session, view
        self.check_id = 0  # 0: none under way
        self.tool = DrawTool(self._outlined)

    @property
    def under_way(self) -> bool:
        """Whether a piece is being asked for now."""
        return self.check_id != 0

    def begin(self, pieces: int, seed: int | None = None) -> bool:
        """Choose pieces at random from the batch in view and ask for the first."""
        session = self._session
        row = session.field_row()
        if row is None:
            return False
        found = self._candidates(row.batch_id)
        if len(found) < FEWEST:
            session.tell(f"A spot check needs at least {FEWEST} counted pieces in this batch.", NOTE)
            return False
        seed = int(np.random.default_rng().integers(2**31)) if seed is None else seed
        chosen = choose_blind(range(len(found)), pieces, seed)
        plan = {"seed": seed, "pieces": [found[i] for i in chosen]}
        batches = () if row.batch_id is None else (row.batch_id,)
        check = SpotCheck(batches, f"{len(chosen)} pieces by hand", plan, {"hand": []})
        made = session.do(session.open_study.add_spot_check, check, initiator=self)
        if made is None:
            return False
        self.resume(int(made))
        return True

    def _candidates(self, batch_id: int | None) -> list[dict]:
        """Return every counted piece of the batch: where it is and how large the tool says."""
        found = []
        for row, scale, table in field_tables(self._session.open_study):
            if row.batch_id != batch_id:
                continue
            columns = ("particle", "centre_x_px", "centre_y_px", "area_equivalent_diameter_um")
            counted = table["counted"] == 1
            for label, x, y, size in zip(*(table[name][counted].tolist() for name in columns), strict=True):
                found.append(
                    {
                        "field": row.id,
                        "label": label,
                        "x": x,
                        "y": y,
                        "tool_um": size,
                        "um_per_px": scale.um_per_px,
                    }
                )
        return found

    def resume(self, check_id: int) -> None:
        """Go on with a check that is not finished."""
        self.check_id = check_id
        self._view.set_outlines_visible(False)
        self._view.set_tool(self.tool)
        self.show()
        self.changed.emit()

    def stop(self) -> None:
        """Leave the check for now; what was outlined is kept."""
        if not self.under_way:
            return
        self.check_id = 0
        self._view.set_marks(None)
        self._view.set_outlines_visible(True)
        self.changed.emit()

    def record(self) -> SpotCheck | None:
        """Return the check under way as the study keeps it."""
        return self._record(self.check_id)

    def _record(self, check_id: int) -> SpotCheck | None:
        if not check_id or self._session.study is None:
            return None
        return next((row.check for row in self._session.open_study.spot_checks() if row.id == check_id), None)

    def now(self) -> tuple[int, int]:
        """Return which piece is asked for, counted from 0, and how many there are."""
        record = self.record()
        return (len(record.results["hand"]), len(record.plan["pieces"])) if record else (0, 0)

    def piece(self) -> dict | None:
        """Return the piece asked for."""
        at, count = self.now()
        return self._pieces()[at] if at < count else None

    def _pieces(self) -> list[dict]:
        record = self.record()
        return record.plan["pieces"] if record is not None else []

    def show(self) -> None:
        """Bring the piece asked for into view, with a mark on it and nothing else."""
        piece = self.piece()
        if piece is None:
            return
        if self._session.current_field_id != piece["field"]:
            self._session.show_field(piece["field"])  # `picture_shown` goes on
            return
        if self._view.image is None:
            return
        sizes = [p["tool_um"] / p["um_per_px"] for p in self._pieces()]
        zoom = _SHARE_OF_VIEW * self._view.height() / float(np.quantile(sizes, 0.75))
        off = (
            np.random.default_rng(self.now()[0]).uniform(-_MOST_OFF, _MOST_OFF, 2)
            * self._view.height()
            / zoom
        )
        self._view.show_place(piece["x"] + off[0], piece["y"] + off[1], zoom)
        self._view.set_marks(Marks(points=np.array([self._inside(piece)])))

    def picture_shown(self, field_id: int) -> None:
        """Take note that the picture of a field has come into view."""
        if self.under_way:
            self._view.set_outlines_visible(False)
            self._view.set_tool(self.tool)
            self.show()

    def _inside(self, piece: dict) -> tuple[float, float]:
        """Return a place inside the piece to mark: its centroid where that lies inside."""
        particles = self._session.particles(piece["field"])
        rows = np.flatnonzero(particles["label"] == piece["label"])
        if not len(rows) or outlines.contains(particles.outlines[rows[0]], piece["x"], piece["y"]):
            return piece["x"], piece["y"]
        from shapely import Polygon

        at = Polygon(particles.outlines[rows[0]].astype(float)).buffer(0).representative_point()
        return at.x, at.y

    def follow(self) -> None:
        """Ask for what is to be asked for after undo or redo."""
        if not self.under_way:
            return
        at, number = self.now()
        if at < number:
            self.show()
            self.changed.emit()
        else:  # the check itself was undone, or its end was done again
            self.stop()

    def skip(self) -> None:
        """Leave the piece asked for out of the comparison."""
        self._keep(None)

    def _outlined(self, outline: np.ndarray) -> None:
        from measure.field.basics.shape import shape_columns

        piece = self.piece()
        if piece is None:
            return
        area = float(shape_columns([outline])["area_px2"][0])
        size = float(np.sqrt(4 * abs(area) / np.pi)) * piece["um_per_px"]
        self._keep({"hand_um": size, "outline": np.round(outline, 2).tolist()})

    def _keep(self, answer: dict | None) -> None:
        record = self.record()
        if record is None:
            return
        hand = [*record.results["hand"], answer]
        ended = len(hand) == len(record.plan["pieces"])
        kept = replace(record, results={"hand": hand}, closed=ended)
        if ended:
            kept = replace(kept, results={"hand": hand, **_summary(kept)})
        text = f"Outline piece {len(hand)} of {len(record.plan['pieces'])} blind"
        done = self._session.do(
            self._session.open_study.update_spot_check, self.check_id, kept, text, initiator=self
        )
        if done is None:
            return
        if ended:
            self.stop()
        else:
            self.show()
            self.changed.emit()


def _summary(record: SpotCheck) -> dict:
    """Return bias and limits of agreement as shares, to be kept; nothing from too few pieces."""
    hand, tool = sizes_of(record)
    if len(hand) < FEWEST:
        return {}
    found = agreement(hand, tool, relative=True)
    names = ("pairs", "bias", "bias_interval", "lower", "upper", "lower_interval", "upper_interval", "text")
    return {name: getattr(found, name) for name in names}


def sizes_of(record: SpotCheck) -> tuple[np.ndarray, np.ndarray]:
    """Return the sizes of the pieces outlined so far, by hand and by the tool, (K,) ndarrays in um."""
    pairs = [
        (answer["hand_um"], piece["tool_um"])
        for answer, piece in zip(record.results.get("hand", ()), record.plan["pieces"], strict=False)
        if answer is not None
    ]
    both = np.array(pairs, dtype=float).reshape(-1, 2)
    return both[:, 0], both[:, 1]
