"""The review of a history as it is written: whose, of which days, in which files; or why there is none."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import Any

import made_up
import pytest
from msgspec.structs import replace

from qc.history.entries import to_append
from qc.history.register import open_register
from qc.jobs.history import write_review
from qc.problems import InputProblems
from qc.show.pages_pdf import PLAIN, Paper

pytestmark = pytest.mark.usefixtures("plain_pictures")


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What was given to the typesetter, which is not asked."""
    given: list[dict[str, Any]] = []

    def pdf_pages(page: dict[str, Any], **how: Any) -> bytes:
        given.append({**page, **how})
        return b"%PDF"

    monkeypatch.setattr("qc.jobs.history.pdf_pages", pdf_pages)
    return given


@pytest.fixture
def store(tmp_path: Path) -> str:
    """Three batches of zinc, and two of tar in other months."""
    place = str(tmp_path / "h.db")
    zinc = [made_up.stepped(number) for number in (1, 2, 3)]
    named = {"product": "Tar", "strength": ""}
    tar = [
        replace(zinc[0], **named, result_sha256=f"t{month}", made_on=f"2026-0{month}-01", number=f"T-{month}")
        for month in (2, 3)
    ]
    with open_register(place) as register:
        for one in (*zinc, *tar):
            register.append(to_append(one, document={"units": []}))
    return place


def written(store: str, printed: list[dict[str, Any]], **asked: Any) -> tuple[str, dict[str, Any]]:
    out = Path(store).parent / "out"
    usual: dict[str, Any] = {"product": None, "first": "", "last": "", "paper": Paper.LETTER, "told": nullcontext}
    page, paper = write_review(store, out=out, **{**usual, **asked})
    assert (page, paper) == (out / "review.html", out / "review.pdf")
    assert paper.read_bytes() == b"%PDF"
    return page.read_text().replace("\N{NO-BREAK SPACE}", " "), printed[-1]


def test_a_history_that_is_not_there_is_not_begun_by_a_review(tmp_path: Path, printed: list[dict[str, Any]]) -> None:
    with pytest.raises(InputProblems, match="there is no such history"):
        written(str(tmp_path / "none.db"), printed)
    assert list(tmp_path.iterdir()) == []


def test_all_products_stand_on_one_page_with_pictures_of_their_own(store: str, printed: list[dict[str, Any]]) -> None:
    text, paper = written(store, printed)
    assert "Zinc pessaries 25 mg: in short" in text
    assert "Tar: in short" in text
    assert text.count('id="chart-0"') == text.count('id="chart-1-0"') == 1
    with open_register(store) as register:
        head = register.head()
    assert text.count(head) == 3
    assert (paper["paper"], paper["template"]) == (Paper.LETTER, PLAIN)
    assert (str(paper["kind"]), str(paper["title"])) == ("Review of the batches made", "All products")
    assert head in str(paper["closing"])
    assert len(paper["sections"]) == 10


@pytest.mark.parametrize(
    ("asked", "title", "there", "not_there"),
    [
        ({"product": "zinc PESS"}, "Zinc pessaries 25 mg", "B-3", "T-2"),
        ({"product": "tar", "first": "2026-03"}, "Tar from 2026-03", "T-3", "T-2"),
        ({"last": "2026-01-02"}, "Zinc pessaries 25 mg to 2026-01-02", "B-2", "B-3"),
        ({"first": "2026-02-01", "last": "2026-02-28"}, "Tar from 2026-02-01 to 2026-02-28", "T-2", "B-1"),
    ],
)
def test_a_review_is_of_the_product_and_the_days_that_are_asked_for(
    asked: dict[str, str], title: str, there: str, not_there: str, store: str, printed: list[dict[str, Any]]
) -> None:
    text, paper = written(store, printed, **asked)
    assert paper["title"].replace("\N{NO-BREAK SPACE}", " ") == title
    assert (f">{there}<" in text, f">{not_there}<" in text) == (True, False)
    # One that stands there is replaced.
    assert written(store, printed, **asked)[0] == text


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"product": "lead"}, 'no batch of "lead" stands in it. Its products are: Zinc pessaries 25 mg and Tar.'),
        ({"first": "2027"}, "no batch of that time stands in it. Its products are: Zinc pessaries 25 mg and Tar."),
    ],
)
def test_where_there_is_nothing_to_review_it_says_what_there_is(
    asked: dict[str, str], told: str, store: str, printed: list[dict[str, Any]]
) -> None:
    with pytest.raises(InputProblems) as refused:
        written(store, printed, **asked)
    assert str(refused.value).endswith(told)
    assert not (Path(store).parent / "out").exists()


def test_of_a_history_without_a_batch_there_is_none(tmp_path: Path, printed: list[dict[str, Any]]) -> None:
    with open_register(str(tmp_path / "h.db")):
        pass
    with pytest.raises(InputProblems, match=r"no batch of that time stands in it\. Its products are: none\.$"):
        written(str(tmp_path / "h.db"), printed)
