"""Hand edits of the field in view: each one is computed from the picture, then kept as one undo step."""

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from app.messages import DONE, NOTE, explain
from app.number_text import count
from app.session import Session
from measure.flags import FLAGS
from measure.model import KINDS, Kind
from measure.output.overlapping import weighed_with_others

# why a person sets a piece aside; the first is the one a key gives
REASONS = (
    "not a piece of the paste",
    "air bubble",
    "fibre",
    "dust",
    "out of focus",
    "several pieces that cannot be told apart",
)
_AS_OTHER = "tagged as other"
_BY_KIND = (_AS_OTHER, "air bubble", "fibre", "dust", "dust or unknown")  # reasons that come with the kind


class Hands:
    """Does to the field in view what the tools ask for.

    Parameters
    ----------
    session : Session

    Attributes
    ----------
    reason : str
        Why the next piece is set aside unless told otherwise.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self.reason = REASONS[0]
        self._refused = False  # the step before was, and the strip still says why

    # -- outlines -----------------------------------------------------------------------------

    def cut(self, labels: Iterable[int], line: np.ndarray, snap: bool = True) -> None:
        """Cut the first of these pieces along a line, or at the neck near it."""
        label = next(iter(labels), 0)
        if not label:
            self._session.tell("The line met no piece. Pull it right across the neck of one.", NOTE)
            return
        self._edit(
            lambda edits, field, learned: edits.cut(*field, label, line, snap=snap, learned=learned),
            f"Cut piece {label}",
        )

    def join(self, labels: Iterable[int]) -> None:
        """Make one piece of several."""
        labels = sorted(labels)
        if len(labels) < 2:
            self._session.tell("Choose two or more pieces that belong together, then join them.", NOTE)
            return
        self._edit(
            lambda edits, field, learned: edits.join(*field, labels, learned=learned),
            f"Join {_words(labels)}",
        )

    def draw(self, outline: np.ndarray, snap: bool) -> None:
        """Add a piece by its outline."""
        self._edit(
            lambda edits, field, learned: edits.draw(*field, outline, snap=snap, learned=learned),
            "Draw a piece",
        )

    def brush(self, label: int, stroke: np.ndarray, radius_px: float, add: bool) -> None:
        """Add to the edge of a piece, or take from it."""
        if not label:
            self._session.tell("Choose a piece first, or begin to sweep on one.", NOTE)
            return
        self._edit(
            lambda edits, field, learned: edits.reshape(
                *field, label, stroke, radius_px, add, learned=learned
            ),
            f"{'Add to' if add else 'Take from'} the edge of piece {label}",
        )

    def recut(self, labels: Iterable[int], more: bool) -> None:
        """Cut a piece or cluster into one piece more, or one fewer."""
        labels = sorted(labels)
        if len(labels) == 1 and not more:
            labels = self._cluster_of(labels[0])
        if not labels or (len(labels) < 2 and not more):
            self._session.tell("Choose a piece, or the pieces of one cluster, first.", NOTE)
            return
        pieces = len(labels) + (1 if more else -1)
        self._edit(
            lambda edits, field, learned: edits.recut(*field, labels, pieces, learned=learned),
            f"Find {count(pieces, 'piece')} in {_words(labels)}",
        )

    def _cluster_of(self, label: int) -> list[int]:
        particles = self._session.particles()
        row = int(particles.index_of([label])[0])
        parent = int(particles["parent"][row])
        return particles["label"][particles["parent"] == parent].tolist() if parent else [label]

    def _edit(self, make: Callable[..., Any], text: str) -> None:
        """Compute a replacement once the light is there, keep it and choose the new pieces."""
        session, field_id = self._session, self._session.current_field_id
        if not field_id or not self._may_change():
            return

        def then(light: Any) -> None:
            if session.current_field_id != field_id:
                return
            from measure.field.edits import edits

            learned = session.open_study.setting("learned_kinds", None)
            field = (session.particles(), light, session.picture())
            try:
                made = make(edits, field, learned)
            except Exception as error:
                self._refused = True
                session.tell(*explain(error, text))
                return
            if self._refused:
                self._refused = False
                session.tell(f"{text}: done.", DONE)
            added = weighed_with_others(session.open_study, field_id, made.added)
            labels = session.do(
                session.open_study.replace_particles, field_id, made.removed_labels, added, text
            )
            if labels is not None:
                session.select(labels if isinstance(labels, list) else [])

        session.with_light(then)

    # -- what is counted, and as what ---------------------------------------------------------

    def set_kind(self, labels: Iterable[int], kind: Kind) -> None:
        """Tag pieces; `other` is set aside too, a food kind counted again where its kind was the reason."""
        labels = sorted(labels)
        if not labels:
            self._session.tell("Choose a piece first, then press the key of its kind.", NOTE)
            return
        field_id, particles = self._session.current_field_id, self._session.particles()
        reason = particles["set_aside"][particles.index_of(labels)]
        wanted = reason == "" if kind == Kind.OTHER else np.isin(reason.astype(str), _BY_KIND)
        moved = np.array(labels)[wanted].tolist()
        text = f"Tag {_words(labels)} as {kind.value}"

        def both() -> None:
            study = self._session.open_study
            with study.one_step(text):
                study.set_kind(field_id, labels, KINDS.index(kind), text)
                if moved and kind == Kind.OTHER:
                    study.set_aside(field_id, moved, _AS_OTHER)
                elif moved:
                    study.restore(field_id, moved)

        if self._may_change():
            self._session.do(both)

    def set_aside(self, labels: Iterable[int], reason: str = "") -> None:
        """Keep pieces but do not count them."""
        labels = sorted(labels)
        if not labels:
            self._session.tell("Choose a piece first, then set it aside.", NOTE)
            return
        self.reason = reason or self.reason
        self._session.do(
            self._session.open_study.set_aside, self._session.current_field_id, labels, self.reason
        )

    def restore(self, labels: Iterable[int]) -> None:
        """Count pieces again."""
        particles = self._session.particles()
        labels = [label for label in labels if particles["set_aside"][particles.index_of([label])[0]]]
        if not labels:
            self._session.tell("Nothing chosen is set aside.", NOTE)
            return
        self._session.do(self._session.open_study.restore, self._session.current_field_id, sorted(labels))

    def accept(self, labels: Iterable[int]) -> bool:
        """Mark pieces as looked at and right; return whether it was kept."""
        labels = sorted(labels)
        particles = self._session.particles()
        flags = particles["flags"][particles.index_of(labels)] | FLAGS["looked_at"].bit
        done = self._session.do(
            self._session.open_study.update_particles,
            self._session.current_field_id,
            labels,
            f"Find {_words(labels)} right",
            flags=flags,
        )
        return done is not None

    def automatic(self) -> None:
        """Bring back what measuring gave, before all hand edits."""
        if self._session.current_field_id:
            self._session.do(self._session.open_study.restore_automatic, self._session.current_field_id)

    def _may_change(self) -> bool:
        try:
            self._session.need_writable()
        except Exception as error:
            self._session.tell(*explain(error))
            return False
        return True


def _words(labels: list[int]) -> str:
    return f"piece {labels[0]}" if len(labels) == 1 else f"{len(labels)} pieces"
