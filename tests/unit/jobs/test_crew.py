"""Processes that work beside this one: dead ones, big things, faults, and none that outlives the program."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gearqa.jobs.crew import Crew
from gearqa.jobs.spread import spread


def place_of(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def dying(item: tuple[int, int]) -> int:
    number, parent = item
    time.sleep(0.05)
    if os.getpid() != parent and number % 5 == 3:
        os.kill(os.getpid(), 9)
    return number


def doubled(data: bytes) -> bytes:
    return data + data


def refusing(number: int) -> int:
    if number == 5:
        raise ValueError("five is refused")
    return number


def answering_badly(number: int) -> object:
    return (lambda: 0) if number == 2 and multiprocessing.parent_process() else number


@pytest.fixture(params=["started anew", "forked"])
def forked(request: pytest.FixtureRequest) -> bool:
    return bool(request.param == "forked")


def ready(crew: Crew) -> Crew:
    while not crew.idle():
        time.sleep(0.05)
    return crew


def test_the_work_is_shared_and_this_process_does_its_part(forked: bool) -> None:
    with Crew(place_of, 1, at_once=True, forked=forked) as crew:
        places = [ready(crew).submit(0.2), *(crew.submit(0.2) for _ in range(10))]
        assert len({place.result() for place in places}) == 2
        assert os.getpid() in {place.result() for place in places}


def test_what_a_process_that_dies_had_to_do_is_done_here(forked: bool) -> None:
    with Crew(dying, 2, at_once=True, forked=forked) as crew:
        answers = [ready(crew).submit((3, os.getpid()))]
        answers += [crew.submit((number, os.getpid())) for number in range(40)]
        assert [one.result() for one in answers] == [3, *range(40)]
        assert sum(hand.waiting == float("inf") for hand in crew._hands) >= 1


def test_things_and_answers_larger_than_a_pipe_holds(forked: bool) -> None:
    things = [bytes([number]) * 3_000_000 for number in range(30)]
    assert all(answer == 2 * thing for thing, answer in spread(doubled, things, workers=2, forked=forked))


def test_a_fault_is_raised_in_its_turn(forked: bool) -> None:
    done = iter(spread(refusing, range(30), workers=3, forked=forked))
    assert [next(done)[1] for _ in range(5)] == [0, 1, 2, 3, 4]
    with pytest.raises(ValueError, match="five is refused"):
        next(done)
    assert not multiprocessing.active_children()


def test_where_no_process_can_be_started_all_is_done_here(
    monkeypatch: pytest.MonkeyPatch, forked: bool
) -> None:
    def refused(_: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("multiprocessing.process.BaseProcess.start", refused)
    assert [done for _, done in spread(place_of, [0.0] * 5, workers=2, forked=forked)] == [os.getpid()] * 5


def test_an_answer_that_cannot_travel_is_made_here(capfd: pytest.CaptureFixture[str]) -> None:
    with Crew(answering_badly, 1, at_once=True) as crew:
        assert ready(crew).submit(2).result() == 2
    capfd.readouterr()


def test_short_work_starts_no_process_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gearqa.jobs.crew.threadless", lambda: False)
    for _ in spread(refusing, [1, 2, 3], workers=None):
        assert not multiprocessing.active_children()


def test_long_work_starts_processes_without_being_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gearqa.jobs.crew.threadless", lambda: False)
    monkeypatch.setattr("gearqa.jobs.spread.worker_count", lambda _: 2)
    places = {place for _, place in spread(place_of, [0.2] * 60, workers=None)}  # twelve seconds for one
    assert len(places) == 2


@pytest.mark.skipif(sys.platform != "linux", reason="forks on Linux")
@pytest.mark.parametrize(
    ("before", "forks"),
    [
        ("", True),
        ("threading.Thread(target=time.sleep, args=(60,), daemon=True).start()", False),
        ("import polars; polars.Series(range(9)).sort(); polars.LazyFrame({'a': [1]}).collect()", False),
    ],
    ids=["no thread", "a thread", "threads of a library"],
)
def test_without_threads_processes_are_forked_at_once(before: str, forks: bool) -> None:
    """With threads they are started anew, and take a second to come; forked ones know what this one does."""
    code = (
        "import os, threading, time\n"
        "from gearqa.jobs import spread as s\n"
        "from gearqa.jobs.crew import threadless\n"
        "s.worker_count = lambda _: 2\n"
        f"{before}\n"
        "def place(_): time.sleep(0.02); return os.getpid()\n"
        "print(threadless(), len({pid for _, pid in s.spread(place, range(10), workers=None)}))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "OPENBLAS_NUM_THREADS": "1"}, capture_output=True,
        text=True, check=True, timeout=60,
    )  # fmt: skip
    assert done.stdout.split() == (["True", "2"] if forks else ["False", "1"])


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at the processes of Linux")
def test_no_process_outlives_the_program(forked: bool) -> None:
    code = (
        "import os, test_crew as t\n"
        "from gearqa.jobs.crew import Crew\n"
        "if __name__ == '__main__':\n"
        f"    crew = t.ready(Crew(t.place_of, 2, at_once=True, forked={forked}))\n"
        "    crew.submit(60.0)\n"
        "    print(*(hand._process.pid for hand in crew._hands), flush=True)\n"
        "    os._exit(0)\n"
    )
    paths = os.pathsep.join((str(Path(__file__).parent), str(Path.cwd())))
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": paths}, stdout=subprocess.PIPE,
        text=True, check=True, timeout=60,
    )  # fmt: skip
    left = [Path("/proc") / pid / "cmdline" for pid in done.stdout.split()]
    assert len(left) == 2
    for _ in range(100):
        if not any(alive(one) for one in left):
            return
        time.sleep(0.1)
    raise AssertionError(f"still there: {left}")


def alive(command: Path) -> bool:
    try:
        return any(word in command.read_bytes() for word in (b"spawn_main", b"test_crew"))
    except OSError:
        return False


def test_a_forked_process_shares_what_is_in_memory_and_leaves_ours_alone(tmp_path: Path) -> None:
    own = {"gears": [*range(100)]}
    with (tmp_path / "out").open("w") as file:
        file.write("waits to be written")

        def taken(number: int) -> tuple[int, int]:
            own["gears"][number] = -1
            time.sleep(0.01)
            return os.getpid(), len(own["gears"])

        done = [one for _, one in spread(taken, range(100), workers=2, forked=True)]
    pids = {pid for pid, _ in done}
    assert os.getpid() in pids
    assert len(pids) == 2
    assert own["gears"].count(-1) == sum(pid == os.getpid() for pid, _ in done)
    assert (tmp_path / "out").read_text() == "waits to be written"


def test_sigterm_ends_a_forked_process_without_a_word(capfd: pytest.CaptureFixture[str]) -> None:
    with Crew(dying, 1, at_once=True, forked=True) as crew:
        (hand,) = ready(crew)._hands
        hand._process.terminate()
        hand._process.join(10)
        assert hand._process.exitcode == -signal.SIGTERM
        assert crew.submit((3, os.getpid())).result() == 3
    assert capfd.readouterr() == ("", "")
