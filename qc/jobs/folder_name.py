"""Names of files and folders that every system can hold: what Windows keeps for itself, and a plain name for a batch.

Source: Microsoft Learn, "Naming Files, Paths, and Namespaces" (names of devices, with any ending; no blank or point at
the end of a name; nine characters besides control characters).
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from pathlib import PureWindowsPath

from qc.patterns import pattern

MOST_LETTERS = 60
_PORTS = "0123456789\u00b9\u00b2\u00b3"
_DEVICES = frozenset(
    ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$", *(f"{port}{n}" for port in ("COM", "LPT") for n in _PORTS)]
)
_NOT_IN_A_NAME = pattern(r'[<>:"|?*\x00-\x1f]')


def plain_name(text: str, *, beside: Iterable[str] = ()) -> str:
    """A text as one plain name of a folder, letters, digits, hyphens and points, that no other text is given.

    Where the name is not the text itself, or differs from a name beside it in capitals alone, which many disks take
    for the same, eight digits of the text's SHA-256 end it.

    Examples
    --------
    >>> plain_name("B-7"), plain_name("2026/07 B: 4"), plain_name("aux"), plain_name("../..")
    ('B-7', '2026-07-B-4-ba92284c', 'batch-aux-321f6814', 'batch-0cfd1c96')
    >>> plain_name("b-7", beside=["B-7"])
    'b-7-f2a15e5d'
    """
    plain = re.sub(r"[^\w.-]+", "-", text).strip("-.")[:MOST_LETTERS].rstrip("-.")
    if not plain or _is_device(plain):
        plain = f"batch-{plain}".rstrip("-")
    alike = {name for name in beside if name.casefold() == plain.casefold()}
    own = plain == text == unicodedata.normalize("NFKC", text) and not re.search(r"-[0-9a-f]{8}$", text)
    if own and (plain in alike or not alike):
        return plain
    return f"{plain}-{hashlib.sha256(text.encode(errors='surrogatepass')).hexdigest()[:8]}"


def unfit_part(path: str) -> str:
    """The part of a path that Windows cannot use as the name of a file or a folder; empty where it can use all.

    Examples
    --------
    >>> unfit_part("C:\\\\reports\\\\aux.txt"), unfit_part("reports/B-7. "), unfit_part("C:/reports/../B-7")
    ('aux.txt', 'B-7. ', '')
    """
    whole = PureWindowsPath(path)
    parts = whole.parts[1:] if whole.anchor else whole.parts
    return next((part for part in parts if part not in (".", "..") and _is_unfit(part)), "")


def _is_unfit(part: str) -> bool:
    return _is_device(part) or part.endswith((" ", ".")) or _NOT_IN_A_NAME.search(part) is not None


def _is_device(part: str) -> bool:
    return part.partition(".")[0].rstrip().upper() in _DEVICES
