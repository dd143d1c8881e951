"""A tolerance study on a cluster: the same bits as at home, also when a worker dies half-way."""

import os
import signal

import pytest

from tuning.gains import Gains
from tuning.tolerance_study import tolerance_study

distributed = pytest.importorskip(
    "distributed", reason="the cluster's library is not installed (pip install distributed)"
)

GAINS = Gains(0.065, 0.2)
ARRAYS = ("deviations", "Ms", "overshoot", "output", "reachable")


@pytest.mark.filterwarnings("ignore")  # of sockets that a killed process leaves to the library
def test_a_worker_that_dies_changes_nothing(film):
    wanted = {"samples": 300, "seed": 4, "chunk": 10}
    here = tolerance_study(film, GAINS, **wanted)
    killed, seen = [], []
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        before = set(client.run(os.getpid).values())
        assert len(before) == 2 and os.getpid() not in before

        def kill_one(done, total):
            seen.append((done, total))
            if done >= 100 and not killed:
                killed.append(min(before))
                os.kill(killed[0], signal.SIGKILL)

        there = tolerance_study(film, GAINS, client=client, progress=kill_one, **wanted)
        client.wait_for_workers(2, timeout=20)
        after = set(client.run(os.getpid).values())
    assert killed and killed[0] not in after, "no worker died, so this test says nothing"
    assert seen[-1] == (300, 300)
    assert len(seen) == 30
    for name in ARRAYS:
        assert getattr(there, name).tobytes() == getattr(here, name).tobytes(), name
    assert there.nominal_Ms.tobytes() == here.nominal_Ms.tobytes()
    assert there.redrawn == here.redrawn


@pytest.mark.filterwarnings("ignore")
def test_the_cluster_is_left_tidy_when_it_is_stopped(film):
    """Who stops half-way leaves no work behind for others on the same cluster."""
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):

        def stop(done, total):
            raise InterruptedError

        with pytest.raises(InterruptedError):
            tolerance_study(film, GAINS, samples=400, chunk=10, client=client, progress=stop)
        assert client.submit(int, "7").result(timeout=10) == 7
        assert not [key for key in client.futures if "_chunk" in str(key)]
