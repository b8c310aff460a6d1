"""Nobody else gets in, and nothing that comes in can hurt.

What a stranger's page in the same browser can try is published: OWASP Cheat Sheet Series,
"Cross-Site Request Forgery Prevention" (Origin and SameSite), "Content Security Policy"; W3C
Content Security Policy Level 3; RFC 6265bis (SameSite); RFC 9110, 15.5.20 (421).
"""

from __future__ import annotations

import random
import socket
import string
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import escape

import httpx
import pytest
from review_page import KEY, Page, open_page, start

from sectionprep.apart import Apart


@pytest.fixture(scope="module")
def page(demo_path: Path, tmp_path_factory: pytest.TempPathFactory, apart: Apart) -> Iterator[Page]:
    """One for all: nothing here is decided."""
    chart = tmp_path_factory.mktemp("door") / "chart.musicxml"
    chart.write_bytes(demo_path.read_bytes())
    with open_page(chart, apart) as one:
        yield one


EVERYWHERE = ["/", "/passage/P1", "/passage/P1/drawing", "/file/page.css"]


def test_the_key_becomes_a_cookie_that_scripts_and_other_sites_never_see(page: Page) -> None:
    answer = page.stranger().get(f"/open?key={KEY}")
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie


@pytest.mark.parametrize("address", EVERYWHERE)
def test_without_the_key_nothing_is_shown(page: Page, address: str) -> None:
    stranger = page.stranger()
    for headers in (
        {},
        {"cookie": f"sectionprep-review-{page.host[10:]}=guess"},
        {"cookie": "a b=;;"},
    ):
        answer = stranger.get(address, headers=headers)
        assert answer.status_code == 403
        assert "Late Tram" not in answer.text
    assert stranger.get("/open?key=wrong").status_code == 403
    assert stranger.get("/open").status_code == 403


@pytest.mark.parametrize("address", EVERYWHERE)
def test_another_host_name_for_this_machine_is_refused(page: Page, address: str) -> None:
    for host in ("evil.example", "evil.example:8000", "127.0.0.1:9000", "127.0.0.1", "x"):
        assert page.client.get(address, headers={"host": host}).status_code == 421


def test_another_sites_page_can_neither_read_nor_decide(page: Page) -> None:
    for origin in ("http://evil.example", "null", f"https://{page.host}", "http://127.0.0.1:9000"):
        answer = page.client.post("/decide", json={}, headers={"origin": origin})
        assert answer.status_code == 403
    from_there = {"sec-fetch-site": "cross-site"}
    assert page.client.get("/", headers=from_there).status_code == 403
    nobody = page.client.build_request("POST", "/decide", json={})
    del nobody.headers["origin"]
    assert page.client.send(nobody).status_code == 403


@pytest.mark.parametrize("address", EVERYWHERE)
def test_every_answer_forbids_foreign_scripts_frames_and_guessing(page: Page, address: str) -> None:
    headers = page.client.get(address).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert "access-control-allow-origin" not in headers


def test_pages_need_nothing_that_the_policy_forbids(page: Page) -> None:
    for address in ("/", "/passage/P1"):
        text = page.client.get(address).text
        assert "style=" not in text
        assert "onclick" not in text
        assert "http://" not in text.replace('xmlns="http://www.w3.org', "")
        for script in text.split("<script")[1:]:
            assert 'src="/file/' in script or 'type="application/json"' in script.partition(">")[0]


@pytest.mark.parametrize(
    "path",
    ["../pyproject.toml", "..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/etc/passwd",
     "page.css/../base.html", "base.html", "/etc/passwd", "page.css%00.html",
     "..\\..\\x", "CON", "."],
)  # fmt: skip
def test_no_path_reaches_the_disk(page: Page, path: str) -> None:
    for room in ("file", "passage"):
        answer = page.client.get(f"/{room}/{path}")
        assert answer.status_code in (404, 400)
        assert "root:" not in answer.text
        assert "[project]" not in answer.text


def test_what_is_too_large_is_refused_unread(page: Page) -> None:
    assert page.client.get("/?" + "x" * 3000).status_code == 414
    assert page.client.post("/decide", content=b"x" * 300_000).status_code in (413, 415)
    large = {"content-type": "application/json"}
    assert page.client.post("/decide", content=b" " * 300_000, headers=large).status_code == 413


HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}\u202e</title>'


def test_titles_and_names_are_text_and_nothing_else(
    demo_path: Path, tmp_path: Path, apart: Apart
) -> None:
    text, bad = demo_path.read_text(encoding="utf-8"), escape(HOSTILE)
    for word in ("Late Tram Home", "Alto Sax 1", "A. Sx. 1", "Trumpet 1"):
        assert word in text
        text = text.replace(word, f"{word} {bad}")
    chart = tmp_path / "chart.musicxml"
    chart.write_text(text, encoding="utf-8")
    with open_page(chart, apart) as page:
        shown = [page.client.get("/").text]
        for name in page.review.passages:
            shown.append(page.client.get(f"/passage/{name}").text)
            drawn = page.client.get(f"/passage/{name}/drawing?parts=all").json()
            assert not drawn["failed"]
            shown += drawn["lines"]
    for html in shown:
        assert "<script>" not in html
        assert "<img" not in html
        assert "49" not in html.partition("Late Tram Home")[2][:80]


def _bad_request(dice: random.Random) -> tuple[str, str, dict[str, str], bytes]:
    letters = string.ascii_letters + string.digits + "%./?&=#;:{}[]\"'<>\\ \x00\x7fé"
    word = "".join(dice.choices(letters, k=dice.randint(0, 60)))
    address = dice.choice(
        [f"/{word}", f"/passage/{word}", f"/passage/P1/{word}", f"/file/{word}",
         f"/passage/P1?width={word}", f"/passage/P1/drawing?pitch={word}&parts={word}",
         f"/sound/P1/{word}?tempo={word}", "/decide", "/undo", "/redo", f"/events?since={word}",
         f"/drawing/{word}", "/settle", "/finish", "/hear"]
    )  # fmt: skip
    body = dice.choice(
        [b"", b"{", b"[]", b"null", b"1e999", word.encode(), b'{"passage": "P1"}', b"[" * 5000,
         b'{"passage": "P1", "tick": "x", "marks": 3}', b'{"version": -1, "passage": ["P1"]}',
         b'{"passage":"P1","tick":1e400,"marks":["accent"],"version":1}', b"\xff\xfe\x00"]
    )  # fmt: skip
    headers = {"content-type": dice.choice(["application/json", "text/plain", word or "x"])}
    headers = {k: "".join(c for c in v if "!" <= c < "\x7f") or "x" for k, v in headers.items()}
    return dice.choice(["GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS"]), address, headers, body


def test_two_hundred_bad_requests_break_nothing_and_write_nothing(page: Page) -> None:
    before = page.files
    dice = random.Random(20)
    for _ in range(200):
        method, address, headers, body = _bad_request(dice)
        try:
            answer = page.client.request(method, address, headers=headers, content=body)
        except (httpx.InvalidURL, ValueError):  # the client itself refuses to say that
            continue
        assert answer.status_code < 500, (method, address, body, answer.text)
    assert page.files == before


def test_the_command_listens_on_this_machine_alone_and_stops_cleanly(
    demo_path: Path, tmp_path: Path
) -> None:
    chart = tmp_path / "chart.musicxml"
    chart.write_bytes(demo_path.read_bytes())
    run = start(chart)
    try:
        assert run.base.startswith("http://127.0.0.1:")
        port = int(run.base.rpartition(":")[2])
        with socket.create_connection(("127.0.0.1", port), timeout=10) as line:
            line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
            assert b"421" in line.recv(100)
    finally:
        code, said = run.stop()
    assert code == 0, said
    assert "Traceback" not in said
    assert sorted(f.name for f in tmp_path.iterdir()) == ["chart.musicxml"]


def test_a_port_that_is_taken_is_said(demo_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "-m", "sectionprep", "review", demo_path, "--no-open",
             "--port", str(port)],
            capture_output=True, text=True, timeout=60,
        )  # fmt: skip
    assert done.returncode == 5
    assert str(port) in done.stderr
    assert "--port" in done.stderr


def test_in_the_house_network_others_look_and_listen_and_decide_nothing(
    demo_path: Path, tmp_path: Path
) -> None:
    chart = tmp_path / "chart.musicxml"
    chart.write_bytes(demo_path.read_bytes())
    run = start(chart, "--lan")
    try:
        assert run.process.stdout is not None
        said = run.process.stdout.readline()
        assert "decide nothing" in said
        assert "not encrypted" in said
        theirs = said.split()[-1]
        base = theirs.partition("/open")[0]
        with httpx.Client(base_url=base, headers={"origin": base}, timeout=30) as other:
            assert other.get(theirs, follow_redirects=True).status_code == 200
            page = other.get("/passage/P2").text
            assert "class=reader" in page
            assert other.get("/passage/P2/sound").status_code == 200
            wish = {"passage": "P2", "tick": 0, "verb": "plain", "version": 1}
            for address in ("/decide", "/undo", "/redo", "/finish"):
                assert other.post(address, json=wish).status_code == 403
        mine = run.address.partition("key=")[2]
        if not base.startswith("http://127."):
            with httpx.Client(base_url=base, timeout=30) as other:
                other.get(f"/open?key={mine}")  # the director's key opens nothing from elsewhere
                assert other.get("/").status_code == 403
        assert sorted(f.name for f in tmp_path.iterdir()) == ["chart.musicxml"]
    finally:
        run.stop()
