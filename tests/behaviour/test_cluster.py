"""A batch on a Dask cluster: two worker processes, one of them killed in the midst of its work."""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any

import pytest

from assembler import build_set
from assembler.collection import LEDGER, read_collection
from tests.support.collections import age, bytes_of, write_session

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

IS_MISSING = importlib.util.find_spec("distributed") is None

with_dask = pytest.mark.skipif(
    IS_MISSING and os.environ.get("CI") != "true", reason="dask.distributed is not installed (extra: cluster)"
)

CLUSTER = """
import json, os, sys
from distributed import Client, LocalCluster
if __name__ == "__main__":
    cluster = LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1",
        local_directory=sys.argv[1],
    )
    with Client(cluster) as client:
        workers = list(client.run(os.getpid).values())
        print(json.dumps({"address": cluster.scheduler_address, "workers": workers}), flush=True)
        sys.stdin.read()
    cluster.close()
"""


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[dict[str, Any]]:
    """A cluster of two worker processes: its address, and the workers' numbers."""
    script = tmp_path / "cluster.py"
    script.write_text(CLUSTER, encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, str(script), str(tmp_path / "dask")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        yield json.loads(process.stdout.readline())
    finally:
        process.stdin.close()
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()


@with_dask
def test_a_cluster_that_loses_a_worker_builds_every_set(tmp_path: Path, cluster: dict[str, Any]) -> None:
    """All sets are right, with the bytes of sets built alone, each once; nothing of the killed worker's is left."""
    folder, root = tmp_path / "sessions", tmp_path / "root"
    names = [f"tape{number}" for number in range(6)]
    for number, name in enumerate(names):
        write_session(folder / name, number + 1, 2 + number % 2)
    age(folder)
    command = [sys.executable, "-m", "assembler", "batch", str(folder), "-o", str(root), "--no-cache"]
    batch = subprocess.Popen(
        [*command, "--scheduler", cluster["address"]],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    until = time.monotonic() + 120
    # Both are at work behind the first row: six sessions are given to two workers.
    while not ((root / LEDGER).exists() and read_collection(root).rows):
        assert time.monotonic() < until
        assert batch.poll() is None, batch.communicate()
        time.sleep(0.01)
    os.kill(cluster["workers"][0], signal.SIGKILL)
    out, told = batch.communicate(timeout=300)
    assert batch.returncode == 0, told
    assert "6 built, 0 stood already" in out
    rows = read_collection(root)
    assert sorted(row.session for row in rows.history) == names
    assert sorted(path.name for path in root.iterdir()) == [LEDGER, *names]
    for name in names:
        build_set(folder / name / "session.toml", tmp_path / name)
        assert bytes_of(tmp_path / name) == bytes_of(root / name)
    done = subprocess.run(
        [*command[:4], "-o", str(root), "--verify", "--json", "--scheduler", cluster["address"]],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert (done.returncode, json.loads(done.stdout)["verified"]) == (0, 6), done.stderr


def _refused(folder: Path, address: str) -> subprocess.CompletedProcess[str]:
    """Return what comes of a batch on a cluster that cannot be used: one line, status 2."""
    command = [
        sys.executable,
        "-m",
        "assembler",
        "batch",
        str(folder / "sessions"),
        "-o",
        str(folder / "root"),
    ]
    done = subprocess.run(
        [*command, "--scheduler", address], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1, done.stderr
    return done


def test_a_cluster_that_is_not_there_is_told(tmp_path: Path) -> None:
    """One line, status 2, nothing written: without the library its name is told, with it the address."""
    write_session(tmp_path / "sessions/one", 1)
    done = _refused(tmp_path, "tcp://127.0.0.1:9")
    if IS_MISSING:
        assert "a cluster needs libraries that are missing" in done.stderr
    else:
        assert "the scheduler tcp://127.0.0.1:9 cannot be reached" in done.stderr
    assert not (tmp_path / "root").exists()


@with_dask
@pytest.mark.parametrize("address", ["nonsense", "", "tcp://host", "tcp://host:no", "http://host:80"])
def test_an_address_of_no_sense_is_told_at_once(tmp_path: Path, address: str) -> None:
    """One line, status 2; the library's own client would wait, and complain."""
    write_session(tmp_path / "sessions/one", 1)
    done = _refused(tmp_path, address)
    assert f'the scheduler "{address}" cannot be reached' in done.stderr
    assert done.stderr.endswith("allowed: tcp://host:port; nothing was built\n")


def test_the_own_pool_does_without_dask(tmp_path: Path) -> None:
    """Nothing of the cluster's libraries is loaded where no scheduler is named."""
    write_session(tmp_path / "sessions/one", 1)
    script = (
        "import sys\n"
        "from assembler.cli.commands import run\n"
        "status = run(sys.argv[1:])\n"
        "assert not {'dask', 'distributed'} & set(sys.modules)\n"
        "sys.exit(status)\n"
    )
    arguments = ["batch", str(tmp_path / "sessions"), "-o", str(tmp_path / "root")]
    subprocess.run([sys.executable, "-c", script, *arguments], check=True, timeout=120)
