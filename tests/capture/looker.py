"""Run as a program: looks at a capture and prints what it sees. looker.py FOLDER [slow]"""

import json
import sys
import time
from pathlib import Path

from imujump.capture.viewer import CaptureViewer, find_capture


def main() -> None:
    with CaptureViewer(find_capture("usb0", Path(sys.argv[1]))) as viewer:
        while view := viewer.read():
            seen = [view.state["packets"], len(view.events), view.missed]
            sys.stdout.write(json.dumps(seen) + "\n")
            sys.stdout.flush()
            if sys.argv[2:] == ["slow"]:
                time.sleep(60.0)


if __name__ == "__main__":
    main()
