"""The pages and what they ask for. No address holds a path: passages are known by their ids, files
of the page by a fixed list."""

from __future__ import annotations

from collections.abc import Callable

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from sectionprep.music.marks import MARKS, ORNAMENTS, SLURS
from sectionprep.review.drawing import PITCHES, WIDTHS, View
from sectionprep.review.facts import (
    finding_facts,
    findings_of,
    map_facts,
    passage_facts,
)
from sectionprep.review.paper import Papers
from sectionprep.review.session import Review
from sectionprep.review.shown import shown


def pages(review: Review, papers: Papers) -> Starlette:
    """The application behind the door."""
    desk = _Desk(review, papers)
    return Starlette(
        routes=[
            Route("/", desk.chart),
            Route("/passage/{name}", desk.passage),
            Route("/passage/{name}/drawing", desk.drawing),
            Route("/file/{name}", desk.file),
        ],
        exception_handlers={HTTPException: _refused, Exception: _failed},
    )


async def _refused(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return PlainTextResponse(f"{error.detail}\n", error.status_code)


async def _failed(_request: Request, _error: Exception) -> Response:
    return PlainTextResponse("Something failed that is ours to mend.\n", 500)


class _Desk:
    """Answers requests. What takes time is done in a thread, so that nobody waits for another."""

    def __init__(self, review: Review, papers: Papers) -> None:
        self.review, self.papers = review, papers

    async def chart(self, request: Request) -> Response:
        return await self._page(lambda: self._chart())

    async def passage(self, request: Request) -> Response:
        view = self._view(request)
        return await self._page(lambda: self._passage(view))

    async def drawing(self, request: Request) -> Response:
        view = self._view(request)
        return JSONResponse(await run_in_threadpool(shown, self.review, view))

    async def file(self, request: Request) -> Response:
        found = self.papers.file(request.path_params["name"])
        if found is None:
            raise HTTPException(404, "There is no such file.")
        data, kind = found
        return Response(data, media_type=kind, headers={"Cache-Control": "max-age=3600"})

    async def _page(self, made: Callable[[], str]) -> Response:
        return Response(await run_in_threadpool(made), media_type="text/html; charset=utf-8")

    def _view(self, request: Request) -> View:
        name, asked = request.path_params["name"], request.query_params
        if name not in self.review.passages:
            raise HTTPException(404, "There is no such passage.")
        width = asked.get("width", "190")
        if width not in map(str, WIDTHS):
            raise HTTPException(400, f"A line is one of {', '.join(map(str, WIDTHS))} wide.")
        pitch = asked.get("pitch", self.review.options.study)
        if pitch not in PITCHES:
            raise HTTPException(400, "The pitch is sounding or written.")
        whole = asked.get("parts", "lead")
        if whole not in ("lead", "all"):
            raise HTTPException(400, "Show the lead or all parts.")
        return View(passage=name, width=int(width), pitch=pitch, whole=whole == "all")

    def _chart(self) -> str:
        review = self.review
        chart = review.score.chart
        return self.papers.page(
            "chart.html",
            title=chart.title,
            chart=chart,
            map=map_facts(review),
            style=review.plan.style,
            style_why=review.plan.style_why,
            version=review.version,
        )

    def _passage(self, view: View) -> str:
        review = self.review
        return self.papers.page(
            "passage.html",
            title=f"{view.passage}, {review.score.chart.title}",
            chart=review.score.chart,
            view=view,
            passage=passage_facts(review, view.passage),
            drawn=shown(review, view),
            marks=[m for m in MARKS if m.name not in SLURS | (ORNAMENTS - {"shake"})],
            findings=[
                finding_facts(review.score.chart, f) for f in findings_of(review, view.passage)
            ],
            version=review.version,
        )
