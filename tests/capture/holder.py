"""Run as a program: holds an adapter until killed. holder.py FOLDER"""

import sys
import time
from pathlib import Path

from imujump.capture.one_capture import OneCapture


def main() -> None:
    with OneCapture("usb0", Path(sys.argv[1])) as held:
        held.open_door(4711, "key")
        sys.stdout.write("held\n")
        sys.stdout.flush()
        time.sleep(60.0)


if __name__ == "__main__":
    main()
