"""Who judges in a sweep: processes that take inputs line by line and are ended, and how inputs are handed out ahead."""

from __future__ import annotations

import gc
import io
import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType, SimpleNamespace
from typing import Any

import msgspec
import pytest

from qc.jobs.seal import call_of
from qc.jobs.sweep import handing_out, judging
from qc.jobs.sweep.handing_out import AHEAD, handed_out, judged_by_worker, processors
from qc.jobs.sweep.judging import OF_A_JUDGE, Answer, Judges, Limits, Task, answer_each, as_line, serve
from qc.jobs.sweep.rows import SweptBatch
from qc.problems import RefusedCall
from qc.readers.options import ReadOptions

CALL = call_of(ReadOptions(form="suppositories"), rules=None)
SHORT = "it was not judged within 0.05 s"


def task(name: str = "a") -> Task:
    return Task(path=name, digest="", call=CALL)


def answered(*rows: str) -> bytes:
    """What a process writes for one input."""
    return b"".join(as_line((SweptBatch(file=row), row)) for row in rows) + b"\n"


class Child:
    """A process as far as one is met: it takes lines, gives those that were prepared, and ends when it is killed."""

    def __init__(self, *, gives: bytes, goes_on: bool, call: list[str], **how: Any) -> None:
        self.call, self.how, self.pid, self.returncode = call, how, id(self), None
        self.stdin, self.taken, self.kills = io.BytesIO(), b"", 0
        out, self.into = os.pipe()
        self.stdout = os.fdopen(out, "rb")
        os.write(self.into, gives)
        if not goes_on:
            self.kill()

    def poll(self) -> int | None:
        return self.returncode

    def kill(self) -> None:
        self.kills += 1
        if self.returncode is None:
            self.taken, self.returncode = self.stdin.getvalue(), -9  # type: ignore[assignment]
            os.close(self.into)

    def wait(self) -> None:
        assert self.returncode is not None


@pytest.fixture
def children(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., list[Child]]]:
    """Begin these in place of processes, one after the other."""
    begun: list[Child] = []

    def prepare(*outputs: bytes, ends: bool = False) -> list[Child]:
        left = iter(outputs)

        def begin(call: list[str], **how: Any) -> Child:
            begun.append(Child(gives=next(left), goes_on=not ends, call=call, **how))
            return begun[-1]

        monkeypatch.setattr(judging.subprocess, "Popen", begin)
        return begun

    yield prepare
    for child in begun:
        child.kill()
        child.stdout.close()


def test_one_batch_may_cost_two_minutes_and_two_gigabytes_unless_it_is_said_otherwise() -> None:
    assert (Limits().seconds, Limits().megabytes) == (120, 2000)


class TestOneThatJudges:
    def test_is_asked_again_and_gives_every_batch_of_an_input(self, children: Callable[..., list[Child]]) -> None:
        begun = children(answered("a", "b") + answered() + answered("c"))
        with Judges(Limits(megabytes=300)) as judges:
            found = [[text for _, text in judges.judged(task(name))] for name in "xyz"]
            (child,) = begun
            assert child.poll() is None
        assert found == [["a", "b"], [], ["c"]]
        assert child.poll() is not None
        assert (child.stdin.closed, child.stdout.closed) == (True, True)
        assert child.taken == b"".join(as_line(task(name)) for name in "xyz")
        assert child.call == [sys.executable, "-P", "-m", "qc.jobs.sweep.judging", "300"]
        assert child.how["start_new_session"]
        assert child.how["env"] == {**os.environ, **OF_A_JUDGE}
        names = ("OPENBLAS_NUM_THREADS", "MALLOC_TRIM_THRESHOLD_", "MALLOC_MMAP_THRESHOLD_")
        assert dict(zip(names, ("1", "67108864", "16777216"), strict=True)) == OF_A_JUDGE
        assert (child.how["stdin"], child.how["stdout"]) == (-1, -1)

    def test_is_begun_at_once_where_something_is_to_be_ready(self, children: Callable[..., list[Child]]) -> None:
        begun = children(answered("a"), b"")
        with Judges(Limits(), ready=("json", "csv")) as judges:
            assert begun[0].call[-3:] == ["2000", "json", "csv"]
            assert len(judges.judged(task())) == 1
        assert len(begun) == 1
        with Judges(Limits()):
            assert len(begun) == 1

    def test_is_ended_after_so_many_inputs(
        self, children: Callable[..., list[Child]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        assert judging.MOST_SERVED == 500
        monkeypatch.setattr(judging, "MOST_SERVED", 2)
        begun = children(answered("a") + answered("b") + answered("never"), answered("c"))
        with Judges(Limits()) as judges:
            assert [judges.judged(task())[0][1] for _ in range(3)] == ["a", "b", "c"]
            assert [child.poll() is None for child in begun] == [False, True]
        assert [child.kills for child in begun] == [1, 1]

    def test_ended_amid_an_input_gives_what_it_had_and_a_row_that_says_so(
        self, children: Callable[..., list[Child]]
    ) -> None:
        begun = children(answered("a")[:-1] + answered("b")[:20], ends=True)
        with Judges(Limits()) as judges:
            (kept, text), (lost, none) = judges.judged(task("in/x.csv"))
        assert (kept.file, text, lost.file, none) == ("a", "a", "in/x.csv", "")
        assert lost.problem == (
            "x.csv: the process that judged it ended (code -9). Look into it by itself with qc check; save it anew, "
            "one batch in a file."
        )
        assert begun[0].stdout.closed

    def test_late_with_an_answer_is_ended_and_not_asked_again(self, children: Callable[..., list[Child]]) -> None:
        begun = children(b"", answered("b"))
        with Judges(Limits(seconds=0.05)) as judges:
            ((row, _),) = judges.judged(task())
            assert SHORT in row.problem
            assert judges.judged(task())[0][1] == "b"
        assert len(begun) == 2

    def test_whose_time_ends_with_its_last_word_is_not_asked_again(
        self, children: Callable[..., list[Child]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        begun = children(b"", b"")
        told = iter([(answered("a")[:-1], True), (b"\n", False), (b"\n", False)])
        monkeypatch.setattr(judging, "_next_line", lambda *_: next(told))
        with Judges(Limits()) as judges:
            assert [text for _, text in judges.judged(task())] == ["a"]
            assert begun[0].poll() is not None
            assert judges.judged(task()) == []
        assert len(begun) == 2

    def test_whose_time_ends_as_its_line_comes_is_late(self, monkeypatch: pytest.MonkeyPatch) -> None:
        class AsTheLineComes:
            def __init__(self, seconds: float, end: Callable[[], None]) -> None:
                self.join, self.seconds = end, seconds

            def start(self) -> None:
                assert self.daemon

            def cancel(self) -> None:
                """Too late: it ends the process while the line is read."""

        ended: list[str] = []
        child: Any = SimpleNamespace(kill=lambda: ended.append("killed"))
        monkeypatch.setattr(judging, "Timer", AsTheLineComes)
        assert judging._next_line(child, io.BytesIO(b"line\n"), 7) == (b"line\n", True)
        assert ended == ["killed"]

    def test_that_ended_before_it_was_asked_is_a_row(
        self, children: Callable[..., list[Child]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        begun = children(b"", ends=True)

        class Broken(io.BytesIO):
            def write(self, _: Any) -> int:
                raise BrokenPipeError

            def close(self) -> None:
                raise BrokenPipeError

        with Judges(Limits(), ready=("json",)) as judges:
            begun[0].stdin = Broken()
            # It was there when it was looked at.
            monkeypatch.setattr(begun[0], "poll", lambda: None)
            ((row, _),) = judges.judged(task())
        assert "ended (code -9)" in row.problem


class TestInItsProcess:
    @pytest.fixture
    def inputs(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Inputs that are judged to as many batches as their name is long; one ends the memory."""

        def judge(one: Task) -> Iterator[Answer]:
            for place, letter in enumerate(one.path):
                if letter == "!":
                    raise MemoryError
                yield SweptBatch(file=one.path), f"{place}"

        monkeypatch.setattr(judging, "judge_input", judge)

    @pytest.mark.usefixtures("inputs")
    def test_each_line_is_answered_by_its_batches_and_an_empty_line(self) -> None:
        answers = io.BytesIO()
        assert answer_each([as_line(task("ab")), as_line(task("")), as_line(task("c"))], answers) == 0
        lines = answers.getvalue().split(b"\n")[:-1]
        assert [json.loads(line)[1] if line else "" for line in lines] == ["0", "1", "", "", "0", ""]
        assert msgspec.convert(json.loads(lines[0]), Answer) == (SweptBatch(file="ab"), "0")

    @pytest.mark.usefixtures("inputs")
    def test_each_answer_is_given_at_once(self) -> None:
        seen = []

        class Answers(io.BytesIO):
            def flush(self) -> None:
                seen.append(self.getvalue().count(b"\n"))

        answer_each([as_line(task("ab"))], Answers())
        assert seen == [1, 2, 3]

    @pytest.mark.usefixtures("inputs")
    def test_the_end_of_memory_ends_it_with_a_code_and_a_reader_gone_without_one(self) -> None:
        answers = io.BytesIO()
        assert answer_each([as_line(task("a!b")), as_line(task("c"))], answers) == judging.OUT_OF_MEMORY == 9
        assert answers.getvalue().count(b"\n") == 1

        class Gone(io.BytesIO):
            def flush(self) -> None:
                raise BrokenPipeError

        assert answer_each([as_line(task("a")), as_line(task("!"))], Gone()) == 0

    def test_it_answers_on_what_was_standard_output_and_keeps_prints_out_of_it(
        self, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
    ) -> None:
        limits, codes, files, opened = [], [], [], os.fdopen

        def judge(_: Task) -> Iterator[Answer]:
            os.write(1, b"chatter of a library\n")
            yield SweptBatch(file="a"), "document"

        import resource

        monkeypatch.setattr(judging, "judge_input", judge)
        monkeypatch.setattr(resource, "setrlimit", lambda *given: limits.append(given))
        monkeypatch.setattr(os, "_exit", codes.append)
        monkeypatch.setattr(os, "fdopen", lambda *given: files.append(opened(*given)) or files[-1])
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(as_line(task()))))
        # A process begun in the background has it ignored already.
        before = signal.signal(signal.SIGINT, signal.default_int_handler)
        kept, thresholds = os.dup(1), gc.get_threshold()
        try:
            serve("300", "qc.batch", "colorsys")
            assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
            assert gc.get_threshold()[0] == 100_000
        finally:
            signal.signal(signal.SIGINT, before)
            gc.set_threshold(*thresholds)
            os.dup2(kept, 1)
            os.close(kept)
            files[0].close()
        told = capfd.readouterr()
        assert told.out.encode() == as_line((SweptBatch(file="a"), "document")) + b"\n"
        assert told.err == "chatter of a library\n"
        assert limits == [(resource.RLIMIT_AS, (300 * 2**20, 300 * 2**20))]
        assert codes == [0]
        assert "colorsys" in sys.modules

    def test_where_there_is_no_limit_of_memory_there_is_none(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "resource", None)
        judging._limit_memory(1)


@pytest.fixture
def judges(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of what was judged, in this process; what begins with "wait" waits until something else was judged."""
    seen: list[str] = []
    other = threading.Event()

    def judged(_: Judges, one: Task) -> list[Answer]:
        if one.path.startswith("wait"):
            other.wait(10)
        seen.append(one.path)
        other.set()
        return [(SweptBatch(file=one.path), "")]

    monkeypatch.setattr(Judges, "judged", judged)
    return seen


def tasks(*names: str) -> Iterator[tuple[str, Task]]:
    return ((name, task(name)) for name in names)


class TestHandedOut:
    def test_each_input_comes_back_once_under_its_key_whichever_is_first(self, judges: list[str]) -> None:
        names = [f"{place}" for place in range(20)]
        found = dict(handed_out(tasks("wait", *names), jobs=2, scheduler=None, limits=Limits()))
        assert {key: rows[0][0].file for key, rows in found.items()} == {one: one for one in ("wait", *names)}
        assert sorted(judges) == sorted(found)
        assert judges[0] != "wait"
        assert list(handed_out(tasks(), jobs=2, scheduler=None, limits=Limits())) == []

    @pytest.mark.usefixtures("judges")
    @pytest.mark.parametrize("jobs", [1, 3])
    def test_so_many_are_taken_ahead_and_no_more(self, jobs: int) -> None:
        taken: list[str] = []

        def noted() -> Iterator[tuple[str, Task]]:
            for place in range(100):
                taken.append(f"{place}")
                yield f"{place}", task(f"{place}")

        answers = handed_out(noted(), jobs=jobs, scheduler=None, limits=Limits())
        next(answers)
        assert AHEAD == 4
        assert len(taken) == AHEAD * jobs
        answers.close()
        assert len(taken) == AHEAD * jobs

    def test_broken_off_it_begins_nothing_more_and_waits_for_nothing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        begun: list[str] = []
        second, go_on, ended = threading.Event(), threading.Event(), threading.Event()

        def judged(_: Judges, one: Task) -> list[Answer]:
            begun.append(one.path)
            if one.path != "a":
                second.set()
                go_on.wait(2)
                ended.set()
            return []

        monkeypatch.setattr(Judges, "judged", judged)
        answers = handed_out(tasks(*"abcd"), jobs=1, scheduler=None, limits=Limits())
        assert next(answers)[0] == "a"
        assert second.wait(2)
        answers.close()
        assert not ended.is_set()
        go_on.set()
        assert ended.wait(2)
        assert begun == ["a", "b"]

    def test_a_fault_of_ours_is_none_of_an_input(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def judged(*_: object) -> list[Answer]:
            raise KeyError("fault")

        monkeypatch.setattr(Judges, "judged", judged)
        with pytest.raises(KeyError):
            list(handed_out(tasks("a"), jobs=1, scheduler=None, limits=Limits()))

    def test_as_many_judge_as_there_are_processors_where_no_number_is_given(
        self, judges: list[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        many: list[int] = []

        def noted(number: int) -> ThreadPoolExecutor:
            many.append(number)
            return ThreadPoolExecutor(number)

        monkeypatch.setattr(handing_out, "ThreadPoolExecutor", noted)
        monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 2, 4}, raising=False)
        for jobs in (None, 2):
            list(handed_out(tasks("a"), jobs=jobs, scheduler=None, limits=Limits()))
        assert (many, judges) == ([3, 2], ["a", "a"])
        monkeypatch.delattr(os, "sched_getaffinity")
        for count, held in ((7, 7), (None, 1)):
            monkeypatch.setattr(os, "cpu_count", lambda count=count: count)
            assert processors() == held


class TestACluster:
    @pytest.fixture
    def asked(self, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
        """A library of clusters with one that has no machine yet, and what was asked of it."""
        asked: dict[str, Any] = {"closed": False}

        class KilledWorker(Exception):
            pass

        class Client:
            def __init__(self, address: str, *, timeout: float) -> None:
                asked.update(address=address, timeout=timeout)
                if address == "nowhere":
                    raise OSError("timed out")

            def __enter__(self) -> Client:
                return self

            def __exit__(self, *_: object) -> None:
                asked["closed"] = True

            def nthreads(self) -> dict[str, int]:
                return asked.get("machines", {})  # type: ignore[no-any-return]

            def get_executor(self, *, pure: bool) -> Any:
                asked["pure"] = pure
                return SimpleNamespace(submit=submit)

        def submit(judge: Callable[[Task], list[Answer]], one: Task) -> Any:
            def work() -> list[Answer]:
                if one.path == "lost":
                    raise KilledWorker
                return judge(one)

            with ThreadPoolExecutor(1) as pool:
                return pool.submit(work)

        library: Any = ModuleType("distributed")
        library.Client, library.KilledWorker = Client, KilledWorker
        monkeypatch.setitem(sys.modules, "distributed", library)
        return asked

    def test_judges_by_its_machines_and_says_of_an_input_that_they_all_went_away(
        self, asked: dict[str, Any], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        begun: list[Limits] = []

        def judged(one: Judges, given: Task) -> list[Answer]:
            begun.append(one.limits)
            return [(SweptBatch(file=given.path), "here")]

        monkeypatch.setattr(Judges, "judged", judged)
        limits = Limits(seconds=3)
        found = dict(handed_out(tasks("a", "lost", "b"), jobs=9, scheduler="tcp://one", limits=limits))
        assert [found[name][0][1] for name in ("a", "b", "lost")] == ["here", "here", ""]
        assert found["lost"][0][0].problem.startswith(
            "lost: each machine of the cluster that was to judge it went away. Look into it by itself"
        )
        assert begun == [limits, limits]
        assert asked == {"address": "tcp://one", "timeout": 10, "pure": False, "closed": True}

    def test_is_given_so_many_ahead_for_each_of_its_threads(self, asked: dict[str, Any], judges: list[str]) -> None:
        asked["machines"] = {"one": 1, "other": 2}
        answers = handed_out(tasks(*map(str, range(100))), jobs=None, scheduler="tcp://one", limits=Limits())
        next(answers)
        assert len(judges) == AHEAD * 3
        answers.close()
        assert asked["closed"]

    @pytest.mark.usefixtures("asked")
    def test_that_does_not_answer_is_refused(self) -> None:
        with pytest.raises(RefusedCall, match=r'^No Dask scheduler answers at "nowhere" \(timed out\)\. Give the addr'):
            next(handed_out(tasks("a"), jobs=None, scheduler="nowhere", limits=Limits()))

    def test_without_the_library_says_how_to_install_it(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "distributed", None)
        with pytest.raises(RefusedCall, match=r"needs Dask, which is not installed\. Install it with: pip install"):
            next(handed_out(tasks("a"), jobs=None, scheduler="tcp://one", limits=Limits()))

    def test_keeps_the_processes_of_a_machine_for_the_next_input(self, monkeypatch: pytest.MonkeyPatch) -> None:
        used: list[Judges] = []
        monkeypatch.setattr(Judges, "judged", lambda one, _: used.append(one))
        for seconds in (5, 5, 6):
            judged_by_worker(task(), limits=Limits(seconds=seconds))
        assert used[0] is used[1] is not used[2]
