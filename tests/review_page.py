"""A page under review: served in this process for quick tests, and the command itself."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import uvicorn

from sectionprep.apart import Apart
from sectionprep.results import Options
from sectionprep.review.app import pages
from sectionprep.review.door import Door
from sectionprep.review.making import Maker
from sectionprep.review.paper import Papers
from sectionprep.review.serve import listening
from sectionprep.review.session import Review

KEY = "the-key-of-this-test"


@dataclass
class Page:
    """The application as a browser reaches it. client: has shown the key."""

    review: Review
    client: httpx.Client
    host: str
    closing: ExitStack

    def stranger(self) -> httpx.Client:
        """Somebody on this machine who was given no key."""
        return self.closing.enter_context(httpx.Client(base_url=f"http://{self.host}"))

    @property
    def files(self) -> dict[str, bytes]:
        """Everything in the chart's folder."""
        folder = self.review.path.parent
        return {
            str(f.relative_to(folder)): f.read_bytes() for f in folder.rglob("*") if f.is_file()
        }


@contextmanager
def open_page(chart: Path, apart: Apart, **wishes: Any) -> Iterator[Page]:
    """Serve a chart until the block ends."""
    folder, options = chart.with_name(f"{chart.stem}_prepared"), Options(**wishes)
    review, maker = Review(chart, folder, options, apart), Maker(chart, folder, options)
    with listening(0) as line:
        host = "{}:{}".format(*line.getsockname())
        door = Door(pages(review, Papers(), maker), key=KEY, hosts=(host,))
        server = uvicorn.Server(uvicorn.Config(door, lifespan="off", log_config=None))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [line]})
        thread.start()
        try:
            with ExitStack() as closing:
                client = closing.enter_context(
                    httpx.Client(
                        base_url=f"http://{host}", headers={"origin": f"http://{host}"}, timeout=60
                    )
                )
                while not server.started:
                    time.sleep(0.01)
                client.get(f"/open?key={KEY}")
                yield Page(review, client, host, closing)
        finally:
            maker.stop()
            server.should_exit = True
            thread.join(20)


@dataclass
class Run:
    """The command itself, running. address: what it printed."""

    process: subprocess.Popen[str]
    address: str

    @property
    def base(self) -> str:
        return self.address.partition("/open")[0]

    def stop(self) -> tuple[int, str]:
        """As Ctrl-C does: exit code, and what it said last."""
        self.process.send_signal(signal.SIGINT)
        said, _ = self.process.communicate(timeout=30)
        return self.process.returncode, said

    def kill(self) -> None:
        """As a power cut does."""
        self.process.kill()
        self.process.communicate(timeout=30)


def start(chart: Path, *more: str) -> Run:
    process = subprocess.Popen(
        [sys.executable, "-m", "sectionprep", "review", str(chart), "--no-open", *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    said = process.stdout.readline()
    found = re.search(r"http://\S+", said)
    assert found, said + process.stdout.read()
    return Run(process, found[0])
