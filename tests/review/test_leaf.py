"""The page for a section leader: one file that looks, sounds and answers without the program, and
the small file that comes back from it. Held against WCAG 2.2 (W3C), levels A and AA, by axe-core.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from build import part_xml, score_xml
from playwright.sync_api import Browser, Page, expect, sync_playwright
from typer.testing import CliRunner

from sectionprep import stages
from sectionprep.cli import app
from sectionprep.phrasing.directives import Directive
from sectionprep.phrasing.plan_file import read_plan
from sectionprep.results import Options
from sectionprep.review.leaf import write_leaf

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None and not os.environ.get("CI"),
    reason="no Chromium on this machine: the page was not opened",
)
LINE = "C5/8 D5/8 E5/8 G5/8 A5/4 G5/4 r/8 E5/8 G5/8 A5/8 C6/4 A5/4 G5/8 E5/8 D5/8 C5/8 D5/2"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    assert CHROMIUM, "CI must have a Chromium (.ci/run installs it)"
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield one
        one.close()


def _chart(folder: Path, title: str = "Two of us") -> Path:
    path = folder / "chart.musicxml"
    parts = {n: part_xml(" ".join([LINE] * 2)) for n in ("Alto Sax 1", "Alto Sax 2")}
    escaped = title.replace("&", "&amp;").replace("<", "&lt;")
    head = f"<work><work-title>{escaped}</work-title></work>"
    path.write_bytes(score_xml(parts, head=head))
    return path


def _opened(browser: Browser, leaf: Path, width: int = 1200) -> Page:
    """Without a network, as a file."""
    context = browser.new_context(
        viewport={"width": width, "height": 900}, offline=True, accept_downloads=True
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.wrong = wrong  # type: ignore[attr-defined]
    page.goto(leaf.as_uri())
    return page


@pytest.fixture(scope="module")
def leaf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("leaf")
    return write_leaf(_chart(folder), folder / "out", Options(), None)


@pytest.mark.parametrize(("width", "which"), [(1200, "desktop"), (360, "narrow")])
def test_look_listen_ask_and_save(
    browser: Browser, leaf: Path, tmp_path: Path, width: int, which: str
) -> None:
    page = _opened(browser, leaf, width)
    page.locator(f".{which} .note").nth(4).click()
    expect(page.locator(".told")).to_contain_text("Why")
    page.select_option(".wish select", "accent")
    expect(page.locator(".list-of-wishes")).to_contain_text("accent")
    page.fill("textarea", 'Let it "sing"\nplease')
    page.fill("#who", "Robin")
    page.click("[data-take='as planned']")
    page.wait_for_function("document.querySelector('.sounding') !== null")
    page.click("[data-take='as planned']")
    assert page.locator(".sounding").count() == 0
    with page.expect_download() as saved:
        page.click("#save")
    saved.value.save_as(tmp_path / "said.toml")
    plan = read_plan(tmp_path / "said.toml")
    (decision,) = plan.decisions
    assert isinstance(decision, Directive)
    assert (decision.part, decision.bar, decision.marks) == ("Alto Sax 1", "1", {"accent"})
    assert plan.comments == ('P1: Robin: Let it "sing" / please',)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1")
    assert page.wrong == []  # type: ignore[attr-defined]


def test_what_a_leader_has_said_is_applied(leaf: Path, tmp_path: Path) -> None:
    """The file goes to --decisions beside the workbook; two of them too; the words are told."""
    chart = leaf.parents[1] / "chart.musicxml"
    for n, mark in enumerate(("accent", "fall")):
        (tmp_path / f"{n}.toml").write_text(
            f'[[passage]]\nid = "P1"\nlead = "Alto Sax 1"\ncomment = "number {n}"\n'
            f'lines = [\n  "{n + 1} 2 | | {mark}",\n]\n'
        )
    said = (tmp_path / "0.toml", tmp_path / "1.toml")
    marked = stages.mark_score(stages.read_score(chart, Options()), Options(said=said))
    assert {c.why for c in marked.marking.changes if "decided" in c.why and c.part == 0} == {
        "decided by 0.toml",
        "decided by 1.toml",
    }
    done = CliRunner().invoke(
        app,
        ["mark", str(chart), "-o", str(tmp_path / "m.musicxml")]
        + [word for path in said for word in ("--decisions", str(path))],
    )
    assert done.exit_code == 0, done.output
    again = CliRunner().invoke(
        app, ["mark", str(chart), "--decisions", "a.xlsx", "--decisions", "b.xlsx"]
    )
    assert "Name one" in str(again.exception)


def test_the_page_shows_what_the_run_was_given(tmp_path: Path) -> None:
    """The plan of that run, and not another that lies in the folder."""
    out = tmp_path / "out"
    out.mkdir()
    line = '[[passage]]\nid = "P1"\nlead = "Alto Sax 1"\nlines = ["1 2 | | {}"]\n'
    (out / "chart_plan.toml").write_text(line.format("fall"))
    given = tmp_path / "given.toml"
    given.write_text(line.format("ghost"))
    text = write_leaf(_chart(tmp_path), out, Options(), given).read_text(encoding="utf-8")
    assert '"words": "ghost"' in text
    assert '"words": "fall"' not in text


def test_hostile_titles_do_nothing(browser: Browser, tmp_path: Path) -> None:
    title = "</script><script>document.title='gone'</script><img src=x onerror=alert(1)>"
    page = _opened(browser, write_leaf(_chart(tmp_path, title), tmp_path / "out", Options(), None))
    assert page.title() != "gone"
    assert page.inner_text("h1").startswith("</script>")
    assert page.locator("img").count() == 0
    assert page.wrong == []  # type: ignore[attr-defined]


def test_nothing_is_fetched_and_anybody_can_use_it(browser: Browser, leaf: Path) -> None:
    from axe_playwright_python.sync_playwright import Axe

    text = leaf.read_text(encoding="utf-8")
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:)""", text)
    assert len(text) < 4_000_000
    page = _opened(browser, leaf)
    page.locator(".desktop .note").first.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".told")).to_contain_text("beat 1and")
    found = Axe().run(page).response["violations"]
    serious = [one["id"] for one in found if one["impact"] in ("serious", "critical")]
    assert serious == []


def test_on_a_telephone_the_answer_is_on_the_screen_and_goes_away(
    browser: Browser, leaf: Path
) -> None:
    """A passage may be longer than the screen: what a touched note says must not stand below it."""
    page = _opened(browser, leaf, 360)
    page.set_viewport_size({"width": 360, "height": 500})
    section = page.locator(".leaf").first
    note = section.locator(".narrow .note").nth(2)
    note.scroll_into_view_if_needed()
    note.click()
    asking = section.locator(".asking")
    expect(asking).to_be_in_viewport()
    box = asking.bounding_box()
    assert box
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= 501
    asking.locator(".close").click()
    expect(asking).to_be_hidden()
    assert page.wrong == []  # type: ignore[attr-defined]
