"""A folder of charts: what is unsettled in each, and each on a page of its own."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import httpx
from review_page import LATEST, start
from wind_score import wind_score

from sectionprep.results import Options
from sectionprep.review.shelf import is_book


def rows(client: httpx.Client) -> list[dict[str, Any]]:
    for _ in range(600):
        found = list(client.get("/charts").json())
        if all(row["ready"] for row in found):
            return found
        time.sleep(0.1)
    raise AssertionError(found)


def test_the_list_says_what_is_unsettled_and_opens_each_chart(
    demo_path: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "book"
    folder.mkdir()
    (folder / "tram.musicxml").write_bytes(demo_path.read_bytes())
    (folder / "harbour.musicxml").write_bytes(wind_score())
    (folder / "broken.musicxml").write_text("<score-partwise><part>")
    run = start(folder)
    try:
        with httpx.Client(base_url=run.base, timeout=60, follow_redirects=True) as client:
            client.get(run.address)
            page = client.get("/")
            assert "3 charts" in page.text
            found = {row["name"]: row for row in rows(client)}
            assert found["tram.musicxml"]["title"] == "Late Tram Home"
            assert found["tram.musicxml"]["open"] >= 2
            assert found["tram.musicxml"]["decided"] == 0
            assert found["broken.musicxml"]["failed"]
            number = found["tram.musicxml"]["number"]
            chart = client.get(f"/chart/{number}")
            assert chart.status_code == 200
            assert "Late Tram Home" in chart.text
            assert f'href="{run.base}/"' in chart.text  # the way back
            theirs = f"http://{chart.url.host}:{chart.url.port}"
            drawn = client.get(f"{theirs}/passage/P3/drawing").json()
            wish = {"passage": "P3", "tick": drawn["notes"][4]["tick"], "verb": "mark",
                    "mark": "accent", "version": LATEST}  # fmt: skip
            done = client.post(f"{theirs}/decide", json=wish, headers={"origin": theirs})
            assert done.status_code == 200
            assert (folder / "tram_prepared" / "tram_plan.toml").exists()
            again = {row["name"]: row for row in rows(client)}
            assert again["tram.musicxml"]["decided"] == 1
            broken = client.get(f"/chart/{found['broken.musicxml']['number']}")
            assert broken.status_code == 422
            assert client.get("/chart/99").status_code == 404
    finally:
        code, said = run.stop()
    assert code == 0, said
    assert "Traceback" not in said
    time.sleep(0.3)
    try:
        httpx.get(theirs, timeout=2)
        raise AssertionError("the chart's page outlived the book's")
    except httpx.TransportError:
        pass


def test_a_folder_of_parts_is_one_chart(demo_path: Path, tmp_path: Path) -> None:
    from build import part_xml, score_xml

    for n in (1, 2):
        part = score_xml({f"Alto Sax {n}": part_xml("C5/4 D5/4 E5/4 F5/4")})
        (tmp_path / f"part{n}.musicxml").write_bytes(part)
    assert not is_book(tmp_path, Options())
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "a.musicxml").write_bytes(demo_path.read_bytes())
    assert is_book(tmp_path / "more", Options())
    assert not is_book(demo_path, Options())
