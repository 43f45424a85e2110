"""The threads of the libraries behind numpy: held back inside a block, and given back after it."""

from __future__ import annotations

import subprocess
import sys
import threading

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from qc.stats.one_thread import BEGUN_WITH, one_thread


def threads() -> set[int]:
    np.linalg.inv(np.eye(2))
    return {library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"}


@pytest.fixture(autouse=True)
def not_begun_with_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(BEGUN_WITH, raising=False)


pytestmark = pytest.mark.skipif(not threads(), reason="no library behind numpy whose threads can be counted")


def test_linear_algebra_runs_on_one_thread_and_gets_its_threads_back() -> None:
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        assert before != {1}
        with one_thread():
            with one_thread():
                assert threads() == {1}
            assert threads() == {1}
        assert threads() == before


def test_threads_come_back_after_an_error() -> None:
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        assert before != {1}
        with pytest.raises(np.linalg.LinAlgError, match="Singular matrix"), one_thread():
            np.linalg.inv(np.zeros((2, 2)))
        assert threads() == before


def test_two_callers_at_once_leave_the_usual_number_behind() -> None:
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        assert before != {1}
        inside, go_on = threading.Event(), threading.Event()

        def first() -> None:
            with one_thread():
                inside.set()
                go_on.wait(10)

        def second() -> None:
            with one_thread():
                pass

        callers = [threading.Thread(target=one) for one in (first, second)]
        callers[0].start()
        assert inside.wait(10)
        callers[1].start()
        go_on.set()
        for caller in callers:
            caller.join(10)
        assert threads() == before


def test_a_process_begun_with_one_thread_does_not_ask_its_libraries() -> None:
    program = (
        "import os, sys; os.environ['OPENBLAS_NUM_THREADS'] = '1'\n"
        "from qc.stats.one_thread import one_thread\n"
        "with one_thread(): import numpy\n"
        "assert 'threadpoolctl' not in sys.modules\n"
        "from threadpoolctl import threadpool_info\n"
        "print({one['num_threads'] for one in threadpool_info() if one['user_api'] == 'blas'})"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout in ("{1}\n", "set()\n")
