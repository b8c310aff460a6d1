"""One file for a section leader: every passage to look at and to listen to, without the program or
a network; comments and wishes go back as a small file that `--decisions` takes."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from sectionprep.apart import Apart
from sectionprep.drawing.svg.picture import outlines
from sectionprep.drawing.text import fonts
from sectionprep.outputs.audition.soundfiles import mp3
from sectionprep.outputs.folder import Run, staged
from sectionprep.outputs.names import safe_name, stem_of
from sectionprep.results import Options
from sectionprep.review.decisions import line_for
from sectionprep.review.facts import loudness_facts, notes_facts, passage_facts, readings_facts
from sectionprep.review.paper import Papers
from sectionprep.review.played import sound_of, times
from sectionprep.review.session import Review
from sectionprep.review.shown import shown
from sectionprep.review.sound import FLAT, SHAPED, Take, ways
from sectionprep.review.view import View, stretches
from sectionprep.review.wishes import CHOICES
from sectionprep.settings import data_path
from sectionprep.version import __version__

_WIDTHS = (190, 70)  # millimetres: lines for a desk and for a telephone; judgement
_IDS = re.compile(r'(?<=\bid=")(note\d+)(?=")')


def write_leaf(path: Path, folder: Path, options: Options, plan: Path | None) -> Path:
    """Write CHART_review.html into a results folder; its path. options: as of the run of `prepare`
    that filled the folder; plan: the plan file of that run, which holds what was decided. Raises
    every kind of SectionprepError."""
    stem = safe_name(stem_of(path), "chart")
    place = folder / f"{stem}_review.html"
    with Apart(workers=2) as apart:
        decided = replace(options, plan=plan, decisions=None, said=())
        review = Review(path, folder, decided, apart)
        html = _page(review)
    run = Run(
        chart=path,
        title=review.score.chart.title,
        kind="review page",
        reads=review.score.reads(options),
        force=options.force,
    )
    with staged(folder, run) as stage:
        (stage / place.name).write_text(html, encoding="utf-8")
    return place


def _page(review: Review) -> str:
    glyphs: dict[str, str] = {}
    passages = [
        _passage(review, View(passage=name, stretch=stretch), glyphs)
        for name, passage in review.passages.items()
        for stretch in range(len(stretches(review.score.chart, passage)))
    ]
    chart = review.score.chart
    return Papers().page(
        "leaf.html",
        title=chart.title or "Untitled",
        chart=chart,
        style=review.plan.style,
        passages=passages,
        outlines=outlines(glyphs),
        marks=[{"name": m.name, "says": m.says} for m in CHOICES],
        css=_css(),
        script=data_path("templates/review/leaf.js").read_text(encoding="utf-8"),
        version=__version__,
        file=f"{safe_name(stem_of(review.path), 'chart')}_decisions.toml",
    )


def _passage(review: Review, view: View, glyphs: dict[str, str]) -> dict[str, Any]:
    """A stretch of a passage: its lines at each width, its notes, its sounds."""
    chart, planned = review.score.chart, review.planned(view.passage)
    own = f"{view.passage}-{view.stretch}"
    pictures = []
    for width in _WIDTHS:
        here = replace(view, width=width)
        drawn = shown(review, here)
        if drawn.get("failed"):
            pictures.append({"width": width, "failed": drawn["failed"], "lines": []})
            continue
        glyphs |= review.draw(here).glyphs
        lines = [_IDS.sub(rf"{own}-{width}-\1", line) for line in drawn["lines"]]
        pictures.append({"width": width, "failed": "", "lines": lines})
    notes = [
        {
            "n": one["n"],
            "place": one["place"],
            "pitch": one["pitch"],
            "words": one["words"],
            "why": one["why"],
            "lost": one["lost"],
            "marks": one["marks"],
            "line": line_for(chart, planned, planned.notes[one["n"]], "@")[1].text,
        }
        for one in notes_facts(review, view)
    ]
    return {
        "own": own,
        "facts": passage_facts(review, view.passage, view.stretch),
        "loudness": loudness_facts(review, view.passage),
        "readings": [r for r in readings_facts(review, view.passage) if r["name"]],
        "pictures": pictures,
        "data": {
            "id": view.passage,
            "lead": planned.lead(chart),
            "notes": notes,
            "times": times(review, Take(passage=view.passage, stretch=view.stretch)),
            "sounds": _sounds(review, view),
        },
    }


def _sounds(review: Review, view: View) -> dict[str, str]:
    """The lead flat, shaped and in each reading, and the section as planned, as data that a page
    can play."""
    takes = {way: Take(passage=view.passage, stretch=view.stretch, how=way)
             for way in ways(review, view.passage)}  # fmt: skip
    takes["the section"] = Take(passage=view.passage, stretch=view.stretch, how=SHAPED, whole=True)
    found, planned = {}, review.planned(view.passage)
    for name, take in takes.items():
        sound = base64.b64encode(mp3(sound_of(review, planned, take))).decode("ascii")
        says = {FLAT: "flat", SHAPED: "as planned"}.get(name, name)
        found[says] = f"data:audio/mpeg;base64,{sound}"
    return found


@cache
def _css() -> str:
    """The style of the review page, its fonts inside, and what this page has of its own."""
    style = data_path("templates/review/page.css").read_text(encoding="utf-8")
    faces = {"text": fonts.TEXT, "bold": fonts.BOLD, "italic": fonts.ITALIC}
    for name, face in faces.items():
        style = style.replace(f"/file/{name}.ttf", fonts.web_font(face, fonts.WEB_LETTERS))
    style = style.replace("/file/music.ttf", fonts.web_font(fonts.MUSIC, fonts.WEB_SIGNS))
    return style + data_path("templates/review/leaf.css").read_text(encoding="utf-8")
