"""The application under test, on the demo chart in a folder of its own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from review_page import Page, open_page

from sectionprep.apart import Apart


@pytest.fixture(scope="session")
def apart() -> Iterator[Apart]:
    with Apart(workers=1) as one:
        yield one


@pytest.fixture
def page(saxes_path: Path, tmp_path: Path, apart: Apart) -> Iterator[Page]:
    """The demo's saxes up to letter C under review, in a folder of their own: P1 in octaves, and
    P2, a soli."""
    with _opened(saxes_path, tmp_path, apart) as one:
        yield one


@pytest.fixture
def demo_page(demo_path: Path, tmp_path: Path, apart: Apart) -> Iterator[Page]:
    """The whole demo chart."""
    with _opened(demo_path, tmp_path, apart) as one:
        yield one


@contextmanager
def _opened(original: Path, folder: Path, apart: Apart) -> Iterator[Page]:
    chart = folder / original.name
    chart.write_bytes(original.read_bytes())
    with open_page(chart, apart) as one:
        yield one
