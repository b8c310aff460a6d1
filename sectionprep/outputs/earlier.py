"""What an earlier run left in its folder, to go on from with a new version of the chart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from sectionprep.errors import UnreadableFile
from sectionprep.outputs.edited_files import is_edited_plan
from sectionprep.outputs.folder import files_of


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierRun:
    """The folder of a run. workbook: with what was typed; plan: only if a person has edited it;
    marked: the marked score; None for what is not there."""

    folder: Path
    workbook: Path | None
    plan: Path | None
    marked: Path | None

    @property
    def sheets(self) -> Path:
        """The folder of its part sheets."""
        return self.folder / "parts"


def earlier_run(folder: Path) -> EarlierRun:
    """The run of `prepare` that wrote a folder. Raises UnreadableFile where none did."""
    files = [folder / name for name in files_of(folder, "prepare")]
    if not files:
        raise UnreadableFile(
            "holds no earlier run of prepare.",
            where=str(folder),
            remedy="Name the folder that was written for the older version.",
        )
    plan = _one(files, "_plan.toml")
    marked = [_one(files, f"_marked{ending}") for ending in (".musicxml", ".xml", ".mxl")]
    parts = next((f.parent for f in files if f.parent.name.endswith("_marked")), None)
    return EarlierRun(
        folder=folder,
        workbook=_one(files, "_rehearsal.xlsx"),
        plan=plan if plan is not None and is_edited_plan(plan) else None,
        marked=next((path for path in marked if path is not None), parts),
    )


def _one(files: Iterable[Path], ending: str) -> Path | None:
    return next((path for path in files if path.name.endswith(ending) and path.exists()), None)
