"""The list of digests beside the files of a report, in the format of the program sha256sum.

`sha256sum -c SHA256SUMS` checks it without this tool. Format: GNU coreutils manual, "sha2 utilities": the digest in
hexadecimal digits, a space, a space for text, the name; one line a file.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

SUMS = "SHA256SUMS"
_LINE = re.compile(r"([0-9a-f]{64})  ([^\s/\\]+)")


def sums_text(files: Mapping[str, bytes]) -> str:
    """The list for some files, in the order of their names.

    Parameters
    ----------
    files : mapping
        Bytes by plain file name.

    Examples
    --------
    >>> sums_text({"empty": b""})
    'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  empty\\n'
    """
    return "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))


def read_sums(text: str) -> dict[str, str]:
    """The digest of each file of a list, by name.

    Raises
    ------
    ValueError
        When a line is not in the format, or a file stands twice; the message names the line.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise ValueError(f"line {number} is not a digest, two spaces and a file name")
        digest, name = match.groups()
        if name in found:
            raise ValueError(f"line {number} names {name} again")
        found[name] = digest
    return found
