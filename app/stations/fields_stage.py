"""What stands at the left of the Fields station: the pictures, the camera, or the plan of the count."""

from collections.abc import Callable

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QStackedWidget, QWidget

from app.session import Session
from app.stations.capture import CapturePanel
from app.stations.plan_count import CountPlan


class FieldsStage(QStackedWidget):
    """One of three pages; the actions of the other two switch them on and off, one at most.

    Signals
    -------
    turned()
        Another page is in view.
    """

    turned = Signal()

    def __init__(
        self,
        session: Session,
        picture: QWidget,
        capture: CapturePanel,
        count: CountPlan,
        action: Callable[[str], QAction],
    ) -> None:
        super().__init__()
        self._session, self._picture, self._capture, self._count = session, picture, capture, count
        self._camera, self._plan = action("fields.camera"), action("fields.plan")
        self._take = action("fields.take")
        for page in (picture, capture, count.page):
            self.addWidget(page)

    @property
    def camera_on(self) -> bool:
        """Whether fields are taken with the camera."""
        return self.currentWidget() is self._capture

    @property
    def plan_on(self) -> bool:
        """Whether the count is planned."""
        return self.currentWidget() is self._count.page

    def switch_camera(self) -> None:
        """Show the camera, or the pictures again, as its action says."""
        self._plan.setChecked(False)
        self._turn()
        if self.camera_on:
            self._capture.begin()

    def switch_plan(self) -> None:
        """Show the plan, or the pictures again, as its action says."""
        self._camera.setChecked(False)
        self._turn()
        if self.plan_on:
            self._count.form.begin()

    def show_pictures(self) -> None:
        """Show the pictures again."""
        self._camera.setChecked(False)
        self._plan.setChecked(False)
        self._turn()

    def _turn(self) -> None:
        before, page = self.currentWidget(), self._picture
        if self._session.study is not None and self._camera.isChecked():
            page = self._capture
        elif self._session.study is not None and self._plan.isChecked():
            page = self._count.page
        self.setCurrentWidget(page)
        self._take.setEnabled(self.camera_on and self._session.writable)
        if page is not before:
            self.turned.emit()
