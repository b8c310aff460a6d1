"""What is heard is what is planned, and the cursor stands where the sound is."""

from __future__ import annotations

import io
import time
import wave
from typing import Any

import numpy as np
import pytest
from review_page import LATEST, Page


def sound(page: Page, name: str, **wish: Any) -> tuple[np.ndarray[Any, Any], int]:
    answer = page.client.get(f"/passage/{name}/sound", params=wish)
    assert answer.status_code == 200, answer.text
    with wave.open(io.BytesIO(answer.content)) as file:
        data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(float)
        return data, file.getframerate()


def times(page: Page, name: str, **wish: Any) -> dict[str, Any]:
    return dict(page.client.get(f"/passage/{name}/times", params=wish).json())


def test_every_note_of_the_lead_begins_where_the_cursor_says(page: Page) -> None:
    data, rate = sound(page, "P2", how="flat")
    said = times(page, "P2", how="flat")
    silent = np.abs(data) < 20
    after_rest = [
        begin
        for (_, _, before), (_, begin, _) in zip(said["notes"], said["notes"][1:], strict=False)
        if begin - before > 0.15
    ]
    assert after_rest
    for begin in after_rest:
        assert silent[round((begin - 0.05) * rate) : round((begin - 0.01) * rate)].all()
        assert not silent[round((begin + 0.01) * rate) : round((begin + 0.06) * rate)].all()


@pytest.mark.parametrize("tempo", [60, 85, 110])
def test_a_tempo_is_a_tempo(page: Page, tempo: int) -> None:
    at_full, rate = sound(page, "P2")
    slower, _ = sound(page, "P2", tempo=tempo)
    tail = 0.4 * rate  # of the last note, which is no slower
    assert (len(slower) - tail) / (len(at_full) - tail) == pytest.approx(100 / tempo, rel=0.01)
    bars = times(page, "P2", tempo=tempo)["bars"]
    assert bars[0][1] == "18"
    assert bars[-1][3] * rate <= len(slower)


def test_flat_shaped_and_readings_sound_unlike(page: Page) -> None:
    heard = {}
    for how in ("flat", "shaped", "plainer", "earlier", "more forward"):
        heard[how] = sound(page, "P2", how=how)[0]
    names = list(heard)
    for n, one in enumerate(names):
        for other in names[n + 1 :]:
            assert np.abs(heard[one] - heard[other]).max() > 300, (one, other)


def test_the_section_is_more_than_the_lead_and_a_click_is_a_click(page: Page) -> None:
    lead, rate = sound(page, "P2")
    section, _ = sound(page, "P2", all=1)
    apart = section[: len(lead)] / np.std(section) - lead / np.std(lead)
    assert np.abs(apart).mean() > 0.3  # as loud as each other, but not the same
    clicked, _ = sound(page, "P2", click=1)
    first = times(page, "P2")["bars"][1][2]
    at = slice(round(first * rate), round((first + 0.02) * rate))
    assert np.abs(clicked[at] - lead[at]).max() > 1000


def test_a_decision_is_heard(page: Page) -> None:
    before, rate = sound(page, "P2")
    note = page.client.get("/passage/P2/drawing").json()["notes"][4]
    wish = {"passage": "P2", "tick": note["tick"], "verb": "mark", "mark": "strong-accent"}
    page.client.post("/decide", json=wish | {"version": LATEST})
    after, _ = sound(page, "P2")
    _, begin, _ = times(page, "P2")["notes"][4]
    at = slice(round((begin + 0.02) * rate), round((begin + 0.08) * rate))
    assert np.square(after[at]).mean() > 2 * np.square(before[at]).mean()


def test_sound_is_ready_in_less_than_a_third_of_a_second_once_asked_ahead(page: Page) -> None:
    name = max(page.review.passages, key=lambda n: len(page.review.passages[n].parts))
    sound(page, name, all=1)
    began = time.perf_counter()
    sound(page, name, all=1)
    assert time.perf_counter() - began < 0.3


@pytest.mark.parametrize(
    "wish", [{"how": "loud"}, {"tempo": "59"}, {"tempo": "1e9"}, {"all": "2"}, {"click": "yes"}]
)
def test_what_cannot_be_heard_is_refused(page: Page, wish: dict[str, str]) -> None:
    assert page.client.get("/passage/P2/sound", params=wish).status_code == 400
