"""Every exception the package raises on purpose.

::

    ImuJumpError
    ├── RecordingError          a file that cannot be read, written or trusted
    │   ├── VersionError        written by a newer format version
    │   └── CorruptError        pages, packets or rows are damaged
    ├── SensorError             a sensor that cannot be used
    │   ├── SensorNotFoundError
    │   ├── SensorLostError
    │   └── BadPacketError      bytes that do not fit the sensor profile
    └── AlignmentError          sensor axes or clocks cannot be aligned

Each carries its facts as fields, and its text is one sentence that says what to do.
Misuse of a function raises :class:`ValueError` naming argument, value and limit. A poor
measurement is no error: it is an :class:`imujump.model.Estimate` with a reason.
"""

from __future__ import annotations

from pathlib import Path


class ImuJumpError(Exception):
    """Base of all errors that a caller may show to the user as one sentence."""


class RecordingError(ImuJumpError):
    """A file cannot be used as a recording.

    Parameters
    ----------
    path : Path or str
        The file or folder at fault.
    problem : str
        What is wrong and where (row, column, page), without a full stop.
    remedy : str
        What the user can do, without a full stop.
    """

    def __init__(self, path: Path | str, problem: str, remedy: str) -> None:
        super().__init__(f"{path}: {problem}; {remedy}.")
        self.path = Path(path)
        self.problem = problem
        self.remedy = remedy


class VersionError(RecordingError):
    """The recording was written by a newer format version than this program knows."""


class CorruptError(RecordingError):
    """The recording's pages, packets or rows are damaged."""


class SensorError(ImuJumpError):
    """A sensor cannot be used.

    Parameters
    ----------
    sensor : str
        Placement or serial number of the sensor.
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What the user can do, without a full stop.
    """

    def __init__(self, sensor: str, problem: str, remedy: str) -> None:
        super().__init__(f"{sensor}: {problem}; {remedy}.")
        self.sensor = sensor
        self.problem = problem
        self.remedy = remedy


class SensorNotFoundError(SensorError):
    """No sensor of that name answers."""


class SensorLostError(SensorError):
    """The link to a sensor is gone."""


class BadPacketError(SensorError):
    """Bytes from a sensor do not fit its profile."""


class AlignmentError(ImuJumpError):
    """Sensor axes or clocks cannot be aligned."""
