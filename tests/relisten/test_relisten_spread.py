"""Real sounds over real processes; one that is killed in the middle costs time, not results."""

import multiprocessing
import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from handsfree.engines.choose import ModelFolders
from handsfree.errors import EngineError
from handsfree.relisten import hearing
from handsfree.relisten.cluster import ClusterError, over_cluster
from handsfree.relisten.spread import DEATHS, here, over_processes
from handsfree.relisten.tasks import Again, Setup, Task

COUNT = 6


@pytest.fixture(scope="module")
def setup() -> Setup:
    """One quick recognizer: what is spread makes no difference to the spreading."""
    pytest.importorskip("pocketsphinx")
    return hearing.setup(("pocketsphinx",), ModelFolders())


@pytest.fixture(scope="module")
def tasks(material: Any) -> list[Task]:
    return [Task(f"u{n}", flac) for n, (_, flac) in enumerate(material.spoken(COUNT))]


@pytest.fixture(scope="module")
def expected(setup: Setup, tasks: list[Task]) -> dict[str, Again]:
    """What this process hears; a worker must hear the same."""
    return {again.utterance_id: replace(again, worker="") for again in here(setup, tasks)}


def collected(results: Iterator[Again]) -> tuple[dict[str, Again], list[str]]:
    """Results by utterance, each once, and who heard them."""
    found, workers = {}, []
    for again in results:
        assert again.utterance_id not in found, "heard twice"
        found[again.utterance_id] = replace(again, worker="")
        workers.append(again.worker)
    return found, workers


class Kills:
    """A sound that ends the process that receives it."""

    def __reduce__(self) -> tuple[Any, ...]:
        return os._exit, (1,)


def test_the_sounds_are_heard_as_what_was_said(expected: dict[str, Again], material: Any):
    said = [said for said, _ in material.spoken(COUNT)]
    right = [again.heard == words for again, words in zip(expected.values(), said, strict=True)]
    assert sum(right) >= COUNT // 2  # PocketSphinx alone, in noise


def test_a_killed_process_is_replaced_and_nothing_is_lost_or_doubled(
    setup: Setup, tasks: list[Task], expected: dict[str, Again]
):
    warned: list[str] = []

    def killing() -> Iterator[Again]:
        for number, again in enumerate(over_processes(setup, tasks, 2, warned.append)):
            if number == 1:
                victim = multiprocessing.active_children()[0]
                assert victim.pid is not None
                os.kill(victim.pid, signal.SIGKILL)
            yield again

    found, workers = collected(killing())
    assert found == expected
    assert len(set(workers)) >= 2
    assert f":{os.getpid()}" not in "".join(workers)
    assert len(warned) >= 1


def test_a_sound_that_kills_every_process_is_given_up_and_the_others_are_heard(
    setup: Setup, tasks: list[Task], expected: dict[str, Again]
):
    deadly = Task("deadly", Kills())  # type: ignore[arg-type]
    warned: list[str] = []
    results = over_processes(setup, [*tasks[:2], deadly, *tasks[2:4]], 2, warned.append)
    found, _ = collected(results)
    gone = found.pop("deadly")
    assert gone.failed == f"{DEATHS} processes died over this sound"
    assert found == {f"u{n}": expected[f"u{n}"] for n in range(4)}


@pytest.mark.parametrize("flac", [b"", b"no sound at all", b"fLaC\0\0\0\0"])
def test_a_damaged_sound_is_a_failure_of_its_own(setup: Setup, flac: bytes):
    (again,) = here(setup, [Task("u", flac)])
    assert again.failed is not None
    assert not again.heard


def test_a_cut_short_sound_raises_nothing(setup: Setup, tasks: list[Task]):
    (again,) = here(setup, [Task("u", tasks[0].flac[:3000])])
    assert again.utterance_id == "u"


def test_another_version_is_refused_and_so_is_what_is_not_there(setup: Setup, tasks: list[Task]):
    with pytest.raises(EngineError, match="another version"):
        list(here(replace(setup, mark="other"), tasks[:1]))
    with pytest.raises(EngineError, match="no engine 'nobody'"):
        hearing.setup(("nobody",), ModelFolders())


def test_the_attention_word_of_those_days_is_known_again():
    named = hearing.setup(("pocketsphinx",), ModelFolders(), attention="anvil")
    assert hearing.grammar_of(named).read(["anvil", "left", "hind"]).called
    assert not hearing.grammar_of(replace(named, attention=None)).attention


def test_the_mark_tells_setups_apart(setup: Setup):
    marks = {
        hearing.mark_of(each)
        for each in (
            setup,
            replace(setup, horse_names=("Duke",)),
            replace(setup, lessons=(("toe crack", "tow crack", 1),)),
            replace(setup, engines=("pocketsphinx", "neural")),
            replace(setup, attention="smithy"),
        )
    }
    assert len(marks) == 5
    assert hearing.mark_of(replace(setup, mark="x")) == setup.mark


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A real scheduler with two worker processes."""
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as started:
        yield started


def test_workers_hear_what_this_machine_hears(
    cluster: Any, setup: Setup, tasks: list[Task], expected: dict[str, Again]
):
    found, workers = collected(over_cluster(setup, tasks, cluster.scheduler_address))
    assert found == expected
    assert len(set(workers)) == 2


def test_a_killed_worker_loses_and_doubles_nothing(
    cluster: Any, setup: Setup, tasks: list[Task], expected: dict[str, Again]
):
    warned: list[str] = []

    def killing() -> Iterator[Again]:
        results = over_cluster(setup, tasks, cluster.scheduler_address, warned.append)
        for number, again in enumerate(results):
            if number == 0:
                victim = next(iter(cluster.workers.values()))
                os.kill(victim.pid, signal.SIGKILL)
            yield again

    found, _ = collected(killing())
    assert found == expected


def test_another_version_on_the_workers_is_one_line(cluster: Any, setup: Setup, tasks: list[Task]):
    with pytest.raises(EngineError, match="another version"):
        list(over_cluster(replace(setup, mark="x"), tasks[:1], cluster.scheduler_address))


def test_no_scheduler_and_no_workers_are_one_line(setup: Setup, tasks: list[Task]):
    distributed = pytest.importorskip("distributed")
    with pytest.raises(ClusterError, match=r"127.0.0.1:1: cannot be reached"):
        list(over_cluster(setup, tasks, "tcp://127.0.0.1:1", within_s=1.0))
    with pytest.raises(ClusterError, match="cannot be reached"):
        list(over_cluster(setup, tasks, "odd://127.0.0.1:1", within_s=1.0))
    with pytest.raises(ClusterError, match="cannot be reached: TLS expects"):  # no certificates
        list(over_cluster(setup, tasks, "tls://127.0.0.1:1", within_s=1.0))
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=":0") as empty,
        pytest.raises(ClusterError, match="has no workers"),
    ):
        list(over_cluster(setup, tasks, empty.scheduler_address, within_s=1.0))


@pytest.mark.parametrize(
    "address",
    ["tcp://192.0.2.1:8786", "192.0.2.1:8786", "ws://box.example:1", "tcp://[::2]:1", "x"],
)
def test_to_another_machine_nothing_goes_unencrypted(setup: Setup, address: str):
    with pytest.raises(ClusterError, match=r"another machine, .*unencrypted; .* tls://"):
        list(over_cluster(setup, [], address))


def test_a_worker_elsewhere_that_listens_unencrypted_gets_no_sound(
    cluster: Any, setup: Setup, tasks: list[Task], monkeypatch: pytest.MonkeyPatch
):
    import distributed

    found = {"tcp://127.0.0.1:1": 1, "tcp://192.0.2.7:4000": 1}
    monkeypatch.setattr(distributed.Client, "nthreads", lambda client: found)
    monkeypatch.setattr(distributed.Client, "submit", lambda *_, **__: pytest.fail("sent"))
    with pytest.raises(ClusterError, match=r"a worker at tcp://192\.0\.2\.7:4000, another"):
        list(over_cluster(setup, tasks, cluster.scheduler_address))


def test_workers_that_are_gone_for_good_end_it_in_one_line(setup: Setup, tasks: list[Task]):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as passing:
        results = over_cluster(setup, tasks, passing.scheduler_address, within_s=2.0)
        first = next(results)
        passing.scale(0)
        with pytest.raises(ClusterError, match="workers are gone; run it again"):
            list(results)
    assert first.failed is None


def test_without_distributed_it_says_what_to_install(setup: Setup, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"pip install 'handsfree\[cluster\]'"):
        list(over_cluster(setup, [], "tcp://127.0.0.1:1"))
