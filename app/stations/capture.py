"""Taking fields with a camera: live picture with outlines, meters of focus and cover, and one key to take."""

from collections import deque
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
from PySide6.QtGui import QAction, QHideEvent
from PySide6.QtWidgets import QComboBox, QProgressBar, QVBoxLayout, QWidget

from app import capture_jobs, number_text, parts, pickers, preferences, theme
from app.camera import FORMATS, SIZES, CameraSource, Device, devices
from app.canvas.view import PictureView
from app.flow import flow
from app.messages import DONE, WARNING, explain
from app.session import Session
from measure.field.advice import STRONG_CAST
from measure.field.camera import CameraSetting, refuse_setting
from measure.field.live import LiveLook, flickers
from measure.model import Scale
from measure.study.records import NewField

TIED = "camera_of_scale"  # scale id -> words of the camera setting it is tied to
_FOLDER = "folder"
_NONE = (
    "No camera is plugged in, or the system shows none.\n\nPlug a USB microscope in and open this page "
    "again, or let a folder of pictures play the camera. Everything else works without."
)
_CHOOSE = "Choose a camera above."


class CapturePanel(QWidget):
    """The page that takes the place of the picture while fields are taken.

    Parameters
    ----------
    take : QAction
        Takes the picture in view.
    home : callable
        Returns the batch and the slide new fields go to, each may be None.
    taken : callable
        Called with the id of a field taken.
    """

    def __init__(
        self,
        session: Session,
        take: QAction,
        home: Callable[[], tuple[int | None, int | None]],
        taken: Callable[[int], None],
    ) -> None:
        super().__init__()
        self._session, self._take, self._home, self._taken = session, take, home, taken
        self.source = CameraSource(session.tasks, self)
        self.view = PictureView()
        self.device, self.format = QComboBox(), QComboBox()
        self.picture_size, self.scale = QComboBox(), QComboBox()
        self.focus, self.cover = QProgressBar(), QProgressBar()
        self.focus_words, self.cover_words = parts.label("Focus"), parts.label("Cover")
        self.words, self.refusal = parts.label("", "soft"), parts.label("", "warning", wrap=True)
        self.light = parts.label("", "warning", wrap=True)
        self._devices: list[Device] = []
        self._outlines: tuple[np.ndarray, ...] = ()
        self._looked_at: np.ndarray | None = None
        self._levels: deque[float] = deque(maxlen=24)
        self._frame: np.ndarray | None = None
        self._setting: CameraSetting | None = None
        self._camera, self._pixels = "", ""
        self._sharpest, self._looking, self._saving = 0.0, False, False
        self._lay_out()
        self.device.activated.connect(self._choose)
        for box in (self.format, self.picture_size):
            box.activated.connect(self._choose)
        self.scale.activated.connect(self._scale_chosen)
        self.source.frame.connect(self._show)
        self.source.opened.connect(self._opened)
        self.source.failed.connect(self._failed)

    def _lay_out(self) -> None:
        for box, name, tip in (
            (self.device, "Camera", "Which camera to take fields with"),
            (self.format, "Pixel format", "How the camera sends its pixels; raw ones lose nothing"),
            (self.picture_size, "Picture size", "A scale holds for one picture size only"),
            (self.scale, "Scale", "Of the zoom the microscope is set to"),
        ):
            box.setAccessibleName(name)
            box.setToolTip(tip)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        for bar, name in ((self.focus, "Focus"), (self.cover, "Cover")):
            bar.setAccessibleName(name)
            bar.setTextVisible(False)
            bar.setFixedSize(120, 8)
        self.focus.setRange(0, 100)
        self.cover.setRange(0, 200)
        self.focus.setToolTip("Turn the focus until it reads 100. It begins anew when a field was taken.")
        self.cover.setToolTip("1 to 3 % is best; above a tenth many pieces touch by chance.")
        take = parts.action_button(self._take, look="primary", text="Take this field")
        top = flow(self.device, self.format, self.picture_size, self.scale, None)
        foot = flow(
            self.focus_words,
            self.focus,
            self.cover_words,
            self.cover,
            self.words,
            None,
            take,
            spacing=theme.MEDIUM,
        )
        for line in (top, foot):
            line.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, theme.TIGHT)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        parts.fill(column, (top, self.view, self.refusal, self.light, foot))
        column.setStretch(1, 1)
        for label in (self.refusal, self.light):
            label.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, 0)
            label.hide()

    # choosing -----------------------------------------------------------------------------------------------

    def begin(self) -> None:
        """List cameras and scales; open the camera used last when it is there."""
        self._devices = devices()
        self.device.clear()
        self.device.addItem("Choose a camera…", None)
        for place, device in enumerate(self._devices):
            self.device.addItem(device.name, place)
        self.device.addItem("A folder that plays a camera…", _FOLDER)
        self.view.set_empty_text(_CHOOSE if self._devices else _NONE)
        self.view.set_picture(None)
        self._fill_scales()
        self._fill_modes(None)
        last = self.device.findText(preferences.read("camera/device"))
        if last > 0 and self.device.itemData(last) != _FOLDER:
            self.device.setCurrentIndex(last)
            self._choose()

    def _fill_scales(self) -> None:
        study = self._session.study
        self.scale.clear()
        self.scale.addItem("no scale yet", None)
        for row in study.scales() if study is not None else ():
            name = row.scale.zoom or number_text.quantity(row.scale.um_per_px, "µm/px", 4)
            self.scale.addItem(name, row.id)
        kept = self.scale.findText(preferences.read("camera/scale"))
        self.scale.setCurrentIndex(kept if kept > 0 else min(1, self.scale.count() - 1))

    def _fill_modes(self, device: Device | None) -> None:
        formats: tuple[str, ...] = FORMATS
        sizes: tuple[tuple[int, int], ...] = SIZES
        if device is not None and device.modes:
            formats = ("", *sorted({mode[0] for mode in device.modes}))
            sizes = tuple(sorted({(wide, high) for _, wide, high in device.modes}))
        self.format.clear()
        for name in formats:
            self.format.addItem(name or "its own format", name)
        self.picture_size.clear()
        self.picture_size.addItem("its own size", None)
        for size in sizes:
            self.picture_size.addItem(number_text.picture_size(*size), size)
        for box, key in ((self.format, "camera/format"), (self.picture_size, "camera/size")):
            box.setCurrentIndex(max(0, box.findText(preferences.read(key))))
            box.setEnabled(device is not None)

    def _choose(self) -> None:
        chosen = self.device.currentData()
        if chosen is None:
            self.source.close()
        elif chosen == _FOLDER:
            path = pickers.folder(self, "A folder that plays a camera", "camera")
            if path is not None:
                self.open_folder(path)
        else:
            device = self._devices[chosen]
            if self.sender() is self.device or not self._camera:
                self._fill_modes(device)
            for key, box in (("device", self.device), ("format", self.format), ("size", self.picture_size)):
                preferences.write(f"camera/{key}", box.currentText())
            self.source.open_device(device, self.format.currentData() or "", self.picture_size.currentData())

    def open_folder(self, path: Path) -> None:
        """Let a folder of pictures play the camera."""
        self.source.open_folder(path)

    def _scale_chosen(self) -> None:
        preferences.write("camera/scale", self.scale.currentText())
        self._check()

    def _opened(self, name: str, pixel_format: str) -> None:
        self._camera, self._pixels, self._sharpest = name, pixel_format, 0.0
        self._frame, self._outlines = None, ()
        if name.startswith(_FOLDER):
            self.device.setCurrentIndex(self.device.findData(_FOLDER))
            self.device.setItemText(self.device.currentIndex(), f"{name}…")

    def _failed(self, error: Exception) -> None:
        self.view.set_picture(None)
        self._frame = None
        text, level = explain(error, "The camera")
        self.view.set_empty_text(f"{text}\n\n{_CHOOSE}")
        self._session.tell(text, level)

    # the live picture ---------------------------------------------------------------------------------------

    def _show(self, pixels: np.ndarray) -> None:
        if self._saving:
            return
        self._keep_level(pixels)
        fresh = self._frame is None or self._frame.shape != pixels.shape
        self._frame = pixels
        self.view.set_picture(pixels)
        if self._alike(pixels):
            self.view.set_preview(self._outlines)  # the last found, until the next are
        if fresh:
            self._check()
        if not self._looking:
            self._looking = True
            self._looked_at = pixels
            settings = self._session.measure_settings()
            self._session.tasks.run(
                lambda progress: capture_jobs.live_look(pixels, settings, progress),
                self._looked,
                failed=lambda _error: setattr(self, "_looking", False),
            )

    def _looked(self, look: LiveLook) -> None:
        self._looking = False
        if self._frame is None:
            return
        self._sharpest = max(self._sharpest, look.sharpness)
        self.focus.setValue(round(100 * look.sharpness / self._sharpest) if self._sharpest > 0 else 0)
        self.cover.setValue(min(200, round(1000 * look.cover)))
        self.focus_words.setText(f"Focus {self.focus.value()} %")
        self.cover_words.setText(f"Cover {number_text.percent(look.cover)}")
        self.words.setText(number_text.count(len(look.outlines), "piece"))
        warnings = _light_words(look, flickers(self._levels))
        self.light.setText(warnings)
        self.light.setVisible(bool(warnings))
        self._outlines = look.outlines
        if self._alike(self._frame):
            self.view.set_preview(self._outlines)

    def _keep_level(self, pixels: np.ndarray) -> None:
        """Keep the brightness of the latest frames of one place; begin anew when the slide moves on."""
        if self._frame is None or self._frame.shape != pixels.shape:
            self._levels.clear()
        else:
            off = np.abs(pixels[::16, ::16].astype(np.int16) - self._frame[::16, ::16])
            # flicker changes all of the frame alike, a moved slide some of it much
            if float(np.median(off)) < 0.5 * float((off > 40).mean() * 255):
                self._levels.clear()
        self._levels.append(float(pixels[::16, ::16].mean()))

    def _alike(self, pixels: np.ndarray) -> bool:
        """Whether a frame shows the place the outlines were found at: the slide did not move on."""
        before = self._looked_at
        if before is None or before.shape != pixels.shape:
            return False
        off = np.abs(pixels[::8, ::8].astype(np.int16) - before[::8, ::8])
        return float((off.max(axis=2) > 24).mean()) < 0.01

    def scale_in_use(self) -> Scale | None:
        """Return the chosen scale."""
        study, chosen = self._session.study, self.scale.currentData()
        if study is None or chosen is None:
            return None
        return next((row.scale for row in study.scales() if row.id == chosen), None)

    def _check(self) -> None:
        """Say why the frame does not belong to the scale, where it does not."""
        if self._frame is None or self._session.study is None:
            return
        scale = self.scale_in_use()
        rows, columns = self._frame.shape[:2]
        zoom = scale.zoom if scale is not None else ""
        self._setting = CameraSetting(self._camera, self._pixels, columns, rows, zoom)
        tied = self._session.open_study.setting(TIED, {}) or {}
        reason = refuse_setting(self._setting, scale, tied.get(str(self.scale.currentData()), ""))
        self.refusal.setText(reason)
        self.refusal.setVisible(bool(reason))
        self.view.set_scale(scale.um_per_px if scale is not None and not reason else None)

    # taking -------------------------------------------------------------------------------------------------

    def take(self) -> None:
        """Take the picture in view as a field of the study."""
        self._check()
        if self._frame is None or self._setting is None:
            self._session.tell("There is no live picture to take. Choose a camera first.", WARNING)
        elif self.refusal.text():
            self._session.tell(self.refusal.text(), WARNING)
        elif self._session.writable and not self._saving:
            self._saving = True
            pixels, setting = self._frame, self._setting
            words = {
                "Creation Time": datetime.now().astimezone().isoformat(timespec="seconds"),
                "Source": setting.words(),
                "Software": "Gritline",
            }
            self._session.tasks.run(
                lambda progress: capture_jobs.frame_png(pixels, words, progress),
                lambda data: self._store(data, setting),
                failed=self._not_saved,
                text="Keeping the field",
            )

    def _not_saved(self, error: Exception) -> None:
        self._saving = False
        self._session.tell(*explain(error, "Keeping the field"))

    def _store(self, data: bytes, setting: CameraSetting) -> None:
        self._saving, self._sharpest = False, 0.0
        if self._session.study is None:
            return
        ids = self._session.do(self._add, data, setting)
        if ids is not None:
            row = self._session.field_row(ids[0])
            if row is not None:
                self._session.tell(f"Took {row.name}.", DONE)
            self._taken(ids[0])

    def _add(self, data: bytes, setting: CameraSetting) -> list[int]:
        study = self._session.open_study
        (batch, slide), scale_id = self._home(), self.scale.currentData()
        names = {row.name for row in study.fields()}
        name = next(f"field {n}.png" for n in range(1, len(names) + 2) if f"field {n}.png" not in names)
        new = NewField(
            name, data, batch, scale_id, slide, width_px=setting.width_px, height_px=setting.height_px,
            note=f"Taken with {setting.words()}",
        )  # fmt: skip
        with study.one_step(f"Take {name}"):
            tied = study.setting(TIED, {}) or {}
            if scale_id is not None and str(scale_id) not in tied:
                study.set_setting(
                    TIED, {**tied, str(scale_id): setting.words()}, "Tie the scale to the camera"
                )
            return study.add_fields([new])

    def hideEvent(self, event: QHideEvent) -> None:
        """Let the camera go when the page goes out of view."""
        self.source.close()
        super().hideEvent(event)


def _light_words(look: LiveLook, unsteady: bool) -> str:
    """Return what is wrong with the light of the live picture, a sentence each."""
    found = []
    if look.clipped > 0.02:
        found.append(f"{number_text.percent(look.clipped)} is burnt out: change the exposure.")
    if look.cast > STRONG_CAST:
        found.append("Strong colour cast: set the white balance on bare oil.")
    if unsteady:
        found.append("The light flickers: use another lamp or a longer exposure.")
    return " ".join(found)
