"""A book under review: its charts, with what is unsettled in each; each is opened by a page of its
own, in a process of its own."""

from __future__ import annotations

import json
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from sectionprep.apart import Apart, Died
from sectionprep.errors import SectionprepError
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import open_document, tag_of
from sectionprep.outputs.library.summary import charts_in
from sectionprep.outputs.names import stem_of
from sectionprep.outputs.settled import settled_beside
from sectionprep.results import Options
from sectionprep.review.paper import Papers

_OPEN = 4  # charts that are open at a time; the one opened first is closed; judgement
_SCORES = (".musicxml", ".xml", ".mxl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """What the list says of a chart. failed: why it cannot be read."""

    title: str = ""
    passages: int = 0
    decided: int = 0
    open: int = 0
    failed: str = ""


def is_book(path: Path, options: Options) -> bool:
    """True for a folder of charts; False for a chart, and for a folder with a file for each of its
    parts."""
    if not path.is_dir():
        return False
    here = sorted(f for f in path.iterdir() if f.suffix.lower() in _SCORES and f.is_file())
    if not here:
        return True
    try:
        root = open_document(here[0], options.limits).root
    except SectionprepError:
        return True
    return sum(tag_of(element) == "part" for element in root) > 1 or len(here) == 1


def folder_of(path: Path) -> Path:
    """Where `prepare` writes for a chart, when nobody says."""
    return path.with_name(f"{stem_of(path)}_prepared")


def glance(path: Path, options: Options) -> Glance:
    """A chart read, planned, marked and checked, with what was decided about it."""
    from sectionprep.review.facts import open_findings
    from sectionprep.review.session import Review

    try:
        review = Review(path, folder_of(path), options)
        review.findings()
    except SectionprepError as error:
        return Glance(failed=str(error))
    decided = sum(n.decided for plan in review.plan.passages for n in plan.notes)
    return Glance(
        title=_title(review.score.chart, path),
        passages=len(review.passages),
        decided=decided,
        open=len(open_findings(review)),
    )


def _title(chart: Chart, path: Path) -> str:
    return chart.title or path.stem


class Shelf:
    """The charts of a folder. Each is looked at again when it, its plan or what was settled has
    changed."""

    def __init__(self, folder: Path, options: Options, apart: Apart) -> None:
        self.folder, self._options, self._apart = folder, options, apart
        self.charts: Sequence[Path] = charts_in(folder, folder / ".none")
        self._looks: dict[Path, tuple[tuple[float, ...], Future[Glance]]] = {}
        self._pages: OrderedDict[Path, _Page] = OrderedDict()
        self._lock = threading.Lock()
        self.home = ""

    def look(self) -> list[dict[str, Any]]:
        """Every chart with what is known of it now."""
        return [self._row(n, path) for n, path in enumerate(self.charts)]

    def _row(self, n: int, path: Path) -> dict[str, Any]:
        stamp = _stamp(path)
        known = self._looks.get(path)
        if known is None or known[0] != stamp:
            known = (stamp, self._apart.submit(glance, path, self._options))
            self._looks[path] = known
        row: dict[str, Any] = {"number": n, "name": str(path.relative_to(self.folder))}
        if not known[1].done():
            return row | {"ready": False}
        try:
            found = known[1].result()
        except Died as why:
            found = Glance(failed=f"it could not be looked at ({why})")
        return row | {
            "ready": True, "title": found.title, "passages": found.passages,
            "decided": found.decided, "open": found.open, "failed": found.failed,
        }  # fmt: skip

    def page(self, n: int) -> str:
        """Address of a chart's own page. Raises SectionprepError."""
        path = self.charts[n]
        with self._lock:
            page = self._pages.get(path)
            if page is None or not page.runs:
                page = self._pages[path] = _Page(path, self._options, self.home)
            self._pages.move_to_end(path)
            while len(self._pages) > _OPEN:
                self._pages.popitem(last=False)[1].close()
        return page.address

    def close(self) -> None:
        """Close all pages; what was decided is in the plan files."""
        for page in self._pages.values():
            page.close()


def _stamp(path: Path) -> tuple[float, ...]:
    plan = folder_of(path) / f"{stem_of(path)}_plan.toml"
    times = []
    for file in (path, plan, settled_beside(plan)):
        try:
            times.append(file.stat().st_mtime)
        except OSError:
            times.append(0.0)
    return tuple(times)


class _Page:
    """One chart's page in a process of its own. It ends when its pipe closes."""

    def __init__(self, path: Path, options: Options, home: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", "from sectionprep.review.shelf import main; main()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._pipe: IO[bytes] = self._process.stdin
        pickle.dump((path, options, home), self._pipe)
        self._pipe.flush()
        line = self._process.stdout.readline()
        said = json.loads(line) if line else {"failed": "its page could not be opened."}
        if "failed" in said:
            self.close()
            raise SectionprepError(said["failed"])
        self.address = str(said["address"])

    @property
    def runs(self) -> bool:
        """It has not ended."""
        return self._process.poll() is None

    def close(self) -> None:
        """End it, everything saved."""
        self._pipe.close()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()


def main() -> None:
    """The life of a page's process."""
    from sectionprep.review.serve import serve

    path, options, home = pickle.load(sys.stdin.buffer)

    def until_closed() -> None:
        while os.read(sys.stdin.fileno(), 1):
            pass
        os.kill(os.getpid(), signal.SIGINT)  # as Ctrl-C would

    def told(address: str) -> None:
        # only now: processes are forked where nothing else runs
        threading.Thread(target=until_closed, daemon=True).start()
        print(json.dumps({"address": address}), flush=True)

    try:
        serve(
            path, folder_of(path), options, port=0, opens=False, tell=lambda _: None,
            home=home, ready=told,
        )  # fmt: skip
    except SectionprepError as error:
        print(json.dumps({"failed": str(error)}), flush=True)


def shelf_pages(shelf: Shelf, papers: Papers) -> Starlette:
    """The list of a book's charts."""

    async def listed(request: Request) -> Response:
        rows = await run_in_threadpool(shelf.look)
        news = {"version": 0, "trouble": "", "undo": "", "redo": "", "looked": True,
                "reader": False}  # fmt: skip
        page = papers.page("book.html", title=shelf.folder.name, rows=rows, news=news)
        return Response(page, media_type="text/html; charset=utf-8")

    async def looked(request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(shelf.look))

    async def opened(request: Request) -> Response:
        number = request.path_params["number"]
        if number >= len(shelf.charts):
            raise HTTPException(404, "There is no such chart.")
        try:
            return RedirectResponse(await run_in_threadpool(shelf.page, number), 303)
        except SectionprepError as error:
            return PlainTextResponse(f"{error}\n", 422)

    async def file(request: Request) -> Response:
        found = papers.file(request.path_params["name"])
        if found is None:
            raise HTTPException(404, "There is no such file.")
        return Response(found[0], media_type=found[1])

    return Starlette(
        routes=[
            Route("/", listed),
            Route("/charts", looked),
            Route("/chart/{number:int}", opened),
            Route("/file/{name}", file),
        ]
    )


def options_for(options: Options) -> Options:
    """For one chart of a book: decisions of one chart are none of another."""
    return replace(options, plan=None, decisions=None)
