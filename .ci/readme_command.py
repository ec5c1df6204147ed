"""Prints the shell command that follows ``<!-- NAME command -->`` in README.md.

Usage: python3 .ci/readme_command.py NAME
"""

import re
import sys
from pathlib import Path

readme = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
found = re.findall(rf"<!-- {re.escape(sys.argv[1])} command -->\s*```sh\n(.*?)```", readme, re.S)
if len(found) != 1:
    sys.exit(f"README.md has {len(found)} blocks after '<!-- {sys.argv[1]} command -->', not one")
sys.stdout.write(found[0].strip() + "\n")
