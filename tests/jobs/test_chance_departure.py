"""Batches that are not ideal: what they say beside an ideal one, and what the command refuses."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from qc.assurance.departures import Departure, Sampling
from qc.cli.main import application
from qc.jobs.chance import departed_chance, departed_document, question
from qc.jobs.chance.text import departed_text


def test_a_large_batch_without_a_fault_passes_as_often_as_an_ideal_one() -> None:
    simulated, ideal = departed_chance(
        question("dosage-unit-uniformity"), Departure(units=400, mean=97, sd=5), batches=20_000
    )
    assert isinstance(ideal.pass_overall, float)
    assert simulated.pass_overall == pytest.approx(ideal.pass_overall, abs=4 * simulated.standard_error_overall + 1e-3)


def test_a_drift_lowers_the_chance_and_assay_error_lowers_it_further() -> None:
    chances = [
        departed_chance(question("dosage-unit-uniformity"), departure, batches=20_000)[0].pass_overall
        for departure in (
            Departure(units=40, sd=3),
            Departure(units=40, sd=3, drift=20),
            Departure(units=40, sd=3, drift=20, assay_sd=2.5),
        )
    ]
    assert chances[0] > chances[1] + 0.02
    assert chances[1] > chances[2] + 0.02


def test_a_sample_from_the_beginning_does_not_see_a_drift() -> None:
    late = Departure(units=60, sd=2, drift=45, sampling=Sampling.FIRST)
    stretched = Departure(units=60, sd=2, drift=45, sampling=Sampling.STRATIFIED)
    first, all_over = (
        departed_chance(question("content-uniformity"), batch, batches=20_000)[0].pass_first_stage
        for batch in (late, stretched)
    )
    assert first > all_over


def test_the_words_fit_eighty_columns_and_name_seed_and_error() -> None:
    departure = Departure(units=24, sd=3, drift=-12, other_fraction=0.25, other_shift=8, assay_sd=1, as_made=True)
    simulated, ideal = departed_chance(question("dosage-unit-uniformity"), departure, batches=2_000)
    text = departed_text(departure, simulated, ideal)
    assert max(len(line) for line in text.splitlines()) <= 80
    words = " ".join(text.split())
    assert "2000 simulated batches, seed 20261125" in words
    assert "these very units; a drift of -12.0 % from the first unit to the last; a share of 0.25 of the" in words
    assert departed_document(departure, simulated, ideal)["pass_overall"] == simulated.pass_overall


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(application("chance"), ["chance", "--test", "mass-uniformity", "--sd", "3", *words])
    return done.exit_code, done.output


def test_the_command_gives_the_figures_to_other_programs() -> None:
    code, output = run("--batch-units", "24", "--json", "-")
    assert code == 0
    document = json.loads(output)
    assert document["units"] == 24
    assert document["pass_overall"] == pytest.approx(0.741, abs=0.02)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("--drift", "10"),
            "Drift, shares, assay error and sampling are of a batch. Give its size, --batch-units 24.\n",
        ),
        (
            ("--batch-units", "24", "--sampling", "last"),
            '--sampling "last" is not known. Give random or stratified or first.\n',
        ),
        (
            ("--batch-units", "24", "--limits"),
            "--report and --limits are of an ideal batch. Leave out --batch-units.\n",
        ),
    ],
)
def test_a_call_that_cannot_be_answered_says_how_to_mend_it(words: tuple[str, ...], message: str) -> None:
    assert run(*words) == (2, message)


def test_a_batch_smaller_than_its_sample_is_refused() -> None:
    code, output = run("--batch-units", "12")
    assert code == 2
    assert "12" in output
