"""Every exception the package raises on purpose.

::

    ImuJumpError
    ├── RecordingError          a file that cannot be read, written or trusted
    │   ├── VersionError        written by a newer format version
    │   └── CorruptError        pages, packets or rows are damaged
    ├── SensorError             a sensor that cannot be used
    │   ├── SensorNotFoundError
    │   ├── SensorLostError
    │   ├── SensorBusyError     it is there but does not let us in
    │   ├── UnknownSensorError  no profile describes its kind
    │   ├── WrongPlacementError worn or entered where another one belongs
    │   └── BadPacketError      bytes that do not fit the sensor profile
    ├── BluetoothError          the computer's radio cannot be used
    │   ├── NoAdapterError
    │   ├── BluetoothOffError
    │   └── BluetoothDeniedError
    ├── CaptureRunningError     another capture has the adapter
    ├── NoCaptureError          there is no capture to look at
    ├── AlignmentError          sensor axes or clocks cannot be aligned
    ├── ReportError             an athlete's report cannot be made or written
    └── StoreError              the sessions that were kept cannot be read or written
        ├── ForeignStoreError   broken, or not made by this program
        ├── NewerStoreError     written by a newer version of the program
        ├── StoreFullError      no room left
        ├── StoreUnreachableError  no server, no such folder, not let in
        ├── StoreBusyError      another program writes for too long
        ├── NotKeptError        what was asked for is not in it
        └── ConsentError        a minor without a guardian's consent

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


class SensorBusyError(SensorError):
    """A sensor is there but does not let us in: another device or program holds it."""


class UnknownSensorError(SensorError):
    """A sensor is of a kind that no profile describes."""


class WrongPlacementError(SensorError):
    """A sensor is worn, or entered, where another one belongs."""


class BadPacketError(SensorError):
    """Bytes from a sensor do not fit its profile."""


class BluetoothError(ImuJumpError):
    """The computer's Bluetooth cannot be used.

    Parameters
    ----------
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What the user can do, without a full stop.
    """

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}; {remedy}.")
        self.problem = problem
        self.remedy = remedy


class NoAdapterError(BluetoothError):
    """The computer has no Bluetooth adapter that can do this."""


class BluetoothOffError(BluetoothError):
    """Bluetooth is switched off."""


class BluetoothDeniedError(BluetoothError):
    """The operating system does not let the program use Bluetooth."""


class CaptureRunningError(ImuJumpError):
    """Another capture has the adapter.

    Parameters
    ----------
    adapter : str
        The adapter's name.
    process_id : int or None
        The process that holds it, where known.
    """

    def __init__(self, adapter: str, process_id: int | None) -> None:
        holder = "another user" if process_id is None else f"process {process_id}"
        super().__init__(
            f"A capture or sensor check is running already (Bluetooth adapter: {adapter}; "
            f'{holder}): end it first, or type "imujump watch" to look on.'
        )
        self.adapter = adapter
        self.process_id = process_id


class NoCaptureError(ImuJumpError):
    """No capture is running on an adapter.

    Parameters
    ----------
    adapter : str
        The adapter's name.
    """

    def __init__(self, adapter: str) -> None:
        super().__init__(
            f"No capture is running (Bluetooth adapter: {adapter}): start one and look again."
        )
        self.adapter = adapter


class AlignmentError(ImuJumpError):
    """Sensor axes or clocks cannot be aligned."""


class ReportError(ImuJumpError):
    """A report cannot be made or written.

    Parameters
    ----------
    what : str
        The athlete or the file.
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What the user can do, without a full stop.
    """

    def __init__(
        self,
        what: str,
        problem: str = "no attempt counts in this time",
        remedy: str = "choose other days or another task, or confirm recordings that wait",
    ) -> None:
        super().__init__(f"{what}: {problem}; {remedy}.")
        self.what = what
        self.problem = problem
        self.remedy = remedy


class StoreError(ImuJumpError):
    """The store of sessions cannot be used, or refuses something.

    Parameters
    ----------
    place : str
        The file or the server's address, without a password.
    problem : str
        What is wrong, without a full stop.
    remedy : str
        What the user can do, without a full stop.
    """

    def __init__(self, place: str, problem: str, remedy: str) -> None:
        super().__init__(f"{place}: {problem}; {remedy}.")
        self.place = place
        self.problem = problem
        self.remedy = remedy


class ForeignStoreError(StoreError):
    """The database is broken, or it is not one of this program."""


class NewerStoreError(StoreError):
    """The database was written by a newer version of the program."""


class StoreFullError(StoreError):
    """There is no room left where the database lies."""


class StoreUnreachableError(StoreError):
    """The database cannot be reached, or does not let us in."""


class StoreBusyError(StoreError):
    """Another program has been writing for too long."""


class NotKeptError(StoreError):
    """What was asked for is not in the store."""


class ConsentError(StoreError):
    """Results of a minor may not be kept before a guardian has agreed."""
