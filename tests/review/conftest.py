"""The application under test, on the demo chart in a folder of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from review_page import Page, open_page

from sectionprep.apart import Apart


@pytest.fixture(scope="session")
def apart() -> Iterator[Apart]:
    with Apart(workers=1) as one:
        yield one


@pytest.fixture
def page(demo_path: Path, tmp_path: Path, apart: Apart) -> Iterator[Page]:
    """The demo chart under review, in a folder of its own."""
    chart = tmp_path / demo_path.name
    chart.write_bytes(demo_path.read_bytes())
    with open_page(chart, apart) as one:
        yield one
