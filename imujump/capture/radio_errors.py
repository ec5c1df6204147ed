"""What bleak and the operating systems raise, as sentences that say what to do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakError,
)

from imujump.errors import (
    BluetoothDeniedError,
    BluetoothError,
    BluetoothOffError,
    ImuJumpError,
    NoAdapterError,
    SensorBusyError,
    SensorLostError,
    UnknownSensorError,
)

_Reason = BleakBluetoothNotAvailableReason

RADIO_FAULTS = (BleakError, OSError, EOFError)
"""What a scan or a connection may raise; TimeoutError is an OSError."""


@contextmanager
def radio_call() -> Iterator[None]:
    """Turn whatever else a system's radio raises inside the block into a BleakError.

    Their parts are of many hands, and a failed assertion in one of them must not end a capture.
    """
    try:
        yield
    except (ImuJumpError, *RADIO_FAULTS):
        raise
    except Exception as error:
        raise BleakError(f"{type(error).__name__} {error}".strip()) from error


def no_adapter() -> BluetoothError:
    """Say that there is no radio."""
    return NoAdapterError(
        "This computer has no Bluetooth adapter that can connect to sensors",
        "plug in a Bluetooth LE adapter and start again",
    )


def switched_off() -> BluetoothError:
    """Say that the radio is off."""
    return BluetoothOffError(
        "Bluetooth is switched off", "switch it on in the system's settings and start again"
    )


def denied() -> BluetoothError:
    """Say that the system refuses."""
    return BluetoothDeniedError(
        "The system does not let this program use Bluetooth",
        "allow it in the privacy settings (Linux: add yourself to the group bluetooth)",
    )


def radio_error(error: BaseException) -> BluetoothError | None:
    """Return the sentence if the computer's Bluetooth itself is at fault, else None."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        match error.reason:
            case _Reason.NO_BLUETOOTH | _Reason.NO_BLE_CENTRAL_ROLE:
                return no_adapter()
            case _Reason.POWERED_OFF:
                return switched_off()
            case _Reason.DENIED_BY_USER | _Reason.DENIED_BY_SYSTEM | _Reason.DENIED_BY_UNKNOWN:
                return denied()
            case _:
                return BluetoothError(
                    f"Bluetooth is not available ({error.args[0]})",
                    "switch Bluetooth off and on and start again",
                )
    if isinstance(error, BleakDBusError):
        name = error.dbus_error
        if name.endswith(("AccessDenied", "NotAuthorized", "NotPermitted")):
            return denied()
        if name.endswith("NotReady"):
            return switched_off()
        if name.endswith(("ServiceUnknown", "NameHasNoOwner")):
            return NoAdapterError(
                "The system's Bluetooth service is not running",
                "start it (Linux: systemctl start bluetooth)",
            )
    if isinstance(error, PermissionError):
        return denied()
    if isinstance(error, FileNotFoundError | ConnectionRefusedError):
        # Where bleak on Linux finds no system bus to ask.
        return NoAdapterError(
            "The system's Bluetooth service cannot be reached",
            "install and start it (Linux: bluez and D-Bus)",
        )
    return None


def connect_error(sensor: str, error: BaseException) -> ImuJumpError:
    """Return the sentence for an attempt to connect that failed."""
    if isinstance(error, ImuJumpError):
        return error
    radio = radio_error(error)
    if radio is not None:
        return radio
    if isinstance(error, BleakCharacteristicNotFoundError):
        return missing_characteristic(sensor, str(error.char_specifier))
    if isinstance(error, TimeoutError):
        return SensorLostError(
            sensor,
            "the sensor was heard but does not answer",
            "bring it closer, or switch it off and on",
        )
    return SensorBusyError(
        sensor,
        f"the sensor is there but does not let us in ({_plain(error)})",
        "end its connection to other phones and computers, or switch it off and on",
    )


def missing_characteristic(sensor: str, uuid: str) -> UnknownSensorError:
    """Say that a sensor does not have what its profile names."""
    return UnknownSensorError(
        sensor,
        f"the sensor has no characteristic {uuid}, which its profile names",
        "choose the profile of this kind of sensor, or remove the sensor from the system's "
        "Bluetooth settings after a firmware change",
    )


def unknown_kind(name: str) -> UnknownSensorError:
    """Say that no profile describes a device that was asked for."""
    return UnknownSensorError(
        name,
        "no sensor profile describes this kind of sensor",
        "give the TOML file that does",
    )


def _plain(error: BaseException) -> str:
    text = " ".join(str(error).split()).rstrip(".")
    return text or type(error).__name__
