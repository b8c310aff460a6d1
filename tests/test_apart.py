"""What dies, hangs or wants all memory in a process of its own is an error of that one piece of
work."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from sectionprep.apart import MEMORY, Apart, Died
from sectionprep.errors import NotAScore

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits are Linux's")


def _double(number: int) -> int:
    return 2 * number


def _die(how: int) -> None:
    os.kill(os.getpid(), how)


def _spin() -> None:
    while True:
        pass


def _swallow() -> int:
    return len(bytearray(2 * MEMORY))


def _refuse() -> None:
    raise NotAScore("is none.", where="here")


def test_results_come_back_and_errors_as_they_were_raised() -> None:
    with Apart(2) as apart:
        assert [f.result() for f in apart.each(_double, ((n,) for n in range(9)), 5.0)] == [
            *range(0, 18, 2)
        ]
        with pytest.raises(NotAScore, match="here: is none"):
            apart.submit(_refuse).result()


@pytest.mark.parametrize("how", [signal.SIGFPE, signal.SIGSEGV, signal.SIGKILL])
def test_who_dies_is_replaced(how: int) -> None:
    with Apart(1) as apart:
        dead, alive = apart.submit(_die, int(how)), apart.submit(_double, 4)
        with pytest.raises(Died, match="broke down"):
            dead.result()
        assert alive.result() == 8


def test_work_goes_to_the_process_that_is_named_while_it_lives() -> None:
    with Apart(3) as apart:
        numbers = {apart.submit(os.getpid, process=n).result() for n in (0, 0, 0)}
        one = numbers.pop()
        asked = [apart.submit(os.getpid, process=one) for _ in range(6)]
        assert {future.result(timeout=60) for future in asked} == {one}
        dead = apart.submit(_die, int(signal.SIGKILL), process=one)
        after = apart.submit(os.getpid, process=one)
        with pytest.raises(Died):
            dead.result(timeout=60)
        assert after.result(timeout=60) != one


def test_the_death_of_many_at_once_is_noticed() -> None:
    """Each is born again while others are: none may hold the pipe of another open."""
    with Apart(4) as apart:
        for future in [apart.submit(_die, int(signal.SIGKILL)) for _ in range(24)]:
            with pytest.raises(Died):
                future.result(timeout=60)


@linux
def test_time_and_memory_have_an_end() -> None:
    with Apart(1) as apart:
        with pytest.raises(Died, match="more than 1 seconds"):
            apart.submit(_spin, seconds=1.0).result()
        with pytest.raises(Died, match="more than 1,000 MB"):
            apart.submit(_swallow).result()
        assert apart.submit(_double, 1).result() == 2


def test_an_error_outside_ends_what_is_under_way() -> None:
    with suppress(KeyError), Apart(1) as apart:
        future = apart.submit(_spin)
        time.sleep(0.2)
        raise KeyError
    with pytest.raises(Died):
        future.result()


_PARENT = """
import signal, sys, time
signal.signal(signal.SIGHUP, signal.SIG_DFL)  # the suite itself may run under nohup
sys.path.insert(0, {tests!r})
from test_apart import _spin
from sectionprep.apart import Apart
apart = Apart(2)
apart.submit(_spin); apart.submit(_spin)
print(*(child.life.process.pid for child in apart._all), flush=True)
time.sleep(60)
"""


@linux
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_processes_go_when_their_parent_is_gone(how: int) -> None:
    """They would live on for good, and hold the pipe open that the parent wrote into."""
    code = _PARENT.format(tests=str(Path(__file__).parent))
    command = [sys.executable, "-c", code]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        children = [int(pid) for pid in parent.stdout.readline().split()]
        assert len(children) == 2
        parent.send_signal(how)
        assert parent.stdout.read() == ""  # ends only when nobody holds the pipe any more
    for _ in range(100):
        if not any(_runs(pid) for pid in children):
            break
        time.sleep(0.1)
    assert not [pid for pid in children if _runs(pid)]


def _runs(pid: int) -> bool:
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"
