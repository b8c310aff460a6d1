"""A folder of results: there whole or not at all, and holding what one chart's runs have made.

A run makes everything in a folder of its own inside the destination, its stage. When all is there,
a journal says what goes where, and the files change places one by one; what they replace waits in
the stage. A run that is killed in between is finished by the next one. A file that cannot be
replaced brings the whole folder back to what it was.

The manifest of a folder says which chart it belongs to, and what each file of ours was when it was
written: only such files are ever replaced or taken away.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from sectionprep.errors import DestinationError
from sectionprep.outputs.files import failed, is_one, refuse_input, unless_forced
from sectionprep.outputs.lock import let_go, take_lock
from sectionprep.version import __version__

MANIFEST = ".sectionprep-folder.json"
_STAGE = ".sectionprep-making-"
_JOURNAL = "journal.json"
_NEW, _OLD = "new", "old"  # folders of a stage: what is made, and what it replaces
_ELSEWHERE = "Choose another folder with -o, or replace it with --force."


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Who writes into a folder. chart: the file or folder that was read; title: of the chart; kind:
    of the run, whose files are kept apart from those of others ("" for a folder without a
    manifest); reads: what else is read; typed_in: names of files that a person may have typed into
    and whose typing is carried over; whole: the run makes all files of its kind; force: replace
    what is not ours as well; say: is told what a person should know."""

    chart: Path
    title: str = ""
    kind: str = ""
    reads: Collection[Path] = ()
    typed_in: Collection[str] = ()
    whole: bool = True
    force: bool = False
    say: Callable[[str], None] = lambda _: None


@dataclass(slots=True)
class _Manifest:
    """chart: name of the chart's file; title: of the chart; place: where the file lies, as seen
    from the folder; made: for each kind of run, file -> checksum."""

    chart: str = ""
    title: str = ""
    place: str = ""
    made: dict[str, dict[str, str]] = field(default_factory=dict)

    def ours(self) -> dict[str, str]:
        """Every file of ours and its checksum."""
        return {name: known for files in self.made.values() for name, known in files.items()}


@contextmanager
def staged(folder: Path, run: Run) -> Iterator[Path]:
    """A fresh folder to fill; when the block ends well its files take their places in `folder`,
    else it vanishes. Raises DestinationError where another run writes there, the folder is another
    chart's, or a file would be lost."""
    fresh = not folder.exists()
    try:
        if folder.exists() and not folder.is_dir():
            raise DestinationError(
                "is a file, not a folder.", where=str(folder), remedy="Choose a folder with -o."
            )
        folder.mkdir(parents=True, exist_ok=True)
        lock = take_lock(folder)
    except OSError as error:
        raise failed(folder, error) from error
    stage: Path | None = None
    try:
        _settle_stages(folder)
        manifest = _read_manifest(folder)
        if run.kind:
            _refuse_others(folder, manifest, run)
        stage = Path(tempfile.mkdtemp(dir=folder, prefix=_STAGE))
        (stage / _NEW).mkdir()
        yield stage / _NEW
        _commit(stage, folder, manifest, run)
        _settle(stage, folder)
    except OSError as error:
        raise failed(folder, error) from error
    finally:
        if stage is not None and not (stage / _JOURNAL).exists():
            shutil.rmtree(stage, ignore_errors=True)
        let_go(lock, folder)
        if fresh:
            with suppress(OSError):  # nothing came into it: it goes again
                folder.rmdir()


def finish_killed(folder: Path) -> None:
    """Put into place what a run has left that was killed, before anybody looks at what stands in
    the folder. What cannot be put there, or is another run's that lives, is said by `staged` to who
    wants to write."""
    if not any(folder.glob(f"{_STAGE}*/{_JOURNAL}")):
        return
    with suppress(OSError, DestinationError):
        lock = take_lock(folder)
        try:
            _settle_stages(folder)
        finally:
            let_go(lock, folder)


def _read_manifest(folder: Path) -> _Manifest:
    """What we know of a folder; a manifest that cannot be read makes no file ours. Raises
    DestinationError where something else bears its name: a pipe would be waited for."""
    path = folder / MANIFEST
    if os.path.lexists(path) and not path.is_file():
        raise DestinationError("is no ordinary file.", where=str(path), remedy=_ELSEWHERE)
    try:
        data = json.loads(path.read_bytes())
        made = {
            str(kind): {str(name): str(known) for name, known in files.items() if _inside(name)}
            for kind, files in data["made"].items()
        }
        title, place = str(data.get("title", "")), str(data.get("place", ""))
        return _Manifest(str(data["chart"]), title, place, made)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return _Manifest()


def _refuse_others(folder: Path, manifest: _Manifest, run: Run) -> None:
    """Before any work is done: another chart's folder, and files of ours edited since."""
    if run.force:
        return
    if not _is_of(folder, manifest, run):
        title = f" ({manifest.title})" if manifest.title else ""
        raise DestinationError(
            f"holds what was made from {manifest.chart}{title}.",
            where=str(folder),
            remedy=_ELSEWHERE,
        )
    for name, known in manifest.made.get(run.kind, {}).items():
        path = folder / name
        if name not in run.typed_in and path.is_file() and _sum(path) != known:
            _foreign(path, "was changed since it was written.", run)


def _is_of(folder: Path, manifest: _Manifest, run: Run) -> bool:
    """True where a folder is nobody's yet, or the same chart's: charts of one name are the same
    where they lie in the same place, or have the same title (a new version came from elsewhere)."""
    if not manifest.chart:
        return True
    if manifest.chart != run.chart.name:
        return False
    same_title = not (manifest.title and run.title) or manifest.title == run.title
    return same_title or not manifest.place or manifest.place == _place(folder, run)


def _place(folder: Path, run: Run) -> str:
    """Where a chart lies as seen from a folder of results, which may be moved together."""
    try:
        return os.path.relpath(run.chart.resolve(), folder.resolve())
    except ValueError:  # on another drive
        return str(run.chart.resolve())


def refuse_foreign(folder: Path, names: Iterable[str], run: Run) -> None:
    """Before long work: files of these names must be ours, and as we wrote them. Raises
    DestinationError."""
    finish_killed(folder)
    manifest = _read_manifest(folder)
    _refuse_others(folder, manifest, run)
    for name in names:
        if os.path.lexists(folder / name):
            _refuse_foreign(folder / name, folder, name, manifest.ours(), run)


def _commit(stage: Path, folder: Path, manifest: _Manifest, run: Run) -> None:
    """Write down what goes where. From here on the run will be whole."""
    made = stage / _NEW
    names = sorted(str(p.relative_to(made)) for p in made.rglob("*") if p.is_file())
    sums = {name: _sum(made / name) for name in names}
    ours = manifest.ours()
    put = []
    for name in names:
        target = folder / name
        if name not in run.typed_in:
            refuse_input(target, (run.chart, *run.reads))
        if not os.path.lexists(target):
            put.append(name)
            continue
        if run.kind:
            _refuse_foreign(target, folder, name, ours, run)
        if not target.is_file() or _sum(target) != sums[name]:
            put.append(name)  # what came out the same stays as it is
    earlier = manifest.made.get(run.kind, {})
    drop = [name for name in earlier if name not in sums] if run.kind and run.whole else []
    drop = [name for name in drop if name not in run.typed_in and not _is_read(folder / name, run)]
    drop = [name for name in drop if _is_ours(folder / name, earlier[name])]
    for name in drop:
        run.say(f"{folder / name} was of an earlier run and has no successor: taken away.")
    if run.kind:
        kept = {} if run.whole else {n: k for n, k in earlier.items() if (folder / n).exists()}
        others = manifest.made if _is_of(folder, manifest, run) else {}
        body = {
            "sectionprep": __version__,
            "chart": run.chart.name,
            "title": run.title,
            "place": _place(folder, run),
            "made": others | {run.kind: kept | sums},
        }
        (made / MANIFEST).write_text(json.dumps(body, indent=0), "utf-8")
        put.append(MANIFEST)
    half = stage / f"{_JOURNAL}.half"
    with half.open("w", encoding="utf-8") as stream:
        json.dump({"put": put, "drop": drop}, stream)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(half, stage / _JOURNAL)


def _refuse_foreign(target: Path, folder: Path, name: str, ours: dict[str, str], run: Run) -> None:
    """A file that stands where ours is to go must be ours."""
    if not target.parent.resolve().is_relative_to(folder.resolve()) or target.is_symlink():
        _foreign(target, "is a link that leads elsewhere.", run)
    elif not target.is_file():
        raise DestinationError("is no ordinary file.", where=str(target), remedy=_ELSEWHERE)
    elif name in run.typed_in:
        return  # what a person typed there is carried over
    elif name not in ours:
        _foreign(target, "stands there already and was not written by this program.", run)
    elif _sum(target) != ours[name]:
        _foreign(target, "was changed since it was written.", run)


def _foreign(path: Path, what: str, run: Run) -> None:
    with unless_forced(run.force, run.say):
        raise DestinationError(what, where=str(path), remedy=_ELSEWHERE)


def _is_read(path: Path, run: Run) -> bool:
    return any(is_one(path, read) for read in (run.chart, *run.reads))


def _is_ours(path: Path, known: str) -> bool:
    return path.is_file() and not path.is_symlink() and _sum(path) == known


def _sum(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _settle_stages(folder: Path) -> None:
    """What runs that were killed have left behind: what was whole is put in its place, all else
    goes. Only the holder of the lock may do this."""
    for stage in sorted(folder.glob(f"{_STAGE}*")):
        if os.path.lexists(stage / _JOURNAL):
            _settle(stage, folder)
        shutil.rmtree(stage, ignore_errors=True)


def _settle(stage: Path, folder: Path) -> None:
    """Let the files of a stage change places with those in the folder, from wherever an earlier try
    stopped. Where one cannot, all go back. Raises DestinationError."""
    journal = _read_journal(stage)
    if journal is None:
        _give_back(stage, folder)
        return
    try:
        for name in journal["put"]:
            if (stage / _NEW / name).exists():
                _step_aside(stage, folder, name)
                _rename(stage / _NEW / name, folder / name)
        for name in journal["drop"]:
            _step_aside(stage, folder, name)
    except OSError as error:
        _go_back(stage, folder, journal)
        raise DestinationError(
            f"cannot be replaced ({error.strerror or error}).",
            where=str(error.filename2 or error.filename or folder),
            remedy="Close it where it is open and run again; everything there is as it was.",
        ) from error
    finally:
        if not _half_way(stage, folder, journal):
            (stage / _JOURNAL).unlink(missing_ok=True)
    _remove_empty(folder, journal["drop"])


def _read_journal(stage: Path) -> dict[str, list[str]] | None:
    """What goes where; None for a journal that says nothing, or names places outside the folder."""
    path = stage / _JOURNAL
    try:
        data = json.loads(path.read_bytes()) if path.is_file() else None
        found = {what: list(data[what]) for what in ("put", "drop")} if data else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    whole = found is not None and all(map(_inside, (*found["put"], *found["drop"])))
    return found if whole else None


def _inside(name: object) -> bool:
    """True for a name that leads to a place inside the folder."""
    path = PurePath(name) if isinstance(name, str) else PurePath()
    return bool(path.parts) and not path.is_absolute() and ".." not in path.parts


def _give_back(stage: Path, folder: Path) -> None:
    """Without a journal: whatever was moved aside goes back to its place, so that nothing of the
    old set is lost."""
    old = stage / _OLD
    for path in sorted(old.rglob("*")):
        if path.is_symlink() or path.is_file():
            _rename(path, folder / path.relative_to(old))


def _step_aside(stage: Path, folder: Path, name: str) -> None:
    """What stands in a place goes to the stage, unless an earlier try has put it there."""
    if os.path.lexists(folder / name) and not os.path.lexists(stage / _OLD / name):
        _rename(folder / name, stage / _OLD / name)


def _go_back(stage: Path, folder: Path, journal: dict[str, list[str]]) -> None:
    """Undo every change of places."""
    for name in [*journal["put"], *journal["drop"]]:
        new, old, place = stage / _NEW / name, stage / _OLD / name, folder / name
        if name in journal["put"] and not new.exists() and place.exists():
            _rename(place, new)
        if os.path.lexists(old):
            _rename(old, place)


def _half_way(stage: Path, folder: Path, journal: dict[str, list[str]]) -> bool:
    """True where some files are new and some are old: the journal is needed still."""
    new = [name for name in journal["put"] if (stage / _NEW / name).exists()]
    waiting = any(os.path.lexists(stage / _OLD / n) for n in new)
    return waiting or 0 < len(new) < len(journal["put"])


def _rename(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    os.replace(source, target)


def _remove_empty(folder: Path, names: Iterable[str]) -> None:
    """Folders that lost their last file go too."""
    for parent in {(folder / name).parent for name in names} - {folder}:
        with suppress(OSError):
            parent.rmdir()


def files_of(folder: Path, kind: str) -> list[str]:
    """The files that the last run of a kind wrote into a folder; none where it is not ours."""
    finish_killed(folder)
    return sorted(_read_manifest(folder).made.get(kind, {}))


def whole(folder: Path) -> bool:
    """True where every file that we wrote there still stands."""
    files = _read_manifest(folder).ours()
    return bool(files) and all((folder / name).exists() for name in files)
