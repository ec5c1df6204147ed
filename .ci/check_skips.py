"""Fails when a test was skipped that is not on the list of allowed skips.

Usage: python .ci/check_skips.py REPORT.xml ALLOWED.txt

REPORT.xml is what ``pytest --junitxml`` wrote. ALLOWED.txt holds one test per line as it is
printed here; lines that begin with # are comments.
"""

import sys
import xml.etree.ElementTree as ET
from pathlib import Path

report, allow_list = map(Path, sys.argv[1:])
allowed = {
    line.strip()
    for line in allow_list.read_text(encoding="utf-8").splitlines()
    if line.strip() and not line.startswith("#")
}
cases = list(ET.parse(report).iter("testcase"))
skipped = {
    f"{case.get('classname')}::{case.get('name')}": (mark.get("message") or "").strip()
    for case in cases
    for mark in case.findall("skipped")
    if mark.get("type") == "pytest.skip"
}
forbidden = {name: why for name, why in skipped.items() if name not in allowed}
for name, why in sorted(skipped.items()):
    word = "NOT ALLOWED" if name in forbidden else "allowed"
    sys.stdout.write(f"skipped, {word}: {name}: {why}\n")
stale = sorted(allowed - set(skipped))
for name in stale:
    sys.stdout.write(f"on the list of allowed skips but not skipped, take it off: {name}\n")
sys.stdout.write(
    f"{len(cases)} tests, {len(skipped)} skipped, {len(forbidden)} of them not allowed\n"
)
sys.exit(1 if forbidden or stale or not cases else 0)
