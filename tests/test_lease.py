"""A board held for a page: kept while somebody looks, let go by itself, and refused in words while a run has it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.core.frames import SampleFrame
from monitor.edges.port import SerialPort
from monitor.errors import PortError, RefusalError
from monitor.heard import gate, newest, to_go_s
from monitor.lease import Lease, since
from monitor.listening import Listener
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.live import terms, wait_until

pytestmark = pytest.mark.live

BENCH, _, RUN, _ = terms()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[BenchServer]:
    with BenchServer(SimulatedBench(BENCH, RUN, 3), tmp_path / "board", 5.0) as bench:
        yield bench


def test_nobody_looks_any_more(served: BenchServer) -> None:
    """A page that goes away takes the permit with it, and the port is free for a run; looking again says so."""
    lease = Lease(str(served.link), 115200, lease_s=2.0)
    wait_until(lambda: lease.look(), "a first sample")
    lease.permit(True, BENCH)
    wait_until(lambda: lease.look() and served.bench.board.permit, "the permit")
    wait_until(lambda: not lease.open, "the lease runs out")
    wait_until(lambda: not served.bench.board.permit, "the permit is off")
    with pytest.raises(RefusalError, match="nobody looked for 2 s"):
        lease.look()
    SerialPort(str(served.link), 115200).close()


def test_a_run_has_the_port(served: BenchServer) -> None:
    """A port that another program holds is refused, with what to do."""
    held = SerialPort(str(served.link), 115200)
    with pytest.raises(PortError, match="A run that is being watched has the board to itself"):
        Lease(str(served.link), 115200)
    held.close()


def test_samples_since(served: BenchServer) -> None:
    """From a moment on every sample is there, that moment's first; a restart of the board is no stretch."""
    lease = Lease(str(served.link), 115200)
    begun = wait_for(lease)
    wait_until(lambda: to_go_s(since(lease.look(), begun), 3.0) == 0.0, "a stretch of 3 s")
    got = since(lease.look(), begun)
    assert got[0] is begun
    assert [s.seq for s in got] == list(range(got[0].seq, got[-1].seq + 1))
    assert len(newest(got, 1.0)) == 11
    assert gate(got[0], got[-1]).number == 0
    served.do("reset")
    with pytest.raises(RefusalError, match="the board started anew"):
        wait_until(lambda: to_go_s(since(lease.look(), begun), 600.0) == 0.0, "never")
    lease.close()


def wait_for(lease: Lease) -> SampleFrame:
    """The first sample."""
    wait_until(lambda: lease.look(), "a first sample")
    return lease.look()[-1]


def test_no_sample_of_a_stretch_is_lost(served: BenchServer) -> None:
    """However late the listener's caller wakes, every sample of the stretch is in it, once and in order."""
    with Listener(SerialPort(str(served.link), 115200)) as listener:
        got = listener.stretch(20.0)
    assert [s.seq for s in got] == list(range(got[0].seq, got[0].seq + len(got)))
    assert len(got) >= 200
