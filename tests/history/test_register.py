"""The register against what may befall it: edits, cuts, a second writer, a kill, a full disk, an older release."""

from __future__ import annotations

import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from stored_batches import SAMPLES, checked, entry

from qc.history import register as under_test
from qc.history.entries import Event, to_append
from qc.history.kept import kept, read_back
from qc.history.register import NOTHING_BEFORE, open_register, verify_store
from qc.problems import InputProblems

JUDGED = sorted(path.stem for path in SAMPLES.glob("*.xlsx") if path.stem != "typing-slips")
APPEND_MANY = """
import sys
from pathlib import Path
from qc.history.entries import Event, to_append
from qc.history.register import open_register
store, who, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_register(store) as register:
    for number in range(count):
        register.append(to_append(Event(day="2026-01-01", text=f"{who} {number}")))
        print(number, flush=True)
"""


def fill(store: str, count: int) -> list[str]:
    with open_register(store) as register:
        return [register.append(entry(number)).digest for number in range(1, count + 1)]


def verified(store: str, head: str | None = None) -> under_test.Chain:
    with open_register(store, must_exist=True) as register:
        return register.verify(head=head)


def by_hand(store: str, statement: str, *values: object) -> None:
    with sqlite3.connect(store) as held:
        held.execute(statement, values)
    held.close()


@pytest.mark.parametrize("stem", JUDGED)
def test_a_judged_batch_is_read_back_equal(stem: str, store: str) -> None:
    judged = checked(stem).judged
    with open_register(store) as register:
        register.append(entry(1, stem))
        (stored,) = register.entries()
    back = stored.judged()
    assert back == judged
    # Decimals keep their digits, and every value its kind.
    assert repr(back) == repr(judged)
    assert stored.document() == checked(stem).sealed()


def test_a_store_makes_nothing_but_records_of_this_package() -> None:
    with pytest.raises(ValueError, match=r'"os\.system" is no record of this version'):
        read_back(["os.system", {"command": "true"}])
    with pytest.raises(ValueError, match="is no record"):
        read_back(["qc.history.register.open_register", {"store": "x"}])
    assert read_back(kept((float("inf"), frozenset({1})))) == (float("inf"), frozenset({1}))


def test_a_record_of_another_version_is_read_as_far_as_it_is_known() -> None:
    """A field that came since holds its default, one that went is left out."""
    name, fields = kept(Event(day="2026-01-01", text="new mould"))
    assert read_back([name, {**fields, "weather": "fair"}]) == Event(day="2026-01-01", text="new mould", product="")


def test_each_entry_carries_the_digest_of_the_one_before(store: str) -> None:
    digests = fill(store, 3)
    with open_register(store) as register:
        entries = list(register.entries())
        assert register.head() == digests[-1]
    assert [one.previous for one in entries] == [NOTHING_BEFORE, *digests[:-1]]
    assert verified(store).whole


def test_the_digest_can_be_calculated_with_a_general_program(store: str) -> None:
    import hashlib
    import json

    fill(store, 2)
    with sqlite3.connect(store) as held:
        *said, content = held.execute(
            "SELECT number, previous, kind, at, identity, figures, content FROM entry WHERE number = 2"
        ).fetchone()
        (digest,) = held.execute("SELECT digest FROM entry WHERE number = 2").fetchone()
    held.close()
    text = json.dumps(said, ensure_ascii=False, separators=(",", ":"))
    assert hashlib.sha256(text.encode() + b"\n" + content).hexdigest() == digest


@pytest.mark.parametrize(
    ("statement", "values"),
    [
        ("UPDATE entry SET figures = replace(figures, 'B-3', 'B-4') WHERE number = 3", ()),
        ("UPDATE entry SET at = '2020-01-01' WHERE number = 3", ()),
        ("UPDATE entry SET kind = 'event' WHERE number = 3", ()),
        ("UPDATE entry SET identity = NULL WHERE number = 3", ()),
        ("UPDATE entry SET content = ? WHERE number = 3", (b"x",)),
        ("UPDATE entry SET content = ? WHERE number = 3", ("x",)),
    ],
)
def test_an_entry_that_was_changed_is_named(statement: str, values: tuple[object, ...], store: str) -> None:
    fill(store, 5)
    by_hand(store, statement, *values)
    chain = verified(store)
    assert (chain.changed, chain.missing, chain.whole) == ((3,), (), False)


def test_a_row_missing_within_is_named_and_renumbering_does_not_hide_it(store: str) -> None:
    fill(store, 5)
    by_hand(store, "DELETE FROM entry WHERE number = 3")
    chain = verified(store)
    assert (chain.changed, chain.missing, chain.whole) == ((), (3,), False)
    by_hand(store, "UPDATE entry SET number = number - 1 WHERE number > 3")
    assert verified(store).changed == (3, 4)


def test_entries_cut_off_at_the_end_are_seen_against_a_head_digest_only(store: str) -> None:
    digests = fill(store, 5)
    by_hand(store, "DELETE FROM entry WHERE number > 3")
    assert verified(store).whole
    assert verified(store).head_found is None
    assert verified(store, digests[4]).head_found is False
    assert not verified(store, digests[4]).whole
    # A digest noted before later entries were appended is still one of the chain.
    assert verified(store, digests[1]).whole


def test_a_byte_changed_anywhere_in_the_contents_is_found(store: str) -> None:
    fill(store, 4)
    whole = Path(store).read_bytes()
    with open_register(store) as register:
        content = next(register.entries()).content
    start = whole.index(content[1000:1040])
    for place in (start, start + 37):
        changed = bytearray(whole)
        changed[place] ^= 1
        Path(store).write_bytes(changed)
        chain = verified(store)
        assert not chain.whole
        assert chain.changed == (1,)


def test_a_page_that_was_overwritten_is_told_and_not_a_traceback(store: str) -> None:
    fill(store, 4)
    whole = bytearray(Path(store).read_bytes())
    with open_register(store) as register:
        content = list(register.entries())[2].content
    page = whole.index(content[:40]) // 4096 * 4096
    whole[page : page + 4096] = b"\xff" * 4096
    Path(store).write_bytes(whole)
    chain = verified(store)
    assert chain.damage
    assert not chain.whole


def test_a_store_that_lost_its_end_is_damaged_and_another_file_is_no_store(store: str, tmp_path: Path) -> None:
    fill(store, 4)
    os.truncate(store, 8192)
    assert not verify_store(store).whole
    assert "malformed" in verify_store(store).damage
    (tmp_path / "other.db").write_text("no database")
    with pytest.raises(InputProblems, match="it is no history"):
        verify_store(str(tmp_path / "other.db"))


def test_the_same_result_stands_once(store: str) -> None:
    with open_register(store) as register:
        first, again = register.append(entry(1)), register.append(entry(1))
    assert (first.new, again.new, again.number, again.digest) == (True, False, 1, first.digest)
    assert verified(store).entries == 1


def test_two_processes_that_append_at_once_lose_nothing(store: str) -> None:
    writers = [
        subprocess.Popen([sys.executable, "-c", APPEND_MANY, store, who, "200"], stdout=subprocess.DEVNULL)
        for who in "ab"
    ]
    assert [one.wait(120) for one in writers] == [0, 0]
    chain = verified(store)
    assert (chain.entries, chain.whole) == (400, True)


def test_a_writer_killed_in_the_middle_leaves_whole_entries(store: str) -> None:
    said = 0
    for after in (0.0, 0.013, 0.031, 0.052):
        writer = subprocess.Popen([sys.executable, "-c", APPEND_MANY, store, "k", "100000"], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(after)
        os.kill(writer.pid, signal.SIGKILL)
        said += 1 + writer.stdout.read().count(b"\n")
        writer.wait()
        writer.stdout.close()
    chain = verified(store)
    # What was said to be appended is there; of the last entry of each writer that is not known.
    assert chain.whole
    assert said <= chain.entries <= said + 4


@pytest.mark.skipif(os.name == "nt", reason="a limit on the size of files as of Unix")
def test_a_disk_that_is_full_loses_nothing_that_was_there(store: str) -> None:
    fill(store, 3)
    limit = Path(store).stat().st_size + 20_000
    program = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))\n" + APPEND_MANY
    ).replace('text=f"{who} {number}"', 'text="long " * 5000')
    done = subprocess.run([sys.executable, "-c", program, store, "f", "100"], capture_output=True, text=True)
    assert done.returncode != 0
    assert "InputProblems: history.db: the history cannot be used (" in done.stderr
    chain = verified(store)
    assert chain.whole
    assert chain.entries == 3 + done.stdout.count("\n")


def test_what_fails_in_the_context_of_an_append_leaves_no_entry(store: str) -> None:
    with open_register(store) as register:
        with pytest.raises(OSError, match="no room"), register.appending(entry(1)):
            raise OSError("no room for the report")
        assert register.records() == []
        assert register.append(entry(1)).number == 1


def test_an_older_store_is_brought_up_and_a_later_one_refused(store: str, monkeypatch: pytest.MonkeyPatch) -> None:
    digests = fill(store, 2)
    later = (*under_test.MIGRATIONS, ("ALTER TABLE entry ADD COLUMN seen TEXT",))
    with monkeypatch.context() as of_tomorrow:
        of_tomorrow.setattr(under_test, "MIGRATIONS", later)
        with open_register(store) as register:
            register.append(entry(3))
            assert register.verify(head=digests[1]).whole
    with sqlite3.connect(store) as opened:
        assert [*opened.execute("SELECT applied FROM version ORDER BY applied")] == [(1,), (2,)]
    with pytest.raises(
        InputProblems, match=r"history\.db: the history is of version 2; this program knows versions up"
    ):
        open_register(store)


def test_a_step_that_fails_leaves_the_store_as_it_was(store: str, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(store, 2)
    broken = (*under_test.MIGRATIONS, ("ALTER TABLE entry ADD COLUMN seen TEXT", "NO SUCH STATEMENT"))
    with monkeypatch.context() as of_tomorrow:
        of_tomorrow.setattr(under_test, "MIGRATIONS", broken)
        with pytest.raises(InputProblems, match="syntax error"):
            open_register(store)
    assert verified(store).whole


def test_the_store_of_the_first_version_is_still_read(tmp_path: Path) -> None:
    """The file in the reference folder is never made anew: it stands for what users have."""
    shutil.copy(Path(__file__).parents[1] / "reference/history/version-1.db", tmp_path / "old.db")
    with open_register(str(tmp_path / "old.db")) as register:
        chain = register.verify(head="fe8053730c2398dc247f1f6d0f5538aad64f546627d1898e40cc7b3e819ffa6c")
        assert (chain.entries, chain.whole) == (3, True)
        kinds = [type(figures).__name__ for _, figures in register.records()]
        assert kinds == ["BatchFigures", "BatchFigures", "Event"]
        judged = next(register.entries()).judged()
        assert judged is not None
        assert judged.batch.number == "S-2611-01"
        register.append(to_append(Event(day="2027-01-01", text="opened by a later release")))
        assert register.verify().whole


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ("nowhere/history.db", "the history cannot stand here: it is a file in a folder that is there"),
        (".", "the history cannot stand here"),
        ("sound.xlsx", "it is no history, or it cannot be opened (file is not a database)"),
    ],
)
def test_what_cannot_be_a_store_is_refused(place: str, message: str, tmp_path: Path) -> None:
    shutil.copy(SAMPLES / "sound.xlsx", tmp_path)
    with pytest.raises(InputProblems) as refused:
        open_register(str(tmp_path / place))
    assert message in str(refused.value)


@pytest.mark.parametrize("ask", [verified, verify_store])
def test_to_verify_a_store_that_is_not_there_makes_none(ask: Callable[[str], object], tmp_path: Path) -> None:
    with pytest.raises(InputProblems, match="there is no such history"):
        ask(str(tmp_path / "none.db"))
    assert not list(tmp_path.iterdir())


def test_an_entry_says_when_it_was_made_to_the_second_with_the_zone() -> None:
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d", entry(1).at)
