"""`qc history` and `qc check --history` as commands: what they print, their exit codes, and what is in the store."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
from pathlib import Path

import in_process
import pytest

from qc.history.register import Chain, open_register
from qc.jobs.history import confirmed_causes

pytestmark = pytest.mark.usefixtures("plain_pictures")

SAMPLES = Path(__file__).parents[2] / "sample_data"
AT = ("--at", "2026-11-26T14:03+00:00")


def qc(*words: object, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return in_process.qc(*words, cwd=cwd, env={"QC_HISTORY": None, **environment})


@pytest.fixture
def here(tmp_path: Path) -> Path:
    for stem in ("sound", "two-actives"):
        shutil.copy(SAMPLES / f"{stem}.xlsx", tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def made(plain_pictures: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both samples checked: their reports filed, and a history of them; never changed by a test."""
    place = tmp_path_factory.mktemp("made")
    for stem in ("sound", "two-actives"):
        shutil.copy(SAMPLES / f"{stem}.xlsx", place)
        assert qc("check", f"{stem}.xlsx", *AT, cwd=place).returncode == 0
        assert qc("check", f"{stem}.xlsx", "--no-report", "--history", "h.db", *AT, cwd=place).returncode == 0
    return place


@pytest.fixture
def filed(here: Path, made: Path) -> Path:
    """A folder with both samples and their reports."""
    shutil.copytree(made / "reports", here / "reports")
    return here


@pytest.fixture
def entered(here: Path, made: Path) -> Path:
    """A folder with both samples and the history that holds them."""
    shutil.copy(made / "h.db", here)
    return here


def chain(store: Path) -> Chain:
    with open_register(str(store), must_exist=True) as register:
        return register.verify()


def test_a_check_appends_where_a_history_is_named_and_only_then(here: Path) -> None:
    without = qc("check", "sound.xlsx", "--no-report", *AT, cwd=here)
    assert (without.returncode, list(here.glob("*.db*"))) == (0, [])
    said = qc("check", "sound.xlsx", "--history", "h.db", *AT, cwd=here)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout.splitlines()[-1] == "History: h.db, entry 1"
    again = qc("check", "sound.xlsx", "--no-report", *AT, cwd=here, QC_HISTORY="h.db")
    assert again.stdout.splitlines()[-1] == "History: h.db, the same result was already entry 1"
    document = qc("check", "two-actives.xlsx", "--json", "-", *AT, cwd=here, QC_HISTORY="h.db")
    assert json.loads(document.stdout)["verdict"] == "complies"
    with open_register(str(here / "h.db")) as register:
        first, second = register.entries()
        figures = [record for _, record in register.records()]
        assert first.judged() is not None
        assert second.document()["seal"]["judged_at"] == "2026-11-26T14:03:00+00:00"
    assert [one.report for one in figures] == [str(here / "reports/S-2611-01"), ""]  # type: ignore[union-attr]


def test_filed_reports_are_added_once_whatever_way_they_came(filed: Path) -> None:
    here = filed
    added = qc("history", "add", "reports", "reports/S-2611-01", "--history", "h.db", cwd=here)
    assert added.returncode == 0, added.stderr
    assert [line.split(" (")[0] for line in added.stdout.splitlines()] == [
        "reports/S-2611-01 is entry 1",
        "reports/S-2611-06 is entry 2",
        "reports/S-2611-01 was already entry 1",
    ]
    # The check of the same batch finds the entry that its report made.
    checked = qc("check", "sound.xlsx", "--no-report", "--history", "h.db", *AT, cwd=here)
    assert checked.stdout.splitlines()[-1] == "History: h.db, the same result was already entry 1"


def test_a_report_that_was_changed_is_not_added_nor_the_others_with_it(filed: Path) -> None:
    here = filed
    result = here / "reports/S-2611-06/result.json"
    result.write_text(result.read_text().replace('"complies"', '"undecided"', 1))
    refused = qc("history", "add", "reports", "--history", "h.db", cwd=here)
    assert refused.returncode == 2
    assert "result is not the one that was sealed" in refused.stderr
    assert "Look into it with: qc verify reports/S-2611-06." in refused.stderr
    assert chain(here / "h.db").entries == 0


def test_a_report_that_cannot_be_filed_leaves_no_entry(filed: Path) -> None:
    here = filed
    (here / "reports" / "S-2611-01" / "result.json").write_text("{}")
    refused = qc("check", "two-actives.xlsx", "--report", "reports/S-2611-01", "--history", "h.db", *AT, cwd=here)
    assert refused.returncode == 2
    assert chain(here / "h.db").entries == 0


def test_a_history_that_cannot_be_used_ends_the_check_before_anything_is_written(here: Path) -> None:
    refused = qc("check", "sound.xlsx", "--history", "two-actives.xlsx", *AT, cwd=here)
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr == (
        "1 problem; nothing was written.\n  two-actives.xlsx: it is no history, or it cannot be opened (file is not a "
        "database). Give a file that qc wrote, or the name of a new one.\n"
    )
    assert not (here / "reports").exists()


def test_verify_says_what_it_found_and_what_it_cannot_see(entered: Path) -> None:
    here = entered
    head = chain(here / "h.db").head
    whole = qc("history", "verify", "--history", "h.db", cwd=here)
    assert (whole.returncode, whole.stdout) == (
        0,
        f"The chain is whole.\n2 entries, head digest {head}\nWhether the newest entries were cut off was not checked: "
        "that is seen against a digest that was\nnoted before, with --head DIGEST. Each review prints one.\n",
    )
    with sqlite3.connect(here / "h.db") as held:
        held.execute("DELETE FROM entry WHERE number = 2")
    held.close()
    cut = qc("history", "verify", "--history", "h.db", "--head", head, cwd=here)
    assert cut.returncode == 1
    assert "entries were cut off, or all were rewritten" in cut.stdout
    with sqlite3.connect(here / "h.db") as held:
        held.execute("UPDATE entry SET figures = replace(figures, 'complies', 'undecided')")
    held.close()
    broken = qc("history", "verify", cwd=here, QC_HISTORY="h.db")
    assert broken.returncode == 1
    assert broken.stdout.startswith("THE CHAIN IS BROKEN.\n1 entry, ")
    assert "Entries changed: 1\n" in broken.stdout


def test_a_confirmed_cause_moves_the_prior_of_the_next_batch_and_the_report_says_so(here: Path) -> None:
    qc("check", "sound.xlsx", "--no-report", "--history", "h.db", *AT, cwd=here)
    before = json.loads(qc("check", "two-actives.xlsx", "--json", "-", *AT, cwd=here).stdout)
    confirmed = qc("history", "confirm", "s-2611-01", "poor-mixing", "--by", "B", "--history", "h.db", cwd=here)
    assert (confirmed.returncode, confirmed.stdout.split(" (")[0]) == (0, "Noted as entry 2")
    after = qc("check", "two-actives.xlsx", "--report", "out", "--history", "h.db", *AT, cwd=here)
    assert after.returncode == 0, after.stderr
    document = json.loads((here / "out/result.json").read_text())
    assert document["seal"]["asked"]["confirmed"] == {"poor-mixing": 1}
    said = "The prior of the causes is the stated one, counted as 20 batches, with 1 confirmed cause of the history."
    assert [one["text"] for one in document["notices"] if one["where"] == "Causes"] == [said]
    chances = [{one["cause"]: one["probability"] for one in result["causes"]} for result in (before, document)]
    assert chances[1]["poor-mixing"] > chances[0]["poor-mixing"]
    # With the counts in its seal the report is judged again the same, without the history.
    verified = qc("verify", "out", "--input", "two-actives.xlsx", cwd=here)
    assert verified.returncode == 0, verified.stdout


def test_the_latest_confirmation_of_a_batch_counts_alone(here: Path) -> None:
    qc("check", "sound.xlsx", "--no-report", "--history", "h.db", *AT, cwd=here)
    for cause in ("poor-mixing", "uneven-fill"):
        qc("history", "confirm", "S-2611-01", cause, "--history", "h.db", cwd=here)
    assert confirmed_causes(str(here / "h.db")) == {"uneven-fill": 1}
    assert confirmed_causes(str(here / "none.db")) == {}
    assert not (here / "none.db").exists()


def test_a_history_is_a_frame_from_python(entered: Path) -> None:
    import qc as package

    here = entered
    qc("history", "confirm", "S-2611-01", "uneven-fill", "--history", "h.db", cwd=here)
    frame = package.History(here / "h.db").frame().set_index("number")
    assert list(frame.index) == ["S-2611-01", "S-2611-06"]
    assert frame.loc["S-2611-01", "confirmed_cause"] == "uneven-fill"
    judged = package.judge(package.read(here / "two-actives.xlsx"))
    test = next(one for one in judged.tests if one.id == "dosage-unit-uniformity" and one.active == "metronidazole")
    assert frame.loc["S-2611-06", "metronidazole av"] == test.figures["acceptance_value"]
    assert frame.loc["S-2611-06", "mean_g"] == pytest.approx(3.24005, abs=0.001)
    with pytest.raises(package.InputProblems, match="there is no such history"):
        package.History(here / "none.db").frame()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("verify",), "No history is named. Give one with --history STORE, or name it in QC_HISTORY.\n"),
        (
            ("verify", "--history", "no.db"),
            "no.db: there is no such history. Give the file that --history named before.",
        ),
        (("verify", "--history", "no.db", "--head", "abc"), '--head "abc" is too short'),
        (("add", "sound.xlsx", "--history", "h.db"), "this is not the folder of a report"),
        (("event", "2.3.2026", "new mould", "--history", "h.db"), 'DATE "2.3.2026" is no day. Give it year first'),
        (("event", "2026-03-02", " ", "--history", "h.db"), "The event says nothing"),
        (("confirm", "X", "sound", "--history", "no.db"), "there is no such history"),
        (("report", "--out", "o", "--from", "May", "--history", "no.db"), '--from "May" is no day'),
        (("report", "--out", "o", "--history", "no.db"), "there is no such history"),
    ],
)
def test_what_cannot_be_done_is_refused_with_its_mend(words: tuple[str, ...], message: str, here: Path) -> None:
    refused = qc("history", *words, cwd=here)
    assert (refused.returncode, refused.stdout) == (2, "")
    assert message in refused.stderr
    assert not (here / "no.db").exists()
