"""The pages and what they ask for. No address holds a path: passages are known by their ids, files
of the page by a fixed list."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from sectionprep.errors import BadArgument, SectionprepError
from sectionprep.outputs.settled import REHEARSE, WAYS, letter
from sectionprep.phrasing.house import MARKS as HOUSE_MARKS
from sectionprep.phrasing.house import REFUSALS, SITUATIONS, STYLES
from sectionprep.phrasing.wishes import DYNAMICS
from sectionprep.review import decisions
from sectionprep.review.desk import Asked
from sectionprep.review.facts import (
    findings_facts,
    loudness_facts,
    map_facts,
    passage_facts,
    readings_facts,
)
from sectionprep.review.history import Step
from sectionprep.review.making import Maker, kind_of
from sectionprep.review.paper import Papers
from sectionprep.review.session import Review
from sectionprep.review.sound import FASTEST, SHAPED, SLOWEST, Sounds, Take, ways
from sectionprep.review.view import PITCHES, WIDTHS, View, stretches
from sectionprep.review.wishes import CHOICES, PageWish, read_wish


def pages(review: Review, papers: Papers, maker: Maker) -> Starlette:
    """The application behind the door."""
    desk = _Desk(review, papers, maker)
    return Starlette(
        routes=[
            Route("/", desk.chart),
            Route("/passage/{name}", desk.passage),
            Route("/passage/{name}/drawing", desk.drawing),
            Route("/passage/{name}/sound", desk.sound),
            Route("/passage/{name}/times", desk.times),
            Route("/file/{name}", desk.file),
            Route("/version", desk.version),
            Route("/decide", desk.decide, methods=["POST"]),
            Route("/finish", desk.finish, methods=["POST"]),
            Route("/making", desk.making),
            Route("/made/{number:int}", desk.made),
            Route("/undo", desk.undo, methods=["POST"]),
            Route("/redo", desk.redo, methods=["POST"]),
        ],
        exception_handlers={
            HTTPException: _refused,
            ClientDisconnect: _refused,
            SectionprepError: _explained,
            Asked: _asked,
            Exception: _failed,
        },
    )


async def _refused(_request: Request, error: Exception) -> Response:
    if isinstance(error, HTTPException):
        return PlainTextResponse(f"{error.detail}\n", error.status_code)
    return PlainTextResponse("The question broke off.\n", 400)


async def _explained(_request: Request, error: Exception) -> Response:
    return JSONResponse({"failed": str(error)}, 422)


async def _asked(_request: Request, error: Exception) -> Response:
    return JSONResponse({"question": str(error)}, 409)


async def _failed(_request: Request, _error: Exception) -> Response:
    return PlainTextResponse("Something failed that is ours to mend.\n", 500)


def _span(review: Review, view: View) -> tuple[int, int]:
    passage = review.passages[view.passage]
    first, last = stretches(review.score.chart, passage)[view.stretch]
    return first, last + 1


class _Desk:
    """Answers requests. What takes time is done in a thread, so that nobody waits for another."""

    def __init__(self, review: Review, papers: Papers, maker: Maker) -> None:
        self.review, self.papers = review, papers
        self._names = frozenset(review.passages)
        self._sounds = Sounds(review)
        self._maker = maker

    async def chart(self, request: Request) -> Response:
        reader = request.state.reader
        return await self._page(lambda: self._chart(reader))

    async def passage(self, request: Request) -> Response:
        view = self._view(request)
        reader = request.state.reader
        return await self._page(lambda: self._passage(view, reader))

    async def drawing(self, request: Request) -> Response:
        view = self._view(request)
        return JSONResponse(await run_in_threadpool(self._drawing, view))

    async def file(self, request: Request) -> Response:
        found = self.papers.file(request.path_params["name"])
        if found is None:
            raise HTTPException(404, "There is no such file.")
        data, kind = found
        return Response(data, media_type=kind, headers={"Cache-Control": "max-age=3600"})

    async def sound(self, request: Request) -> Response:
        take = self._take(request)
        data = await run_in_threadpool(self._sounds.wav, take)
        return Response(data, media_type="audio/wav")

    async def times(self, request: Request) -> Response:
        from sectionprep.review.played import times

        take = self._take(request)
        return JSONResponse(await run_in_threadpool(times, self.review, take))

    async def version(self, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self._news))

    async def decide(self, request: Request) -> Response:
        wish = read_wish(await request.body(), self._names)
        return JSONResponse(await run_in_threadpool(self._decide, wish))

    async def undo(self, request: Request) -> Response:
        return await self._step_again(request, self.review.undo)

    async def redo(self, request: Request) -> Response:
        return await self._step_again(request, self.review.redo)

    async def finish(self, request: Request) -> Response:
        read_wish(await request.body(), self._names)
        if self.review.desk.trouble:
            raise Asked(f"The plan file cannot be read: {self.review.desk.trouble}")
        await run_in_threadpool(self._maker.start, self.review.desk.path)
        return await self.making(request)

    async def making(self, request: Request) -> Response:
        made = self._maker.made
        return JSONResponse(
            {
                "busy": made.busy,
                "stage": made.stage,
                "done": made.done,
                "of": made.of,
                "failed": made.failed,
                "changed": made.changed,
                "notes": made.notes,
                "files": [str(file.relative_to(self.review.folder)) for file in made.files],
                "folder": str(self.review.folder),
            }
        )

    async def made(self, request: Request) -> Response:
        files, number = self._maker.made.files, request.path_params["number"]
        if number >= len(files) or not files[number].is_file():
            raise HTTPException(404, "There is no such sheet; make them anew.")
        kind, shows = kind_of(files[number])
        return FileResponse(
            files[number],
            media_type=kind,
            filename=files[number].name,
            content_disposition_type="inline" if shows else "attachment",
        )

    async def _step_again(self, request: Request, move: Callable[..., Step | None]) -> Response:
        wish = read_wish(await request.body(), self._names)

        def work() -> dict[str, Any]:
            self._check(wish)
            step = move(insist=wish.insist)
            return self._news() | {"step": step.says if step else "", **self._redrawn(wish)}

        return JSONResponse(await run_in_threadpool(work))

    async def _page(self, made: Callable[[], str]) -> Response:
        return Response(await run_in_threadpool(made), media_type="text/html; charset=utf-8")

    def _name(self, request: Request) -> str:
        name = request.path_params["name"]
        if name not in self._names:
            raise HTTPException(404, "There is no such passage.")
        return str(name)

    def _take(self, request: Request) -> Take:
        name, asked = self._name(request), request.query_params
        how, tempo = asked.get("how", SHAPED), asked.get("tempo", "100")
        if how not in ways(self.review, name):
            raise HTTPException(400, "There is no such way to hear it.")
        if tempo not in map(str, range(SLOWEST, FASTEST + 1)):
            raise HTTPException(400, f"The tempo is {SLOWEST} to {FASTEST} percent.")
        yes = ("0", "1")
        whole, click = asked.get("all", "0"), asked.get("click", "0")
        if whole not in yes or click not in yes:
            raise HTTPException(400, "all and click are 0 or 1.")
        return Take(
            passage=name,
            stretch=self._stretch(request),
            how=how,
            tempo=int(tempo),
            whole=whole == "1",
            click=click == "1",
        )

    def _view(self, request: Request) -> View:
        name, asked = self._name(request), request.query_params
        width = asked.get("width", "190")
        if width not in map(str, WIDTHS):
            raise HTTPException(400, f"A line is one of {', '.join(map(str, WIDTHS))} wide.")
        pitch = asked.get("pitch", self.review.options.study)
        if pitch not in PITCHES:
            raise HTTPException(400, "The pitch is sounding or written.")
        whole = asked.get("parts", "lead")
        if whole not in ("lead", "all"):
            raise HTTPException(400, "Show the lead or all parts.")
        return View(
            passage=name,
            stretch=self._stretch(request),
            width=int(width),
            pitch=pitch,
            whole=whole == "all",
        )

    def _stretch(self, request: Request) -> int:
        passage = self.review.passages[self._name(request)]
        asked = request.query_params.get("stretch", "0")
        if asked not in map(str, range(len(stretches(self.review.score.chart, passage)))):
            raise HTTPException(404, "The passage has no such stretch.")
        return int(asked)

    # -- in a thread

    def _news(self) -> dict[str, Any]:
        """What a page must know of the plan."""
        review = self.review
        history = review.desk.history
        return {
            "version": review.look(),
            "trouble": review.desk.trouble,
            "news": review.desk.news,
            "undo": history.to_undo.says if history.to_undo else "",
            "redo": history.to_redo.says if history.to_redo else "",
            "looked": review.looked,
        }

    def _decide(self, wish: PageWish) -> dict[str, Any]:
        self._check(wish)
        self.review.decide(lambda: self._step(wish), wish.seen, insist=wish.insist)
        return self._news() | self._redrawn(wish)

    def _check(self, wish: PageWish) -> None:
        if wish.view is not None:
            passage = self.review.passages[wish.view.passage]
            if not 0 <= wish.view.stretch < len(stretches(self.review.score.chart, passage)):
                raise BadArgument("the passage has no such stretch.")

    def _step(self, wish: PageWish) -> Step:
        if wish.finding:
            return decisions.finding_step(self.review, wish.finding, wish.settled)
        if wish.habit:
            return decisions.habit_step(self.review, wish.habit, wish.wanted)
        if not wish.passage:
            raise BadArgument("that is no decision.")
        if wish.sign:
            return decisions.sign_step(
                self.review, wish.passage, wish.tick, wish.sign, wish.value, wish.until
            )
        if wish.verb:
            return decisions.note_step(
                self.review, wish.passage, wish.tick, wish.verb, wish.mark,
                everywhere=wish.everywhere,
            )  # fmt: skip
        return decisions.reading_step(self.review, wish.passage, wish.reading)

    def _redrawn(self, wish: PageWish) -> dict[str, Any]:
        return {"drawn": self._drawing(wish.view)} if wish.view is not None else {}

    def _drawing(self, view: View) -> dict[str, Any]:
        from sectionprep.review.shown import shown  # heavy: the map, which comes first, needs none

        return shown(self.review, view) | {
            "readings": readings_facts(self.review, view.passage),
            "findings": findings_facts(self.review, view.passage),
            "loudness": loudness_facts(self.review, view.passage),
        }

    def _chart(self, reader: bool) -> str:
        review = self.review
        news = self._news() | {"reader": reader}
        return self.papers.page(
            "chart.html",
            title=review.score.chart.title,
            chart=review.score.chart,
            map=map_facts(review),
            style=review.plan.style,
            style_why=review.plan.style_why,
            habits=review.desk.text.habits,
            unfit=[f"{d.part}, bar {d.bar}: {why}" for d, why in review.unfit],
            plan_file=review.desk.path.name,
            findings=findings_facts(review),
            settling=WAYS,
            letter=letter(review.score.chart.title, review.desk.findings),
            rehearse=[s.says for s in review.desk.findings.values() if s.way == REHEARSE],
            news=news,
        )

    def _passage(self, view: View, reader: bool) -> str:
        review = self.review
        news = self._news() | {"reader": reader}
        return self.papers.page(
            "passage.html",
            title=f"{view.passage}, {review.score.chart.title}",
            chart=review.score.chart,
            view=view,
            passage=passage_facts(review, view.passage, view.stretch),
            drawn=self._drawing(view),
            marks=[{"name": m.name, "says": m.says, "glyph": m.glyph} for m in CHOICES],
            house={
                "situations": [*SITUATIONS, *STYLES],
                "marks": [*HOUSE_MARKS, *REFUSALS],
            },
            widths=WIDTHS,
            ways=ways(review, view.passage),
            bars=[
                {"index": bar.index, "number": bar.number}
                for bar in review.score.chart.bars[slice(*_span(review, view))]
            ],
            settling=WAYS,
            dynamics=DYNAMICS,
            news=news,
        )
