"""A book over several processes: on this machine and on a local two-worker cluster, with processes
that die."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path, PosixPath
from typing import Any

import pytest
from build import part_xml, score_xml

from sectionprep.library import book, spread
from sectionprep.library.spread import on_cluster, on_this_machine
from sectionprep.outputs.library.summary import ChartResult
from sectionprep.results import Options

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("ignore")  # the cluster's own

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4 "


@pytest.fixture
def charts(tmp_path: Path) -> Path:
    library = tmp_path / "library"
    library.mkdir()
    for n in range(6):
        line = TUNE * (4 + n)
        (library / f"chart{n}.musicxml").write_bytes(
            score_xml({"Alto Sax 1": part_xml(line), "Alto Sax 2": part_xml(line)})
        )
    return library


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        env={"PYTHONPATH": str(Path(__file__).parent)},
    ) as made:
        yield made


def test_a_worker_that_dies_loses_no_chart(charts: Path, tmp_path: Path, cluster: Any) -> None:
    killed: list[int] = []

    def kill_a_busy_worker(_result: ChartResult, _of: int) -> None:
        if killed:
            return
        busy = {state.address for state in cluster.scheduler.workers.values() if state.processing}
        nanny = next(n for n in cluster.workers.values() if n.worker_address in busy)
        killed.append(nanny.pid)
        os.kill(nanny.pid, signal.SIGKILL)

    results = book(
        charts,
        tmp_path / "out",
        Options(),
        cluster=cluster.scheduler_address,
        tell=kill_a_busy_worker,
    )
    assert len(killed) == 1
    assert {r.status for r in results} <= {"done", "unchanged"}, [r.reason for r in results]
    assert len(results) == 6
    assert all(len(list((tmp_path / "out").glob(f"chart{n}_*/parts/*.pdf"))) == 2 for n in range(6))
    assert not list((tmp_path / "out").rglob("*.partial*"))
    again = book(charts, tmp_path / "out", Options(), cluster=cluster.scheduler_address)
    assert {r.status for r in again} == {"unchanged"}


class DeadlyChart(PosixPath):
    """A chart that kills the process which reads it."""

    def read_bytes(self) -> bytes:
        os._exit(1)


def _jobs(charts: Path, out: Path) -> list[Any]:
    paths = sorted(charts.iterdir())[:3]
    return [
        (DeadlyChart(p) if n == 1 else p, p.name, out / p.stem, Options(), 0.0)
        for n, p in enumerate(paths)
    ]


def test_a_chart_that_kills_its_process_stops_nobody_here(charts: Path, tmp_path: Path) -> None:
    found = {r.name: r for r in on_this_machine(_jobs(charts, tmp_path))}
    assert {name: r.status for name, r in found.items()} == {
        "chart0.musicxml": "done",
        "chart1.musicxml": "failed",
        "chart2.musicxml": "done",
    }
    assert found["chart1.musicxml"].reason == "its process was ended twice, by EXIT(1)"


def test_a_chart_that_kills_worker_after_worker_stops_nobody_on_a_cluster(
    charts: Path, tmp_path: Path, cluster: Any
) -> None:
    found = {r.name: r for r in on_cluster(_jobs(charts, tmp_path), cluster.scheduler_address)}
    assert found["chart1.musicxml"].status == "failed"
    assert "it brought down every process that tried it" in found["chart1.musicxml"].reason
    assert cluster.scheduler.workers  # the second round costs none: all once died of it for good
    # a result may go down with the worker that held it; made again, it is found done
    assert {found[name].status for name in ("chart0.musicxml", "chart2.musicxml")} <= {
        "done",
        "unchanged",
    }


class StopsAllWork(PosixPath):
    """A chart that is never done."""

    def read_bytes(self) -> bytes:
        import time

        time.sleep(5)
        return b""


def test_a_cluster_without_workers_is_not_waited_for(
    charts: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All workers die for good while a chart is at work: what was finished is kept, the rest is
    reported in one line each."""
    monkeypatch.setattr(spread, "_LOOK", 0.2)
    monkeypatch.setattr(spread, "_PATIENCE", 1.0)
    paths = sorted(charts.iterdir())[:3]
    jobs = [
        (StopsAllWork(p) if n == 2 else p, p.name, tmp_path / p.stem, Options(), 0.0)
        for n, p in enumerate(paths)
    ]
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as made:
        found = {}
        for result in on_cluster(jobs, made.scheduler_address):
            found[result.name] = result
            if len(found) == 2:
                made.scale(0)
    assert {name: r.status for name, r in found.items()} == {
        "chart0.musicxml": "done",
        "chart1.musicxml": "done",
        "chart2.musicxml": "failed",
    }
    assert "no worker is left on the cluster at " in found["chart2.musicxml"].reason
    assert "run the same command again" in found["chart2.musicxml"].reason


def test_a_cluster_on_which_nothing_ends_is_not_waited_for(
    charts: Path, tmp_path: Path, cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spread, "_LOOK", 0.2)
    monkeypatch.setattr(spread, "_LONGEST", 1.0)
    (path, *_) = sorted(charts.iterdir())
    (result,) = on_cluster(
        [(StopsAllWork(path), path.name, tmp_path / "x", Options(), 0.0)], cluster.scheduler_address
    )
    assert result.status == "failed"
    assert "nothing was finished" in result.reason
