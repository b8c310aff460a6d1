"""Runs the page until told to stop."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from sectionprep.apart import Apart
from sectionprep.errors import DestinationError, UnreadableFile
from sectionprep.results import Options
from sectionprep.review.app import pages
from sectionprep.review.door import Door, new_key
from sectionprep.review.making import Maker
from sectionprep.review.paper import Papers
from sectionprep.review.session import Review
from sectionprep.review.shelf import Shelf, options_for, shelf_pages

_HOST = "127.0.0.1"
_GRACE = 2  # seconds for answers under way when the page is stopped; judgement
_CALLERS = 32  # requests at a time: one browser has six; judgement


def serve(
    path: Path,
    folder: Path,
    options: Options,
    *,
    port: int,
    opens: bool,
    lan: bool = False,
    tell: Callable[[str], None],
    home: str = "",
    ready: Callable[[str], None] = lambda _: None,
) -> None:
    """Review one chart. Returns when stopped with Ctrl-C. folder: where `prepare` writes; port: 0
    for any free one; opens: show the page in the person's browser; lan: others in the house network
    may look and listen; tell: what is said on the way; home: address of the book's list; ready: is
    told the page's address."""
    with Apart(workers=2) as apart, listening(port, everywhere=lan) as line:
        review = Review(path, folder, options, apart)
        for _ in range(2):
            apart.submit(_get_ready)  # the engravers load while the browser opens, not before
        maker = Maker(path, folder, options)
        host = f"{_HOST}:{line.getsockname()[1]}"
        key, reader = new_key(), new_key() if lan else ""
        here = f"{_address()}:{host.rpartition(':')[2]}" if lan else host
        app = Door(
            pages(review, Papers(home), maker),
            key=key,
            hosts=(host, host.replace(_HOST, "localhost"), here),
            reader=reader,
        )
        address = f"http://{host}/open?key={key}"
        threading.Thread(target=review.keep_looking, daemon=True).start()
        tell(f"Review {review.score.chart.title}: {address}")
        ready(address)
        if lan:
            tell(
                "Everybody in this network who has the next address can look and listen, and "
                f"decide nothing; the line is not encrypted: http://{here}/open?key={reader}"
            )
            tell("Ctrl-C stops it.")
        else:
            tell("Only this machine can open it. Ctrl-C stops it.")
        if opens:
            _show(address)
        try:
            _run(app, line)
        finally:
            maker.stop()
        decided = review.desk.history.at
        tell(f"Stopped. What you decided is in {review.desk.path}." if decided else "Stopped.")


def serve_book(
    folder: Path, options: Options, *, port: int, opens: bool, tell: Callable[[str], None]
) -> None:
    """List the charts of a folder, and review whichever is opened. Returns when stopped. Raises
    UnreadableFile where there is none."""
    with Apart(workers=1, background=True) as apart, listening(port) as line:
        shelf = Shelf(folder, options_for(options), apart)
        if not shelf.charts:
            raise UnreadableFile(
                "holds no charts.", where=str(folder), remedy="Put MusicXML files into it."
            )
        host = f"{_HOST}:{line.getsockname()[1]}"
        key = new_key()
        shelf.home = f"http://{host}/"
        app = Door(
            shelf_pages(shelf, Papers()),
            key=key,
            hosts=(host, host.replace(_HOST, "localhost")),
        )
        address = f"http://{host}/open?key={key}"
        tell(f"Review {len(shelf.charts)} charts of {folder}: {address}")
        tell("Only this machine can open it. Ctrl-C stops it.")
        if opens:
            _show(address)
        try:
            _run(app, line)
        finally:
            shelf.close()
        tell("Stopped. What you decided is in the plan file of each chart.")


def _get_ready() -> None:
    """Load the engraver, in a process that draws."""
    from sectionprep.drawing.engraver.toolkit import get_ready

    get_ready()


def _show(address: str) -> None:
    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _run(app: Door, line: socket.socket) -> None:
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        lifespan="off",
        loop="asyncio",
        http="h11",
        ws="none",
        server_header=False,
        limit_concurrency=_CALLERS,
        timeout_graceful_shutdown=_GRACE,
    )
    try:
        uvicorn.Server(config).run(sockets=[line])
    except KeyboardInterrupt:
        return  # that is how it ends


def listening(port: int, *, everywhere: bool = False) -> socket.socket:
    """A socket that this machine alone can reach. port: 0 for any free one; everywhere: the network
    can reach it, too. Raises DestinationError."""
    found = socket.socket()
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind(("0.0.0.0" if everywhere else _HOST, port))
        found.listen(64)
    except OSError as error:
        found.close()
        raise DestinationError(
            f"cannot be listened at ({error.strerror}).",
            where=f"port {port}",
            remedy="Choose another with --port; 0 takes any free one.",
        ) from error
    return found


def _address() -> str:
    """This machine's address in the house network. Nothing is sent: the socket only asks which way
    it would go to an address that is kept for examples (RFC 5737)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))
            return str(asked.getsockname()[0])
        except OSError as error:
            raise DestinationError(
                "has no network to show the page in.",
                where="this machine",
                remedy="Connect it, or leave --lan out.",
            ) from error
