"""The card of learning: kinds are learned anew from pieces tagged by hand, shown, then applied."""

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QWidget

from app import number_text, parts, theme
from app.messages import DONE, NOTE
from app.session import Session
from app.theme import KIND_STYLE
from measure.model import KINDS
from measure.particles import Particles

if TYPE_CHECKING:
    from measure.field.kinds.learn import Learned

SETTING = "learned_kinds"
_KEY = "learn kinds"
_ABOUT = (
    "Tag a few pieces whose kind is wrong, on several fields. From them Gritline learns what the kinds of "
    "this study look like. It shows what would change before anything does; what you tagged stays."
)


class LearnCard(QWidget):
    """Learn kinds from hand tags, see what would change, apply it, or forget it."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session
        self._found: Learned | None = None  # what learning gave, not yet applied
        self.state = parts.label("", wrap=True)
        self.learn = parts.button("See what would change", self._learn)
        self.words = parts.label("", wrap=True)
        self.show_them = parts.button("Show them", self._light, tip="Light up these pieces in the picture")
        self.apply = parts.button("Apply", self._apply, look="primary")
        self.leave = parts.button("Leave it as it is", self._drop)
        self.forget = parts.button(
            "Forget what was learned", self._forget, tip="Back to the kinds Gritline came with"
        )
        offered = parts.row(self.apply, self.show_them, self.leave, None)
        about = parts.label(_ABOUT, "soft", wrap=True)
        self.setLayout(
            parts.column(
                about,
                self.state,
                parts.row(self.learn, self.forget, None),
                self.words,
                offered,
                spacing=theme.SMALL,
            )
        )
        self._show_offer()

    def refresh(self) -> None:
        """Count the hand tags and say whether kinds have been learned."""
        session = self._session
        if session.study is None:
            return
        tags = sum(int(particles["kind_by_hand"].sum()) for particles in self._fields().values())
        learned = session.open_study.setting(SETTING, None)
        known = f" Kinds were learned from {learned.get('tags', '?')} tags." if learned else ""
        tagged = f"{number_text.count(tags, 'piece')} tagged by hand."
        self.state.setText(tagged[0].upper() + tagged[1:] + known)
        self.forget.setVisible(bool(learned))
        self.learn.setEnabled(session.writable)
        self.forget.setEnabled(session.writable)

    def study_opened(self) -> None:
        """Drop what was found for the last study."""
        self._drop()

    def _fields(self) -> dict[int, Particles]:
        rows = self._session.open_study.fields() if self._session.study is not None else []
        return {
            row.id: self._session.particles(row.id) for row in rows if row.measured and row.role == "field"
        }

    def _learn(self) -> None:
        if self._session.tasks.busy(_KEY):  # the button stays on, or the focus would leap away
            return
        fields = self._fields()

        def work(_progress: object) -> "Learned":
            from measure.field.kinds.learn import learn

            return learn(fields)

        def failed(error: Exception) -> None:
            self._session.tasks.unexpected(error)

        self._session.tasks.run(work, self._learned, failed=failed, text="Learning the kinds", key=_KEY)

    def _learned(self, found: "Learned") -> None:
        self._found = found
        moves: dict[tuple[int, int], int] = {}
        for change in found.changes:
            moves[change.kind_from, change.kind_to] = moves.get((change.kind_from, change.kind_to), 0) + 1
        lines = [
            f"• {count} from {KIND_STYLE[KINDS[before]].word} to {KIND_STYLE[KINDS[after]].word}"
            for (before, after), count in sorted(moves.items(), key=lambda item: -item[1])
        ]
        self.words.setText("\n".join([found.text, *lines]))
        self._show_offer()

    def _show_offer(self) -> None:
        usable = self._found is not None and self._found.model is not None
        for widget in (self.apply, self.show_them, self.leave):
            widget.setVisible(usable)
        self.words.setVisible(bool(self.words.text()))

    def _drop(self) -> None:
        self._found = None
        self.words.setText("")
        self._session.light_up(())
        self._show_offer()

    def _light(self) -> None:
        if self._found is None:
            return
        self._session.light_up((change.field, change.label) for change in self._found.changes)
        here = sum(change.field == self._session.current_field_id for change in self._found.changes)
        self._session.tell(f"{number_text.count(here, 'piece')} lit up on this field.", NOTE)

    def _apply(self) -> None:
        if self._found is None:
            return
        model = self._found.model
        if self._retag(model, f"Learn kinds from {self._found.tags} tags"):
            self._session.tell("The kinds of this study follow your tags now; new fields will, too.", DONE)
            self._drop()

    def _forget(self) -> None:
        if self._retag(None, "Forget the learned kinds"):
            self._session.tell("The learned kinds are forgotten; your own tags stay.", DONE)
            self._drop()

    def _retag(self, model: dict | None, text: str) -> bool:
        """Keep the model and give all pieces their kinds by it, as one undo step."""
        fields = self._fields()

        def step() -> None:
            from measure.field.kinds.retag import retag

            study = self._session.open_study
            with study.one_step(text):
                study.set_setting(SETTING, model, text)
                for field_id, particles in fields.items():
                    labels, columns = retag(particles, model)
                    if labels:
                        study.update_particles(field_id, labels, text, **columns)

        return self._session.do(step, initiator=None) is not None
