"""The seal as it is printed: the digests that tie the pages to the result, the input and the rules."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.say.numbers import NOTHING
from qc.show.pieces import Lines, Prose, Section, facts, section

HOW_TO_CHECK = (
    "In the folder of this report, sha256sum -c SHA256SUMS checks the files against each other; qc verify with the "
    "folder also checks them against the input and the rules, and judges again."
)
CANNOT = (
    "A digest shows that something was changed; it cannot show that nothing was: whoever rewrites every file and every "
    "digest leaves no trace in them. Keep the signed paper or a copy of SHA256SUMS elsewhere, or sign the files by the "
    "means of your house."
)


def seal_section(document: Mapping[str, Any], *, file_sha256: str) -> tuple[Section, ...]:
    """The seal of a result document as a part of the later pages; none where it carries none.

    Parameters
    ----------
    document : mapping
        The result document.
    file_sha256 : str
        SHA-256 of the file result.json.
    """
    seal = document.get("seal")
    if not isinstance(seal, Mapping):
        return ()
    source: Mapping[str, Any] = seal["input"] or {}
    digests = [
        (f"Input: {source.get('name', 'made in memory')}", source.get("sha256", NOTHING)),
        ("Result: what --json writes", seal["result_sha256"]),
        ("File result.json", file_sha256),
        (f"Rules asked for: {seal['rule_set']['file']}", seal["rule_set"]["sha256"]),
    ]
    pieces = (
        Prose(text=HOW_TO_CHECK),
        Prose(text=CANNOT),
        facts("Digests (SHA-256)", digests, what="Of what", value="SHA-256"),
        facts(
            "Records of the rules used, whose editions stand under Rules used",
            ((id, record["sha256"]) for id, record in seal["rules"].items()),
            what="Rule",
            value="SHA-256 of its file",
        ),
        Lines(title="Asked for and entered by", items=(_asked(seal), _entered(seal))),
    )
    return section("seal", "Seal", *pieces)


def _asked(seal: Mapping[str, Any]) -> str:
    given = [f"{name.replace('_', ' ')} {value}" for name, value in seal["asked"].items() if value is not None]
    return f"Asked for with: {', '.join(given) or 'nothing but the input'}; qc {seal['qc_version']}."


def _entered(seal: Mapping[str, Any]) -> str:
    names = [f"{role.replace('_', ' ')} {name or 'nobody named'}" for role, name in seal["entered_by"].items()]
    return f"As entered: {', '.join(names)}."
