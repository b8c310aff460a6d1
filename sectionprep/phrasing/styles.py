"""Phrasing styles, read from shared/styles.toml."""

from __future__ import annotations

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart
from sectionprep.music.wording import any_of
from sectionprep.settings import load_toml
from sectionprep.shapes import File, rows


class Style(File, frozen=True, kw_only=True):
    """One style; the fields are explained at the top of shared/styles.toml."""

    name: str
    words: tuple[str, ...]
    hints: tuple[str, ...]
    unit: str
    tempo: int
    swing: bool
    short_quarters: bool
    off_beat: float
    density: float
    triplet_slurs: bool
    ghosts: bool
    cutoffs: str
    release: str
    held_off_beats: bool
    slow_slurs: bool
    phrase_slurs: bool
    tonguing_slurs: bool
    soft: str

    @property
    def sits_on_the_beat(self) -> bool:
        """The beat is stronger than what comes between, as in a shuffle."""
        return self.off_beat < 0


def styles() -> dict[str, Style]:
    """All styles by name."""
    return rows(load_toml("shared/styles.toml"), Style, "shared/styles.toml")


def _named(table: dict[str, Style], said: str) -> Style:
    word = said.strip().casefold()
    found = table.get(word) or next((s for s in table.values() if word in s.words), None)
    if found is None:
        raise BadArgument(
            f"there is no style {said!r}.", remedy=f"Choose one of: {', '.join(table)}."
        )
    return found


_NOT_A_BAND = frozenset({"strings", "voices", "woodwinds"})
_FAST = 220.0  # quarter notes a minute from which swing is phrased as up-tempo; judgement
_SLOW = 84.0  # below this an unnamed style is phrased as a ballad; judgement


def choose_style(chart: Chart, named: str | None = None) -> tuple[Style, str]:
    """The style of a chart and why: by name, else by its words, its swing sign and its tempo."""
    table = styles()
    if named:
        return _named(table, named), "chosen by the director"
    said = chart.style_words.lower()
    hits = [
        (word, style)
        for style in table.values()
        for word in style.words
        if any_of([word]).search(said)
    ]
    hits = hits or [
        (word, style)
        for style in table.values()
        for word in style.hints
        if any_of([word]).search(said)
    ]
    if hits:
        word, style = max(hits, key=lambda hit: len(hit[0]))
        if style.name == "medium-swing" and chart.tempo and chart.tempo >= _FAST:
            return table["up-tempo"], f'"{word}" at {chart.tempo:g} beats per minute'
        return style, f'the words "{word}"'
    if chart.swing is False:
        return table["straight"], "the chart says straight"
    if chart.tempo and chart.tempo >= _FAST:
        return table["up-tempo"], f"{chart.tempo:g} beats per minute"
    if chart.tempo and chart.tempo <= _SLOW:
        return table["ballad"], f"{chart.tempo:g} beats per minute"
    sections = [part.chair.section for part in chart.parts if part.chair.sure]
    if sections and sum(section in _NOT_A_BAND for section in sections) * 2 > len(chart.parts):
        return table["concert"], "NO SWING WORD AND NO BAND: marked plainly; choose with --style"
    return table["medium-swing"], "nothing in the chart says otherwise"
