"""Cameras for the window: through QtMultimedia where it is installed, else through OpenCV."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QImage

from app import capture_jobs
from app.tasks import TaskRunner
from measure.field.camera import device_count

QtMultimedia: ModuleType | None
try:  # in the extra named camera; a system without sound libraries cannot load it
    from PySide6 import QtMultimedia
except ImportError:
    QtMultimedia = None

FRAME_EVERY_MS = 60
FORMATS = ("", "MJPG", "YUYV")
SIZES = ((640, 480), (1280, 720), (1280, 960), (1600, 1200), (1920, 1080), (2592, 1944), (3840, 2160))


@dataclass(frozen=True)
class Device:
    """A camera that can be opened.

    Attributes
    ----------
    name : str
        As the user knows it.
    modes : tuple of (format, width, height)
        What it offers; empty where only opening tells.
    handle : object
        What the source needs to open it.
    """

    name: str
    modes: tuple[tuple[str, int, int], ...]
    handle: Any


def devices() -> list[Device]:
    """Return the cameras the system lists."""
    if QtMultimedia is None:
        return [Device(f"camera {i + 1}", (), i) for i in range(device_count())]
    found = []
    for device in QtMultimedia.QMediaDevices.videoInputs():
        modes = {
            (_format_name(f), f.resolution().width(), f.resolution().height()) for f in device.videoFormats()
        }
        found.append(Device(device.description(), tuple(sorted(modes)), device))
    return found


def _format_name(video_format: Any) -> str:
    return video_format.pixelFormat().name.removeprefix("Format_")


def frame_of(image: QImage) -> np.ndarray:
    """Return an image as (M, N, 3) uint8 RGB, its own copy."""
    rgb = image.convertToFormat(QImage.Format.Format_RGB888)
    rows, stride = rgb.height(), rgb.bytesPerLine()
    flat = np.frombuffer(rgb.constBits(), np.uint8, rows * stride).reshape(rows, stride)
    return flat[:, : 3 * rgb.width()].reshape(rows, rgb.width(), 3).copy()


class CameraSource(QObject):
    """Frames from one camera at a time.

    Signals
    -------
    frame(object)
        A (M, N, 3) uint8 RGB array.
    opened(str, str)
        Name and format of the camera that gives frames now.
    failed(Exception)
        It cannot be opened, or stopped.
    """

    frame = Signal(object)
    opened = Signal(str, str)
    failed = Signal(object)

    def __init__(self, tasks: TaskRunner, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._tasks = tasks
        self._reader: Any = None
        self._reading = False
        self._qt: tuple = ()
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_EVERY_MS)
        self._timer.timeout.connect(self._read)

    @property
    def running(self) -> bool:
        """Whether frames are coming."""
        return self._timer.isActive() or bool(self._qt)

    def open_folder(self, path: Path) -> None:
        """Let a folder play the camera."""
        self._open(lambda progress: capture_jobs.open_folder(path, progress))

    def open_device(self, device: Device, fourcc: str, size: tuple[int, int] | None) -> None:
        """Open a camera of the system."""
        self.close()
        if QtMultimedia is None:
            self._open(lambda progress: capture_jobs.open_device(device.handle, fourcc, size, progress))
        else:
            self._open_qt(device, fourcc, size)

    def close(self) -> None:
        """Let the camera go."""
        self._timer.stop()
        reader, self._reader = self._reader, None
        if reader is not None and not self._reading:
            reader.close()
        for part in self._qt[:1]:
            part.stop()
        self._qt = ()

    def sink_frame(self, video_frame: Any) -> None:
        """Take a frame of QtMultimedia."""
        image = video_frame.toImage()
        if not image.isNull():
            self.frame.emit(frame_of(image))

    # inner --------------------------------------------------------------------------------------------------

    def _open(self, work: Callable) -> None:
        self.close()
        self._tasks.run(
            work, self._begin, failed=self.failed.emit, text="Opening the camera", key="open camera"
        )

    def _begin(self, reader: Any) -> None:
        self._reader = reader
        self.opened.emit(reader.name, reader.format)
        self._timer.start(getattr(reader, "pause_ms", FRAME_EVERY_MS))
        self._read()

    def _read(self) -> None:
        reader = self._reader
        if reader is None or self._reading:
            return
        self._reading = True
        self._tasks.run(
            lambda _progress: reader.read(),
            lambda pixels: self._got(reader, pixels),
            failed=lambda error: self._lost(reader, error),
        )

    def _got(self, reader: Any, pixels: np.ndarray) -> None:
        self._reading = False
        if reader is self._reader:
            self.frame.emit(pixels)
        elif self._reader is None:
            reader.close()

    def _lost(self, reader: Any, error: Exception) -> None:
        self._reading = False
        if reader is self._reader:
            self.close()
            self.failed.emit(error)

    def _open_qt(self, device: Device, fourcc: str, size: tuple[int, int] | None) -> None:
        if QtMultimedia is None:
            return
        camera = QtMultimedia.QCamera(device.handle)
        for video_format in device.handle.videoFormats():
            here = (video_format.resolution().width(), video_format.resolution().height())
            if (not fourcc or _format_name(video_format) == fourcc) and (size is None or here == size):
                camera.setCameraFormat(video_format)
                break
        session, sink = QtMultimedia.QMediaCaptureSession(), QtMultimedia.QVideoSink()
        session.setCamera(camera)
        session.setVideoSink(sink)
        sink.videoFrameChanged.connect(self.sink_frame)
        camera.errorOccurred.connect(lambda _code, text: self.failed.emit(OSError(text)))
        self._qt = (camera, session, sink)
        camera.start()
        self.opened.emit(device.name, fourcc)
