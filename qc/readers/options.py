"""What a call may say about an input that the input does not say itself."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

DecimalMark = Literal["comma", "point"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """Facts that come from the call.

    Parameters
    ----------
    form : str or None
        Dosage form, where the input names none.
    label_mg : Decimal or None
        Label claim of the one active of a bare table [mg].
    displacement : Decimal or None
        Displacement value of the one active of a bare table [g of active that displaces 1 g of base].
    rules : str or None
        Rules to judge by; goes before what the input names.
    decimal : "comma", "point" or None
        The decimal mark of numbers typed as text, where the file leaves it open.
    separator : str or None
        What separates the fields of a delimited file, where it cannot be recognised: "," or ";" or a tab.
    """

    form: str | None = None
    label_mg: Decimal | None = None
    displacement: Decimal | None = None
    rules: str | None = None
    decimal: DecimalMark | None = None
    separator: str | None = None
