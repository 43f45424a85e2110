"""What the pages of a report say, as text, and whether it is what the result document says."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from html import unescape
from io import BytesIO
from typing import Any

from qc.patterns import pattern
from qc.results import BatchVerdict, Verdict
from qc.say.names import BATCH_SIGN, BATCH_VERDICT, LEFT_TO_SIGNER, OPEN_SIGN, VERDICT, titled
from qc.say.text import shortened

_TAG = pattern(r"<(style|script|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)
_NUMBER = pattern(r"\d+(?:\.\d+)?")
_BY_ITS_NUMBER = pattern(r"\[U\+[^]]*\]")
_MOST_NAMED = 3
_LONGEST_TITLE = 80
# What a viewer draws over the pages, runs or shows beside them.
_NEVER_IN_CATALOG = {
    "/AcroForm": "a form",
    "/OpenAction": "an action",
    "/AA": "an action",
    "/OCProperties": "layers",
    "/AF": "an attachment",
    "/Collection": "an attachment",
    "/JavaScript": "a script",
    "/EmbeddedFiles": "an attachment",
}
# A content is shown with fewer decimals than it was worked out to.
_DECIMALS = range(7)


@lru_cache(maxsize=8)
def text_of(content: bytes) -> str:
    """The text of an HTML page or of a PDF; empty where no text can be found in it."""
    if not content.startswith(b"%PDF"):
        return unescape(_TAG.sub(" ", content.decode(errors="replace")))
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    try:
        return "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    except (PyPdfError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError, OSError):
        return ""


def letters_of(content: bytes) -> str:
    """The text of a page without blanks and line ends, which hang on fonts and paper."""
    return "".join(text_of(content).split())


@lru_cache(maxsize=8)
def never_drawn(content: bytes) -> tuple[str, ...]:
    """What a PDF holds that no report is drawn with, in words; it may cover what the pages say.

    A report has no annotation, picture made of dots, form, script, layer or attachment, and is written in one piece.
    """
    if not content.startswith(b"%PDF"):
        return ()
    from pikepdf import Pdf, PdfError

    whole = content.count(b"startxref") == 1 and content.endswith(b"%%EOF\n")
    found = [] if whole else ["something added behind the end of the file"]
    try:
        with Pdf.open(BytesIO(content)) as opened:
            root: Any = opened.Root
            keys = {*root.keys(), *(root["/Names"].keys() if "/Names" in root else ())}
            found += [told for key, told in _NEVER_IN_CATALOG.items() if key in keys]
            pages = enumerate(opened.pages, start=1)
            found += [
                f"an annotation or stamp on page {at}" for at, page in pages if {"/Annots", "/AA"} & page.obj.keys()
            ]
            dotted = any(_of_dots(one) for one in opened.objects)
            found += ["a picture made of dots"] if dotted else []
    except (PdfError, ValueError, TypeError, AttributeError):
        found.append("parts that cannot be read")
    return tuple(dict.fromkeys(found))


def _of_dots(one: Any) -> bool:
    from pikepdf import Stream

    return isinstance(one, Stream) and one.get("/Subtype") == "/Image"


def not_said(document: Mapping[str, Any], content: bytes) -> tuple[str, ...]:
    """What a result document says and a page does not: verdicts, batch number, masses and contents of its units.

    Parameters
    ----------
    document : mapping
        A result document that was read from a file.
    content : bytes
        The page.

    Returns
    -------
    tuple of str
        The first few of them, as they are called; empty where the page says all of them and no other verdict.
    """
    letters = letters_of(content)
    numbers = {float(number) for number in _NUMBER.findall(text_of(content))}
    number = "".join(str(document["batch"].get("number") or "").split())
    lacking = list(_verdicts_not_said(document, letters))
    lacking += [f"batch number {number}"] if number.isascii() and number not in letters else []
    lacking += [what for what, shown in _measured(document) if numbers.isdisjoint(shown)]
    return tuple(lacking[:_MOST_NAMED])


def _verdicts_not_said(document: Mapping[str, Any], letters: str) -> Iterator[str]:
    """The verdicts of the batch and of each test that page one does not give, or beside which it gives another one."""
    words = {f"{BATCH_SIGN[one]}{BATCH_VERDICT[one]}".replace(" ", ""): one.value for one in BatchVerdict}
    words[f"{OPEN_SIGN}{BATCH_VERDICT[BatchVerdict.COMPLIES]}"] = BatchVerdict.COMPLIES.value
    if {verdict for told, verdict in words.items() if told in letters} != {document["verdict"]}:
        yield "the verdict of the batch"
    plain = _ascii(letters)
    given: dict[str, set[str]] = {}
    for test in document["tests"]:
        title = titled(test["id"], about=test.get("active") or test.get("subject"))
        given.setdefault(shortened(title, most=_LONGEST_TITLE), set()).add(test["verdict"])
    told_as = [(one.value, _ascii(told)) for one, told in (*VERDICT.items(), (Verdict.NOT_ASSESSED, LEFT_TO_SIGNER))]
    for title, verdicts in given.items():
        # The title stands before its verdict, after it a comma on paper.
        heads = [_ascii(title) + mark for mark in ("", ",")]
        said = {one for one, told in told_as if any(head + told in plain for head in heads)}
        if said != verdicts:
            yield f"the verdict of {title}"


def _ascii(text: str) -> str:
    """Letters without those that a font may lack, which paper gives by their numbers, and without blanks."""
    return "".join(_BY_ITS_NUMBER.sub("", text).encode("ascii", errors="ignore").decode().split())


def _measured(document: Mapping[str, Any]) -> Iterator[tuple[str, set[float]]]:
    """What was measured of each unit, with the numbers as which it may be shown."""
    for unit in document["units"]:
        for key in ("mass_g", "weighed_again_g"):
            if isinstance(unit.get(key), int | float):
                yield f"mass {unit[key]} g of unit {unit['unit']}", {float(unit[key])}
        for active, content in (unit.get("contents") or {}).items():
            found = [one for key in ("mg", "percent_of_label") if isinstance(one := content.get(key), int | float)]
            if found:
                yield (
                    f"content of {active} of unit {unit['unit']}",
                    {round(one, at) for one in found for at in _DECIMALS},
                )
