"""The checks of continuous integration check what they claim to."""

import subprocess
import sys
from pathlib import Path

import pytest

CI = Path(__file__).resolve().parent.parent / ".ci"

REPORT = """<testsuites><testsuite>
<testcase classname="tests.test_a" name="test_runs"/>
{skipped}
</testsuite></testsuites>"""

SKIPPED = """<testcase classname="tests.test_a" name="test_needs_data">
<skipped type="pytest.skip" message="open data set is absent"/></testcase>"""

EXPECTED_TO_FAIL = """<testcase classname="tests.test_a" name="test_known_fault">
<skipped type="pytest.xfail" message="known"/></testcase>"""


@pytest.fixture
def check(tmp_path):
    def run(skipped, allowed):
        report, allow_list = tmp_path / "report.xml", tmp_path / "allowed.txt"
        report.write_text(REPORT.format(skipped=skipped))
        allow_list.write_text(f"# a reason\n{allowed}\n")
        return subprocess.run(
            [sys.executable, CI / "check_skips.py", report, allow_list],
            capture_output=True,
            text=True,
        )

    return run


def test_a_run_without_skips_passes(check):
    assert check("", "").returncode == 0


def test_a_skipped_test_fails_and_is_named_with_its_reason(check):
    told = check(SKIPPED, "")
    assert told.returncode == 1
    assert "NOT ALLOWED: tests.test_a::test_needs_data: open data set is absent" in told.stdout


def test_a_skip_on_the_list_passes(check):
    assert check(SKIPPED, "tests.test_a::test_needs_data").returncode == 0


def test_a_stale_entry_of_the_list_fails(check):
    assert check("", "tests.test_a::test_needs_data").returncode == 1


def test_an_expected_failure_is_no_skip(check):
    assert check(EXPECTED_TO_FAIL, "").returncode == 0


def test_a_run_without_any_test_fails(check, tmp_path):
    report, allow_list = tmp_path / "none.xml", tmp_path / "allowed.txt"
    report.write_text("<testsuites/>")
    allow_list.write_text("")
    told = subprocess.run([sys.executable, CI / "check_skips.py", report, allow_list])
    assert told.returncode == 1


@pytest.mark.parametrize(("name", "part"), [("run", "imujump analyse"), ("test", "pytest")])
def test_readme_holds_the_two_commands_as_single_lines(name, part):
    told = subprocess.run(
        [sys.executable, CI / "readme_command.py", name], capture_output=True, text=True, check=True
    )
    assert told.stdout.count("\n") == 1
    assert part in told.stdout


def test_a_command_that_readme_lacks_is_told():
    told = subprocess.run(
        [sys.executable, CI / "readme_command.py", "fly"], capture_output=True, text=True
    )
    assert told.returncode == 1
    assert "fly command" in told.stderr
