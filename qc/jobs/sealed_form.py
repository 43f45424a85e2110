"""Whether a document has the form of a sealed result, so that what reads it afterwards need not doubt every part."""

from __future__ import annotations

from collections.abc import Mapping
from types import NoneType
from typing import Any

_TEXT_OR_NONE = (str, NoneType)
_VALUE = (str, int, float, bool, NoneType)
_DOCUMENT: Mapping[str, tuple[type, ...]] = {
    "schema": (str,),
    "qc_version": (str,),
    "input": (dict, NoneType),
    "batch": (dict,),
    "rule_set": (str,),
    "seed": (int,),
    "verdict": (str,),
    "tests": (list,),
    "units": (list,),
    "planned_mass": (dict, NoneType),
    "supersedes": (dict, NoneType),
    "seal": (dict,),
}
_TEST: Mapping[str, tuple[type, ...]] = {
    "id": (str,),
    "rule": (str,),
    "active": _TEXT_OR_NONE,
    "subject": _TEXT_OR_NONE,
    "verdict": (str,),
    "figures": (dict,),
    "outside": (list,),
    "sample": (list,),
}
_SEAL: Mapping[str, tuple[type, ...]] = {
    "input": (dict, NoneType),
    "result_sha256": (str,),
    "rule_set": (dict,),
    "rules": (dict,),
    "asked": (dict,),
    "qc_version": (str,),
    "entered_by": (dict,),
}
_SOURCE: Mapping[str, tuple[type, ...]] = {"name": (str,), "sha256": (str,)}
_RULE_SET: Mapping[str, tuple[type, ...]] = {"id": (str,), "file": (str,), "sha256": (str,)}
_RULE: Mapping[str, tuple[type, ...]] = {"edition": (str,), "file": (str,), "sha256": (str,)}
_ASKED: Mapping[str, tuple[type, ...]] = dict.fromkeys(
    ("form", "label_mg", "displacement", "decimal", "separator", "rules"), _TEXT_OR_NONE
)
_ENTERED: Mapping[str, tuple[type, ...]] = dict.fromkeys(("made_by", "weighed_by", "checked_by"), _TEXT_OR_NONE)
_SUPERSEDES: Mapping[str, tuple[type, ...]] = {
    "result_sha256": (str,),
    "verdict": (str,),
    "because": (str,),
    "differences": (list,),
}
_DIFFERENCE: Mapping[str, tuple[type, ...]] = {"where": (str,), "what": (str,), "before": _VALUE, "after": _VALUE}
# Parts that a result need not have.
_MAY_LACK = frozenset({"supersedes", "input", "subject"})


def is_sealed_result(document: Mapping[str, Any]) -> bool:
    """Whether every part that is read again has its kind.

    Parameters
    ----------
    document : mapping
        A document read from a file.
    """
    if not _has(document, _DOCUMENT):
        return False
    seal, superseded = document["seal"], document.get("supersedes")
    return (
        _has(seal, _SEAL)
        and (seal["input"] is None or _has(seal["input"], _SOURCE))
        and _has(seal["rule_set"], _RULE_SET)
        and all(_has(rule, _RULE) for rule in seal["rules"].values())
        and _has(seal["asked"], _ASKED)
        and _has(seal["entered_by"], _ENTERED)
        and all(_has(test, _TEST) and _named_units(test["outside"]) for test in document["tests"])
        and _named_units(document["units"])
        and all(_contents(unit.get("contents", {})) for unit in document["units"])
        and (superseded is None or _superseded(superseded))
    )


def _has(part: object, kinds: Mapping[str, tuple[type, ...]]) -> bool:
    return isinstance(part, dict) and all(
        isinstance(part[name], kind) if name in part else name in _MAY_LACK for name, kind in kinds.items()
    )


def _named_units(units: list[object]) -> bool:
    return all(isinstance(unit, dict) and isinstance(unit.get("unit"), str) for unit in units)


def _contents(contents: object) -> bool:
    return isinstance(contents, dict) and all(isinstance(content, dict) for content in contents.values())


def _superseded(superseded: Mapping[str, Any]) -> bool:
    return _has(superseded, _SUPERSEDES) and all(_has(one, _DIFFERENCE) for one in superseded["differences"])
