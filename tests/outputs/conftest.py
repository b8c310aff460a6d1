"""What several tests of outputs look at or listen to, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from sectionprep.outputs.audition import Wish, write_audition
from sectionprep.results import Marked


@pytest.fixture(scope="session")
def heard(demo_marked: Marked, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as `audition` writes it unless asked for less: all passages, and the whole chart
    flat and shaped."""
    folder = tmp_path_factory.mktemp("heard")
    score = demo_marked.score
    write_audition(score.chart, score.together, demo_marked.plan, folder, Wish())
    return folder
