"""One capture per adapter, freed by the system however its holder dies."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from imujump.capture import one_capture
from imujump.capture.one_capture import OneCapture, RunningCapture, running_capture
from imujump.capture.viewer import find_capture
from imujump.errors import CaptureRunningError, NoCaptureError

HOLDER = Path(__file__).with_name("holder.py")


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen(
        [sys.executable, str(HOLDER), str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def test_a_second_capture_is_refused_with_a_sentence(tmp_path, holder):
    with pytest.raises(CaptureRunningError) as refused, OneCapture("usb0", tmp_path):
        pass
    assert str(refused.value) == (
        "A capture or sensor check is running already (Bluetooth adapter: usb0; "
        f'process {holder.pid}): end it first, or type "imujump watch" to look on.'
    )
    assert running_capture("usb0", tmp_path) == RunningCapture(holder.pid, 4711, "key")
    with OneCapture("usb1", tmp_path):
        pass


def test_the_systems_own_choice_is_its_first_adapter(tmp_path, monkeypatch):
    for name in ("hci1", "hci0", "hci0:64"):
        (tmp_path / "adapters" / name).mkdir(parents=True)
    monkeypatch.setattr(one_capture, "_ADAPTERS", tmp_path / "adapters")
    with OneCapture(folder=tmp_path), OneCapture("hci1", tmp_path):
        with pytest.raises(CaptureRunningError), OneCapture("hci0", tmp_path):
            pass
        assert running_capture(folder=tmp_path) == running_capture("hci0", tmp_path) is not None


def test_the_adapter_is_free_the_instant_its_holder_is_killed(tmp_path, holder):
    holder.kill()
    holder.wait()
    assert running_capture("usb0", tmp_path) is None
    with OneCapture("usb0", tmp_path):
        assert running_capture("usb0", tmp_path) == RunningCapture(os.getpid())
    with OneCapture("usb0", tmp_path):
        pass


def test_there_may_be_nothing_to_look_at(tmp_path):
    with pytest.raises(NoCaptureError, match="start one and look again"):
        find_capture("usb0", tmp_path)
    with OneCapture("usb0", tmp_path), pytest.raises(NoCaptureError):
        find_capture("usb0", tmp_path)


def test_a_capture_of_another_user_is_told(tmp_path, monkeypatch):
    """The system refuses the lock's file; asking it really to would not stop root."""

    def refused(path, *_):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("imujump.capture.one_capture.os.open", refused)
    with pytest.raises(CaptureRunningError, match="another user"), OneCapture("usb0", tmp_path):
        pass
