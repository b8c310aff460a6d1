"""The demo's printed pages as pictures, to be compared with those kept here.

    python tests/golden/pages.py      draw all pages anew and keep them (then look at what changed)

Kept in 16 greys at 60 dots an inch: enough to see a lost accent, small enough to keep.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pypdfium2

from sectionprep import stages
from sectionprep.outputs.director.pages import director_pdf, studies_of
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs
from sectionprep.results import Options

if TYPE_CHECKING:
    from PIL.Image import Image

HERE = Path(__file__).resolve().parent
_DEMO = HERE.parent.parent / "demo_chart" / "late_tram_home.musicxml"
_DOTS = 60
_FOOTER = "golden pages"  # no date and no version: the same on every day
_DIFFERENT = 96  # of 255: less is the renderer's own smoothing
FEW = 3  # dots that may differ on a page


def draw_pages(folder: Path) -> dict[str, Image]:
    """Every page of the demo's parts and of the director's pages, by name."""
    marked = stages.mark_score(stages.read_score(_DEMO, Options()), Options())
    again = marked.again
    jobs = part_jobs(
        Basis.of_score(again, marked.plan),
        folder,
        SheetStyle(),
        footer=_FOOTER,
    )
    pages: dict[str, Image] = {}
    for report in draw_all(jobs):
        pages.update(pictures(report.path.read_bytes(), report.path.stem))
    director = director_pdf(marked, studies_of(marked), paper="letter", footer=_FOOTER)
    pages.update(pictures(director.pdf, "director"))
    return pages


def pictures(pdf: bytes, stem: str) -> dict[str, Image]:
    """The pages of a PDF as grey pictures."""
    document = pypdfium2.PdfDocument(pdf)
    found = {
        f"{stem}-{n}": page.render(scale=_DOTS / 72)
        .to_pil()
        .convert("L")
        .point(lambda v: v // 16 * 17)
        for n, page in enumerate(document, start=1)
    }
    document.close()
    return found


def differing_dots(a: Image, b: Image) -> int:
    """How many dots differ plainly; all of them when the pages differ in size."""
    from PIL import ImageChops

    if a.size != b.size:
        return a.size[0] * a.size[1]
    return sum(ImageChops.difference(a, b).histogram()[_DIFFERENT:])


def main() -> None:
    """Keep all pages."""
    import tempfile

    for old in HERE.glob("*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as folder:
        for name, picture in draw_pages(Path(folder)).items():
            picture.convert("P", palette=1, colors=16).save(
                HERE / f"{name}.png", optimize=True, bits=4
            )
    print(f"{len(list(HERE.glob('*.png')))} pages kept in {HERE}")


if __name__ == "__main__":
    sys.exit(main())
