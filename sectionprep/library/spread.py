"""Charts spread over the processes of this machine, or over a cluster; one that brings its process
down is tried again and stops nobody."""

from __future__ import annotations

import os
import re
import time
import warnings
from collections.abc import Iterable, Iterator, Sequence
from queue import Empty, Queue
from typing import Any

from sectionprep.apart import end_with
from sectionprep.errors import BadArgument, UnreadableFile
from sectionprep.library.one_chart import Job, kept, lost, prepare_alone, prepare_for_book
from sectionprep.outputs.library.summary import ChartResult

# seconds; judgements
_LOOK = 5.0  # between two looks whether a cluster has workers
_PATIENCE = 60.0  # without any worker: one that is started again takes less
_LONGEST = 3600.0  # without any result: the longest charts take minutes


def spread(jobs: Sequence[Job], cluster: str) -> Iterator[ChartResult]:
    """Run the jobs over this machine's processes, or over a cluster; results come as they end."""
    yield from on_cluster(jobs, cluster) if cluster else on_this_machine(jobs)


def on_this_machine(jobs: Sequence[Job]) -> Iterator[ChartResult]:
    """A process that is killed from outside takes the pool with it; what was not done then is tried
    again, each chart in a process of its own."""
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    left = {job[1]: job for job in jobs}
    try:
        with warnings.catch_warnings():  # on a full disk the work is left undone on purpose
            warnings.filterwarnings("ignore", ".*unnecessary computation time")
            for result in Parallel(n_jobs=-1, return_as="generator_unordered")(
                delayed(_prepare_here)(os.getpid(), job) for job in jobs
            ):
                del left[result.name]
                yield result
    except BrokenProcessPool:
        for job in left.values():
            try:
                yield from Parallel(n_jobs=2)(
                    [delayed(_prepare_here)(os.getpid(), job)]
                )  # one would run in this very process
            except BrokenProcessPool as error:
                how = re.search(r"\{(.+?)\}", str(error))  # the exit codes of the processes
                yield lost(job, f"its process was ended twice, by {how[1] if how else 'another'}")


def _prepare_here(leader: int, job: Job) -> ChartResult:
    """In a process of the pool, which would outlive a leader that was killed, with its terminal
    held open."""
    if leader != os.getpid():  # on a machine with one core there is no pool
        end_with(leader)
    return prepare_for_book(*job)


def on_cluster(jobs: Sequence[Job], address: str) -> Iterator[ChartResult]:
    """A worker that dies gives its charts to the others. Charts that were on too many dead workers
    are tried again, one after the other and each in a process of its own, so that only the one that
    kills them is reported, and no further worker dies of it."""
    try:
        from dask.distributed import Client
    except ImportError as error:
        raise BadArgument(
            "--cluster needs the extra 'cluster'.", remedy="Install sectionprep[cluster]."
        ) from error
    try:
        client = Client(address, timeout="20s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise UnreadableFile(
            f"no scheduler answers at {address}.",
            remedy="Start one, and workers that see the same folders.",
        ) from error
    with client:
        left = {job[1]: job for job in jobs}
        try:
            for careful in (False, True):
                for result in _round(client, list(left.values()), careful):
                    del left[result.name]
                    yield result
        except _NothingComes as why:
            for job in left.values():
                yield kept(job) or lost(
                    job,
                    f"{why} at {address}. Finished charts are kept: run the same command again.",
                )


def _round(client: Any, jobs: Sequence[Job], careful: bool) -> Iterator[ChartResult]:
    """The results of all jobs at once, or (careful) one after the other and apart; then those that
    fail are reported. Raises _NothingComes."""
    for together in [[job] for job in jobs] if careful else [jobs]:
        futures = {
            client.submit(
                prepare_alone if careful else prepare_for_book,
                *job,
                pure=False,
                retries=0 if careful else 2,
            ): job
            for job in together
        }
        for done in _as_they_end(client, futures):
            try:
                yield done.result(timeout=_PATIENCE)
            except Exception as error:  # whatever became of the worker, the other charts go on
                if careful:
                    yield lost(futures[done], f"lost on the cluster: {type(error).__name__}")


class _NothingComes(Exception):
    """The cluster gives no more results, and why."""


def _as_they_end(client: Any, futures: Iterable[Any]) -> Iterator[Any]:
    """Futures in the order in which they end. Raises _NothingComes when there are no workers to
    wait for, or nothing has ended for very long."""
    ended: Queue[Any] = Queue()
    waiting = 0
    for future in futures:
        future.add_done_callback(ended.put)
        waiting += 1
    heard = manned = time.monotonic()
    while waiting:
        try:
            yield ended.get(timeout=_LOOK)
            waiting -= 1
            heard = manned = time.monotonic()
        except Empty:
            now = time.monotonic()
            if _has_workers(client):
                manned = now
            if now - manned > _PATIENCE:
                raise _NothingComes("no worker is left on the cluster") from None
            if now - heard > _LONGEST:
                raise _NothingComes(
                    f"nothing was finished for {_LONGEST / 60:.0f} minutes on the cluster"
                ) from None


def _has_workers(client: Any) -> bool:
    try:
        return bool(client.nthreads())
    except Exception:  # the scheduler has gone, too
        return False
