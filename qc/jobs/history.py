"""The history fed: which store is meant, an entry from a batch that was judged, and entries from filed reports."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from qc.fields.field import same_name
from qc.history.entries import Confirmed, Event, ToAppend, to_append
from qc.history.figures import figures_of
from qc.history.products import Product, products, within
from qc.history.register import Register, Stored, open_register
from qc.jobs.check import Checked
from qc.jobs.seal import SEAL
from qc.jobs.verify.files import FiledResult, whole_report
from qc.problems import InputProblems, Problem, RefusedCall, gathering
from qc.say.text import listed
from qc.show.filing import JSON, Filing, Told, file_together
from qc.show.pages_html import plain_page
from qc.show.pages_pdf import PLAIN, Paper, pdf_pages
from qc.show.pieces import Section, as_plain

if TYPE_CHECKING:
    import pandas as pd

_IN_FRAME = ("product", "strength", "number", "made_on", "verdict", "basis", "planned_g", "made_by", "base_lot")
_OF_ACTIVE = {"mean": "mean", "sd": "sd", "av": "acceptance_value", "n": "n"}


class History:
    """A history, for notebooks.

    Parameters
    ----------
    store : str or Path
        A file, or the address of a database.

    Raises
    ------
    InputProblems
        When there is none, or it cannot be read.

    Examples
    --------
    >>> try:
    ...     History("nowhere.db").frame()
    ... except InputProblems as none:
    ...     print(len(none.problems))
    1
    """

    def __init__(self, store: str | Path) -> None:
        self.store = os.fspath(store)

    def frame(self) -> pd.DataFrame:
        """One row a batch that stands, product by product in the order in which they were made.

        Returns
        -------
        pandas.DataFrame
            entry, product, strength, number, made_on, verdict, basis, mean_g, sd_g [g], planned_g [g], n, and for each
            active NAME: `NAME mean`, `NAME sd` [% of label], `NAME av`, `NAME n`; likeliest_cause, confirmed_cause,
            made_by, base_lot, report, result_sha256.
        """
        import pandas as pd

        with open_register(self.store, must_exist=True) as register:
            _refuse_broken(register)
            every = products(register.records())
        rows = [
            {
                "entry": one.entry,
                **{name: getattr(one, name) for name in _IN_FRAME},
                **({} if one.mass is None else {"mean_g": one.mass.mean, "sd_g": one.mass.sd, "n": one.mass.n}),
                **{
                    f"{active} {name}": getattr(content, attribute)
                    for active, content in one.contents.items()
                    for name, attribute in _OF_ACTIVE.items()
                },
                "likeliest_cause": max(one.causes, key=lambda cause: one.causes[cause], default=None),
                "confirmed_cause": product.confirmed.get(one.result_sha256),
                "report": one.report,
                "result_sha256": one.result_sha256,
            }
            for product in every
            for one in product.batches
        ]
        return pd.DataFrame(rows)


def entry_of(checked: Checked, *, report: Path | None = None) -> ToAppend:
    """A judged batch as the entry of a history, with the folder of its report."""
    document = checked.sealed()
    place = "" if report is None else os.fspath(report.absolute())
    return to_append(figures_of(document, report=place), document=document, judged=checked.judged)


def confirmed_causes(store: str) -> dict[str, int]:
    """How often each cause was confirmed in a history, of each batch the latest; nothing where there is none yet."""
    if "://" not in store and not Path(store).exists():
        return {}
    with open_register(store) as register:
        latest = {one.result_sha256: one.cause for one in register.confirmed()}
    return dict(sorted(Counter(latest.values()).items()))


@contextmanager
def appended(store: str, checked: Checked, *, report: Path | None) -> Iterator[str]:
    """Append a judged batch if and only if what is done in the context goes well; answers where it stands.

    Raises
    ------
    InputProblems
        When the store cannot be used.
    """
    with open_register(store) as register, register.appending(entry_of(checked, report=report)) as stored:
        told = "entry" if stored.new else "the same result was already entry"
        yield f"{register.name}, {told} {stored.number}"


def add_reports(register: Register, reports: Sequence[Path]) -> list[tuple[Path, Stored]]:
    """Append filed reports in the order in which they were judged, a superseded one before the one that supersedes it.

    Parameters
    ----------
    register : Register
    reports : sequence of Path
        Folders of reports, files in them, or folders that hold such folders.

    Raises
    ------
    InputProblems
        When one of them is no report, or was changed since it was filed; nothing is appended then.
    """
    problems, filed = list[Problem](), list[FiledResult]()
    for folder in (one for report in reports for one in _folders(report)):
        with gathering(problems):
            filed.append(whole_report(folder))
    if problems:
        raise InputProblems(problems)
    added = []
    for one in sorted(filed, key=lambda one: (one.seal.judged_at, "supersedes" in one.document)):
        folder = one.folder.path
        figures = figures_of(one.document, report=os.fspath(folder.absolute()))
        # A history has its own record of what was judged.
        seal = {name: value for name, value in one.document[SEAL].items() if name != "drawn_from"}
        added.append((folder, register.append(to_append(figures, document={**one.document, SEAL: seal}))))
    return added


def _folders(report: Path) -> Iterator[Path]:
    """The folder itself, or each folder of a report below it."""
    below = [] if (report / JSON).is_file() or not report.is_dir() else sorted(report.rglob(JSON))
    yield from (one.parent for one in below) if below else [report]


def write_review(
    store: str, *, product: str | None, first: str, last: str, out: Path, paper: Paper, told: Told
) -> tuple[Path, ...]:
    """Write the review of a product, or of all of them, as HTML and PDF.

    Parameters
    ----------
    store : str
    product : str or None
        Its name, or the beginning of it; all products where it is None.
    first, last : str
        The days between which its batches were made; empty for no limit.
    out : Path
        The folder, made where it is not there; a review that stands there is replaced.
    paper, told
        As for a report.

    Raises
    ------
    InputProblems
        When the history holds no such product, or no batch of it in that time.
    """
    from qc.history.cavities import MOST_BATCHES, units_of
    from qc.history.review import review_of
    from qc.history.review_pages import CLOSING, review_sections

    with open_register(store, must_exist=True) as register:
        _refuse_broken(register)
        every = [within(one, first=first, last=last) for one in products(register.records())]
        chosen = [one for one in every if one.batches and (product is None or _meant(product, one))]
        if not chosen:
            known = listed(list(dict.fromkeys(one.name for one in every)))
            found = f'no batch of "{product}" stands in it' if product else "no batch of that time stands in it"
            raise InputProblems.of_file(Path(register.name), found, f"Its products are: {known or 'none'}")
        head, parts = register.head(), list[Section]()
        for place, one in enumerate(chosen):
            newest = one.batches[-MOST_BATCHES:]
            units = [units_of(register.entry(batch.entry).document(), batch) for batch in newest]
            parts += review_sections(review_of(one, units), head=head, name=f"-{place}" if place else "")
    title = f"{chosen[0].name or 'Product not named'}" if len(chosen) == 1 else "All products"
    span = " ".join(word for word in (f"from {first}" if first else "", f"to {last}" if last else "") if word)
    title = f"{title} {span}".strip()
    page = {"kind": "Review of the batches made", "title": title, "closing": CLOSING.format(head=head)}
    shown = {name: as_plain(text) for name, text in page.items()}
    files = {
        "review.html": plain_page(sections=tuple(parts), **page).encode(),
        "review.pdf": pdf_pages({**shown, "sections": as_plain(tuple(parts))}, paper=paper, template=PLAIN),
    }
    file_together([Filing(folder=out, files=files, replace=True, told=told)])
    return tuple(out / name for name in files)


def _refuse_broken(register: Register) -> None:
    """Refuse to tell of a history in which an entry was changed or is missing: what it tells, nobody judged."""
    chain = register.verify()
    if not chain.whole:
        numbers = listed([str(number) for number in (*chain.changed, *chain.missing)], most=8)
        found = f"the history was changed: {f'entry {numbers}' if numbers else chain.damage}"
        mend = "Go back to a copy of it, or add the filed reports to a new one: qc history add REPORT... --history FILE"
        raise InputProblems.of_file(Path(register.name), found, mend)


def _meant(asked: str, product: Product) -> bool:
    return same_name(product.name).startswith(same_name(asked))


def note_event(register: Register, *, day: str, text: str, product: str = "") -> Stored:
    """Note what changed in the process, or what was done after a signal."""
    return register.append(to_append(Event(day=day, text=text, product=product)))


def confirm_cause(register: Register, batch: str, cause: str, *, by: str = "") -> Stored:
    """Note the cause that was found to be the one of a batch.

    Raises
    ------
    InputProblems
        When no batch of that number stands in the history, several do, or the cause is not known.
    """
    from qc.causes.model import CAUSE_IDS

    if cause not in CAUSE_IDS:
        raise RefusedCall(f'"{cause}" is no cause', f"Give one of {', '.join(CAUSE_IDS)}")
    every = [one for product in products(register.records()) for one in product.batches]
    found = [one for one in every if same_name(one.number) == same_name(batch) or one.result_sha256.startswith(batch)]
    if len(found) != 1:
        many = f'{len(found)} batches "{batch}" stand' if found else f'no batch "{batch}" stands'
        raise RefusedCall(f"{many} in the history", "Give its number, or the first digits of the digest of its result")
    (only,) = found
    return register.append(
        to_append(Confirmed(result_sha256=only.result_sha256, number=only.number, cause=cause, by=by))
    )
