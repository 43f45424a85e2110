"""`qc sweep` at the terminal: the exit code is the gravest of all batches, and the answer says what became of each."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import Result

Table = Callable[..., str]
Command = Callable[..., Result]
SOUND = [f"2.0{n:02d}" for n in range(20)]
FAILS = [*SOUND[:17], "2.500", "2.500", "2.500"]


@pytest.mark.usefixtures("judged_here")
@pytest.mark.parametrize(
    ("masses", "code"),
    [([SOUND], 0), ([SOUND, SOUND[:5]], 3), ([SOUND[:5], FAILS], 1), ([SOUND, ["abc"]], 2), ([FAILS, ["abc"]], 2)],
)
def test_the_exit_code_is_the_gravest_in_the_order_2_1_3_0(
    table: Table, qc: Command, masses: list[list[str]], code: int
) -> None:
    for place, one in enumerate(masses):
        table(one, name=f"{place}.csv")
    answer = qc("sweep", ".", "--out", "out", "--form", "suppositories")
    assert answer.exit_code == code
    assert Path("out/index.html").exists()


def test_the_answer_counts_and_names_the_index(table: Table, qc: Command) -> None:
    table(SOUND, name="a.csv")
    table(FAILS, name="b.csv")
    table(["abc"], name="c.csv")
    answer = qc("sweep", "*.csv", "--out", "out", "--form", "suppositories")
    assert answer.stdout == (
        "3 files, 3 batches: 1 complying, 1 not complying, 0 undecided and 1 that could not be judged\n"
        "Index: out/index.html\n"
    )
    page = Path("out/index.html").read_text(encoding="utf-8")
    assert page.index(">c.csv<") < page.index(">b.csv<") < page.index(">a.csv<")
    assert "Mass: 3\N{NO-BREAK SPACE}of\N{NO-BREAK SPACE}20 beyond 5\N{NO-BREAK SPACE}%; at most 2; " in page
    assert 'href="results/' in page
    again = qc("sweep", "*.csv", "--out", "out", "--form", "suppositories", "--resume")
    assert "files judged before and unchanged: 2\n" in again.stdout


def test_the_call_to_go_on_names_the_paths_as_they_were_typed(
    table: Table, qc: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise SystemExit(130)

    table(SOUND, name="a b.csv")
    monkeypatch.setattr("qc.jobs.sweep.run.sweep", stopped)
    answer = qc("sweep", "a b.csv", "c", "--out", "out")
    assert answer.stderr == 'What was judged is kept. To go on: qc sweep "a b.csv" c --out out --resume\n'


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("gone*",), ""),
        (("a.csv", "--rules", "nothing"), 'no rule set, rule or .toml file has the name "nothing"'),
        (("a.csv", "--mass-unit", "kg"), '--mass-unit "kg" is not known. Give g or mg.'),
    ],
)
def test_a_call_that_cannot_be_used_ends_with_2(table: Table, qc: Command, words: tuple[str, ...], said: str) -> None:
    table(SOUND, name="a.csv")
    answer = qc("sweep", *words, "--out", "out")
    assert answer.exit_code == 2
    assert said in answer.stderr
    assert Path("out").exists() == (not said)
