"""Pictures from a camera without the window's libraries: a device, or a folder that plays one."""

from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np

from measure.errors import InvalidInput
from measure.model import Scale
from measure.picture_file import list_pictures, read_picture

FOLDER_DEVICE = "folder"


@dataclass(frozen=True)
class CameraSetting:
    """What a scale is tied to: a change of any of these changes micrometres per pixel.

    Attributes
    ----------
    device : str
        Name of the camera.
    format : str
        How it sends its pixels ("MJPG", "YUYV", ""...).
    width_px, height_px : int
    zoom : str
        Name of the zoom as in the scale.
    """

    device: str
    format: str
    width_px: int
    height_px: int
    zoom: str = ""

    def words(self) -> str:
        """Return the setting in words, as it is kept with the picture and with a scale."""
        shape = f"{self.width_px} x {self.height_px} px"
        return ", ".join(part for part in (self.device, self.format, shape, self.zoom) if part)


def refuse_setting(setting: CameraSetting, scale: Scale | None, scale_setting: str = "") -> str:
    """Return why a frame does not belong to a scale, empty text when it does.

    Parameters
    ----------
    setting : CameraSetting
        Of the frame.
    scale : Scale or None
    scale_setting : str
        `CameraSetting.words` the scale was tied to; empty when it was tied to none.
    """
    if scale is None:
        return ""
    size = (setting.width_px, setting.height_px)
    if scale.width_px is not None and (scale.width_px, scale.height_px) != size:
        return (
            f"The camera gives {size[0]} x {size[1]} px, but the scale was made at {scale.width_px} x "
            f"{scale.height_px} px. Choose that size, or another scale."
        )
    if scale.zoom and setting.zoom and scale.zoom != setting.zoom:
        return f"The zoom is {setting.zoom}, but the scale was made at {scale.zoom}. Choose its own scale."
    if scale_setting and scale_setting != setting.words():
        return f"The scale was tied to {scale_setting}; the camera is now set to {setting.words()}."
    return ""


class FolderCamera:
    """A folder of pictures that plays a camera, one picture a read, round and round."""

    pause_ms = 700  # slower than a camera, so that one can look at each

    def __init__(self, folder: Path | str) -> None:
        self._paths, self._next = list_pictures(Path(folder)), 0
        self._name = Path(folder).name
        first = read_picture(self._paths[0])
        self.format, self.size = "files", (first.width_px, first.height_px)

    @property
    def name(self) -> str:
        """Name of the camera."""
        return f"{FOLDER_DEVICE} {self._name}"

    def read(self) -> np.ndarray:
        """Return the next picture, (M, N, 3) uint8 RGB."""
        path = self._paths[self._next % len(self._paths)]
        self._next += 1
        pixels = read_picture(path).pixels
        return pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)

    def close(self) -> None:
        """Nothing is held open."""


class DeviceCamera:
    """A USB camera through OpenCV.

    Parameters
    ----------
    index : int
        Number of the device.
    fourcc : str
        Wanted pixel format, empty for the camera's own.
    size : (int, int) or None
        Wanted width and height.

    Raises
    ------
    InvalidInput
        If it cannot be opened, or gives another size than was asked for.
    """

    def __init__(self, index: int, fourcc: str = "", size: tuple[int, int] | None = None) -> None:
        import cv2

        self.name = f"camera {index + 1}"
        with _quiet(cv2):
            self._capture = cv2.VideoCapture(index)
            if not self._capture.isOpened():
                raise InvalidInput(
                    f"There is no {self.name}, or another program holds it. Plug it in, close the other "
                    "program, and try again."
                )
            if fourcc:
                self._capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*fourcc))
            if size:
                self._capture.set(cv2.CAP_PROP_FRAME_WIDTH, size[0])
                self._capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size[1])
        self.format = fourcc
        frame = self.read()
        self.size = (frame.shape[1], frame.shape[0])
        if size and self.size != tuple(size):
            self.close()
            raise InvalidInput(
                f"{self.name} gives {self.size[0]} x {self.size[1]} px instead of {size[0]} x {size[1]} px; "
                "choose a size it has."
            )

    def read(self) -> np.ndarray:
        """Return the newest picture, (M, N, 3) uint8 RGB.

        Raises
        ------
        InvalidInput
            If the camera gives none any more.
        """
        good, frame = self._capture.read()
        if not good or frame is None or frame.ndim != 3:
            raise InvalidInput(f"{self.name} gives no picture any more; check its cable and open it again.")
        return np.ascontiguousarray(frame[..., ::-1])

    def close(self) -> None:
        """Let the camera go."""
        self._capture.release()


def device_count() -> int:
    """Return how many cameras the system lists, without opening any; 0 where it cannot tell of one."""
    if Path("/dev").is_dir() and Path("/sys").is_dir():
        return len(list(Path("/dev").glob("video*")))
    return 4  # elsewhere only opening tells, and that is left to the user


class _quiet:  # noqa: N801 - reads as a word where it is used
    """Silence a library's own warnings about a missing camera: the user gets our sentence."""

    def __init__(self, cv2: ModuleType) -> None:
        self._log = cv2.utils.logging

    def __enter__(self) -> None:
        self._level = self._log.setLogLevel(self._log.LOG_LEVEL_SILENT)

    def __exit__(self, *_: object) -> None:
        self._log.setLogLevel(self._level)
