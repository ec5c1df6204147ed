"""The athlete's page: one file without script, one sheet of A4, every text harmless."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner

from imujump.cli import main
from imujump.errors import ReportError
from imujump.report import (
    CAUTIONS,
    LONGEST_CAUTION,
    LONGEST_WORDS,
    MOST_CAUTIONS,
    Report,
    report_file_name,
    report_html,
    report_of,
    write_report,
)
from imujump.sessions.records import BodyMeasure
from imujump.sessions.store import open_store
from tests.dashboard.browser import chromium, opened_browser
from tests.sessions.kept_seasons import keep_season

MOST_BYTES = 500_000
HOSTILE = "<script>alert(1)</script> \"><img src=x onerror=alert(2)> {{ 7*7 }} O'Neil & 跳"


class Page(HTMLParser):
    """Gathers elements, attributes and texts as a browser reads them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.names: set[str] = set()
        self.links: list[str] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.names |= {name for name, _ in attrs}
        self.links += [value for name, value in attrs if name in ("href", "src", "action")]

    def handle_data(self, data):
        self.texts.append(data)

    def says(self, text: str) -> bool:
        return text in " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def club(tmp_path_factory):
    """A store with an athlete who got better, one who did not, one with a hostile name."""
    place = tmp_path_factory.mktemp("club") / "club.sqlite"
    with open_store(place) as store:
        better = keep_season(store, "Ada Bell", sessions=24, step_m=0.06, cue="Low into plant")
        store.change_athlete(better, birth_year=1999)
        keep_season(store, "Ben Stone", seed=3)
        hostile = keep_season(store, HOSTILE, sessions=7, cue=HOSTILE)
        store.change_athlete(hostile, birth_year=2010, guardian_consent_on=date(2025, 12, 1))
        store.add_body_measure(hostile, BodyMeasure(date(2026, 1, 5), 50.0, 1.6))
        for overview in store.sessions(hostile)[:4]:
            store.change_session(overview.session.session_id, surface=HOSTILE, shoe=HOSTILE * 3)
        store.add_athlete("Dan Empty")
    return place


def of(club, name: str, **more) -> Report:
    with open_store(club) as store:
        athlete = store.find_athlete(name)
        assert athlete is not None
        return report_of(store, athlete, **more)


def test_a_step_is_told_and_the_rest_is_not(club):
    found = of(club, "Ada Bell", aim="Two more ladders")
    assert found.lead.startswith("Flight-time height has changed: +")
    assert [row.changed for row in found.rows] == [True, False, False, False, False]
    assert found.rows[0].verdict == "changed"
    assert found.aim == "Two more ladders"
    assert "24 sessions, 120 attempts" in found.about
    assert len(found.pictures) == 2
    assert 'class="turn"' in found.pictures[0].svg
    assert 'class="turn"' not in found.pictures[1].svg


def test_without_a_change_nothing_is_marked(club):
    found = of(club, "Ben Stone")
    assert not any(row.changed for row in found.rows)
    assert "not yet distinguishable" in found.lead
    assert all('class="level"' not in picture.svg for picture in found.pictures)


def test_days_choose_the_sessions(club):
    found = of(club, "Ada Bell", since=date(2026, 1, 9), until=date(2026, 1, 17))
    assert "9 January 2026 to 17 January 2026: 3 sessions" in found.about
    assert "Too few sessions" in found.lead
    with pytest.raises(ValueError, match="last day"):
        of(club, "Ada Bell", since=date(2026, 2, 1), until=date(2026, 1, 1))


def test_the_words_must_fit_on_the_sheet(club):
    with pytest.raises(ValueError, match="under 200"):
        of(club, "Ada Bell", aim="x" * (LONGEST_WORDS + 1))


def test_nobody_gets_an_empty_page(club):
    with pytest.raises(ReportError, match="Dan Empty: no attempt counts"):
        of(club, "Dan Empty")


@pytest.mark.parametrize("name", ["Ada Bell", HOSTILE])
def test_the_page_is_one_small_file_without_script(club, name):
    text = report_html(of(club, name, aim=HOSTILE, cue=HOSTILE))
    assert len(text.encode()) < MOST_BYTES
    page = Page(text)
    assert page.tags.isdisjoint({"script", "img", "iframe", "object", "link", "form", "a", "b"})
    assert not [each for each in page.names if each.startswith("on")]
    assert page.links == []
    assert "url(" not in text
    assert "@import" not in text
    assert page.says(" ".join(HOSTILE.split()))


def test_conditions_that_changed_are_said(club):
    told = " ".join(of(club, HOSTILE).cautions)
    assert "surface was not the same" in told
    assert "clears nobody" in told


def test_it_prints_on_one_sheet_of_a4(club, tmp_path):
    if chromium() is None:
        pytest.skip("no Chromium on this computer; install one or name it in IMUJUMP_CHROMIUM")
    fullest = of(club, HOSTILE, aim="wide " * 40, cue="wide " * 40)
    longest = ("Long words. " * 20)[:LONGEST_CAUTION]
    fullest = replace(
        fullest,
        cue_note=longest,
        lead=longest,
        cautions=(*[longest] * MOST_CAUTIONS, *CAUTIONS),
    )
    with opened_browser(tmp_path) as browser:
        tab = browser.new_page()
        tab.set_content(report_html(fullest))
        printed = tab.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    (box,) = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed)
    # A4 in points: 210 and 297 mm at 72 to the inch.
    assert [float(side) for side in box] == pytest.approx([595.3, 841.9], abs=1.0)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("../../etc/passwd", "etc_passwd_2026-03-31.html"),
        ("Zoë Öst 跳", "Zoë_Öst_跳_2026-03-31.html"),
        ("NUL", "NUL_2026-03-31.html"),
        ("<>:|?*", "athlete_2026-03-31.html"),
        ("-rf", "rf_2026-03-31.html"),
    ],
)
def test_names_make_safe_file_names(name, expected):
    assert report_file_name(name, date(2026, 3, 31)) == expected


def test_long_names_are_cut_between_letters():
    name = report_file_name("跳" * 120, date(2026, 3, 31))
    assert len(name.encode()) < 110
    assert name.startswith("跳")


def test_only_a_report_is_replaced(club, tmp_path):
    text, path = report_html(of(club, "Ben Stone")), tmp_path / "ben.html"
    write_report(text, path)
    write_report(text + "<!-- again -->", path)
    assert path.read_text(encoding="utf-8").endswith("again -->")
    path.write_text("<p>my own page</p>", encoding="utf-8")
    with pytest.raises(ReportError, match="no report; choose another with -o"):
        write_report(text, path)
    assert path.read_text(encoding="utf-8") == "<p>my own page</p>"
    assert [each.name for each in tmp_path.iterdir()] == ["ben.html"]


def test_the_command_writes_it(club, tmp_path):
    out = tmp_path / "page.html"
    words = ["report", "ada bell", "--aim", "Fast ones first", "--store", str(club), "-o", str(out)]
    told = CliRunner().invoke(main, words)
    assert told.exit_code == 0, told.output
    assert "report of Ada Bell" in told.output
    assert "Fast ones first" in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["report", "Dan Empty"], "no attempt counts in this time"),
        (["report", "Ada Bel"], 'do you mean "Ada Bell"?'),
        (["report", "Ada Bell", "--from", "2026-05-01", "--to", "2026-01-01"], "--from or --to"),
    ],
)
def test_the_command_says_what_is_wrong(club, words, said):
    told = CliRunner().invoke(main, [*words, "--store", str(club)])
    assert told.exit_code != 0
    assert said in " ".join(told.output.split())
    assert "Traceback" not in told.output
