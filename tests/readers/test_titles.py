"""Titles and remarks beside the masses: what makes other masses of them is refused, a plain title passes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
BookOf = Callable[..., Path]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
MASSES += [2.001, 2.017, 1.993, 2.013, 2.030, 2.021, 1.998, 1.987, 2.004, 2.010]
LIST: list[list[Any]] = [[number, mass] for number, mass in enumerate(MASSES, start=1)]

OTHERS = (
    "Mass with foil|Gross weights|Tare|Gross|With foil|incl. wrapper|Masses before trimming|Before trimming|"
    "Weights of 10 units|Weight of ten units together|Mass + foil|Cumulative weights|Weights in wrapper|VOID|"
    "VOID - balance defective|Example data|Target weights|Nominal weights|Weights of the empty moulds|"
    "Gewichte mit Folie|Mit Folie|Bruttogewichte|Masses avec blister|Poids bruts|Avec emballage|Pesos brutos|"
    "Con envase|Peso lordo|Con involucro|Peso com invólucro|Gewicht met folie|Masa z folią|Mass of base only|"
    "Previous batch weights|Weights of wrapped suppositories|Average weights|Weights x 10|Weights lost|"
    "Suppositories weighed with foil|Weights Wrapper|Total weights|Weighed before trimming|Weights in mg|"
    "All weights in kg|Alle Werte brutto|in Blister gewogen|Sollwerte|je 2 Zäpfchen zusammen gewogen|"
    "ten units together|Erratum: 7 = 1,500"
)
PLAIN = (
    "Uniformity of mass|Uniformity of weight test (Ph. Eur. 2.9.5)|Individual weights|Gewichtskontrolle|"
    "Weights of 20 suppositories|Weighed on 12.3.2026 by AB|Balance: type 210 S|"
    "Tare the balance before weighing|Paracetamol suppositories 250 mg|"
    "Limits: 5 % of mean weight|Test for uniformity of mass of single-dose preparations|"
    "The mean of the 20 units is 2.013 g.|Batch 240117|Weighed by M. Huber|All weights in g|Weights of batch 7 in g|"
    "Diazepam 5 mg: individual weights|Weights of diazepam suppositories|Ensayo de uniformidad de peso|"
    "Prüfung der Gleichförmigkeit der Masse|Uniformité de masse|Uniformità di massa|Masses individuelles|"
    "Masa poszczególnych czopków|Target: 2.05 g|Nominal weight:|Net = gross - tare 0.112 g|Packed in foil strips of 6|"
    "Gleichförmigkeit der Masse nach Ph. Eur. 2.9.5|Target weight 2.0 g ± 5 %|Suppositories weighed without foil|"
    "Prüfung auf Gleichförmigkeit der Masse einzeldosierter Arzneiformen|Gewicht der Suppositorien ohne Folie|"
    "Net weights, foil removed|Tara: Wägeschälchen|Masy podano w gramach|Target weight 2.0 g +/- 5 %|"
    "Base lot 12|Lot of paracetamol: 4711|Store at 2 to 8 °C"
)
HEADED = [["Unit", "Mass (g)"], *LIST]
PLACES: dict[str, Callable[[str], list[list[Any]]]] = {
    "over a gap": lambda text: [[text], [], [], *HEADED],
    "over the headings": lambda text: [[None, text], *HEADED],
    "over a gap in a list without headings": lambda text: [[text], [], *LIST],
    "beside": lambda text: [*HEADED[:5], [*HEADED[5], None, text], *HEADED[6:]],
    "below": lambda text: [*HEADED, [], [], [text]],
}


def refusal(path: Path, **options: Any) -> str:
    try:
        read_batch(path, options=with_rule_words(ReadOptions(form="suppositories", **options)))
    except InputProblems as refused:
        return " ".join(map(str, refused.problems))
    return ""


@pytest.mark.parametrize("sheet", ["Week 3", "Units"])
@pytest.mark.parametrize("place", PLACES)
def test_a_text_that_makes_other_masses_of_them_is_refused_wherever_it_stands(
    book_of: BookOf, place: str, sheet: str
) -> None:
    passed = [text for text in OTHERS.split("|") if not refusal(book_of(**{sheet: PLACES[place](text)}))]
    assert passed == (["Weights in mg"] if passed and "without headings" in place else [])


@pytest.mark.parametrize("place", PLACES)
def test_a_plain_title_passes_wherever_it_stands(book_of: BookOf, place: str) -> None:
    stopped = {text: told for text in PLAIN.split("|") if (told := refusal(book_of(Sheet1=PLACES[place](text))))}
    assert stopped == {}


def test_the_text_is_named_with_what_is_not_understood(book_of: BookOf) -> None:
    assert refusal(book_of(Units=PLACES["over a gap"]("Mass with foil"))) == (
        'batch.xlsx, Units!A1: "Mass with foil" stands beside the masses, and what "with foil" says of them is not '
        "understood. Write the net masses of single units, or reword the text where it says something else; "
        "or leave them out of account: --ignore 'Units!A1'."
    )


def of_batch(number: object, **more: object) -> Sequence[Sequence[object]]:
    return [["Field", "Value"], ["Batch number", number], *([key.replace("_", " "), at] for key, at in more.items())]


@pytest.mark.parametrize(
    ("title", "told"),
    [
        (["Batch 8"], 'A1: "Batch 8" names batch "8", and the call or the book names "7"'),
        (["Batch", 8], 'A1: "Batch" names batch "8"'),
        (["Charge: 2026-014"], "2026-014"),
        (["Made on", "15.03.2026"], 'says another day than "2026-03-14" in B3 on the sheet Batch'),
        (["Made on: 15 March 2026"], "says another day"),
    ],
)
def test_another_batch_or_day_than_that_of_the_book_is_refused(book_of: BookOf, title: list[object], told: str) -> None:
    path = book_of(Batch=of_batch("7", Made_on="2026-03-14"), Units=[title, [], *HEADED])
    assert told in refusal(path)


@pytest.mark.parametrize("title", [["Batch 7"], ["Batch", 7], ["PARA-7"], ["Made on", "14.03.2026"], ["Base lot 12"]])
def test_the_same_batch_and_day_pass(book_of: BookOf, title: list[object]) -> None:
    assert refusal(book_of(Batch=of_batch("7", Made_on="2026-03-14"), Units=[title, [], *HEADED])) == ""


def test_two_titles_that_name_two_batches_are_refused(book_of: BookOf) -> None:
    told = refusal(book_of(Sheet1=[["Batch 7"], [], *HEADED, [], ["Batch 8"]]))
    assert 'A25: "Batch 8" names batch "8", and A1 names "7"' in told
    assert "the name of the sheet" in refusal(book_of(**{"Batch 9": [["Batch 7"], [], *HEADED]}))
