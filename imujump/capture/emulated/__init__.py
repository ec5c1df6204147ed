"""Emulated sensors: the GATT profile served over a real Bluetooth stack, without a radio.

What enters: a simulated athlete or a recording. What leaves: a scanner and a client with
bleak's interface, and a control object that makes things go wrong. Needs the extra
``emulate``. :func:`imujump.capture.emulated.rig.emulated_sensors` is the way in.
"""

from imujump.errors import SensorError

try:
    import bumble  # noqa: F401 - asked for here, so that one sentence tells when it is missing
except ModuleNotFoundError as error:
    raise SensorError(
        "emulated sensors",
        "the package bumble is not installed",
        "install it with: pip install 'imujump[emulate]'",
    ) from error
