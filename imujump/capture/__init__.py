"""Sensors over Bluetooth LE: found, connected, watched; their packets handed on as received.

What enters: sensor profiles (``link_profile``), a scanner and a client with bleak's interface.
What leaves: :data:`imujump.capture.events.CaptureEvent` objects in the order they came, and
:class:`imujump.capture.events.SensorState` snapshots. ``crew`` holds all sensors of a session.
"""
