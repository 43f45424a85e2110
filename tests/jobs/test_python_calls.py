"""The calls of the package, as a person types them."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

import qc


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "units.csv"
    rows = "".join(f"{unit},{unit},2.0{unit:02d},{98 + unit % 5}\n" for unit in range(1, 21))
    path.write_text(f"Unit,Pour order,Mass (g),Content (mg)\n{rows}", encoding="utf-8")
    return path


def test_three_calls_lead_from_a_file_to_its_document(table: Path) -> None:
    batch = qc.read(str(table), form="suppositories", label_mg=100, displacement="1.5")
    assert batch.actives[0].label_claim_mg == Decimal(100)
    document = qc.judge(batch).as_dict()
    assert document["schema"] == "qc-result/1"
    assert "input" not in document
    # Twenty contents, and nobody said which ten came first.
    assert document["verdict"] == "undecided"


def test_a_batch_of_frames_is_judged_like_its_file(table: Path) -> None:
    from_file = qc.judge(qc.read(table, form="suppositories", label_mg=100), seed=1)
    frame = pd.read_csv(table)
    batch = qc.batch_from_frames(
        units=frame[["Unit", "Pour order", "Mass (g)"]],
        assay=frame[["Unit", "Content (mg)"]],
        actives=pd.DataFrame({"Active": ["active"], "Label claim (mg)": [100]}),
        batch={"Dosage form": "suppositories"},
    )
    from_frames = qc.judge(batch, seed=1)
    assert from_frames.as_dict()["tests"] == from_file.as_dict()["tests"]


def test_the_frame_of_units_has_one_row_a_unit(table: Path) -> None:
    units = qc.judge(qc.read(table, form="suppositories", label_mg=100)).units_frame()
    assert len(units) == 20
    assert units["mass_g"].tolist() == pytest.approx([2 + unit / 1000 for unit in range(1, 21)], abs=1e-12)
    assert set(units["mass_place"]) == {"inside"}
    assert units["active % of label"].tolist() == units["active mg"].tolist()


def test_a_result_shows_itself_in_a_notebook_as_page_one(table: Path) -> None:
    page = qc.judge(qc.read(table, form="suppositories"))._repr_html_()
    assert "<" in page
    assert "Uniformity of mass" in page


def test_a_label_that_is_no_number_is_refused_with_what_stands_there(table: Path) -> None:
    with pytest.raises(ValueError, match=r'^label_mg "abc" is not a number; give it in digits, for example 250$'):
        qc.read(table, form="suppositories", label_mg="abc")


def test_a_name_the_package_does_not_have_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match=r"^module 'qc' has no attribute 'jugde'$"):
        qc.jugde  # noqa: B018


def test_a_notebook_can_complete_the_calls() -> None:
    assert {"read", "judge", "chance", "batch_from_frames", "InputProblems", "__version__"} <= set(dir(qc))


def test_a_result_prints_itself_in_six_lines(table: Path) -> None:
    lines = repr(qc.judge(qc.read(table, form="suppositories", label_mg=100))).splitlines()
    assert [line.partition(":")[0] for line in lines[1:]] == ["Units", "Mean", "Not met", "Pour", "Cause"]
    assert lines[0].startswith("UNDECIDED")
    assert lines[1] == "Units: 20 entered, 20 weighed; rules: default"
    assert max(map(len, lines)) <= 120


def test_the_frame_of_units_goes_back_in_as_it_came_out() -> None:
    lesson = qc.lesson("cavity-differences", seed=4)
    first = qc.judge(lesson.drawn.batch, seed=1)
    label = float(lesson.drawn.batch.actives[0].label_claim_mg or 0)
    again = qc.judge(qc.batch_from_frames(units=first.units_frame(), form="suppositories", label_mg=label), seed=1)
    for one, other in zip(first.judged.unit_rows, again.judged.unit_rows, strict=True):
        assert (one.unit, one.pour_order, one.mould, one.cavity, one.mass_g) == (
            other.unit,
            other.pour_order,
            other.mould,
            other.cavity,
            other.mass_g,
        )
    verdicts = [{test.id: test.verdict for test in result.tests} for result in (first, again)]
    assert verdicts[0] == verdicts[1]


def test_contents_of_two_actives_go_back_in_under_their_names() -> None:
    frame = pd.DataFrame({"unit": ["1", "2"], "mass_g": [2.0, 2.1], "A mg": [10.0, None], "B mg": [5.0, 5.5]})
    batch = qc.batch_from_frames(units=frame, form="suppositories")
    assert [(one.unit, one.active, str(one.content_mg)) for one in batch.assays] == [
        ("1", "A", "10"),
        ("1", "B", "5"),
        ("2", "B", "5.5"),
    ]


def test_frames_of_tests_and_causes_hold_what_the_document_holds(table: Path) -> None:
    result = qc.judge(qc.read(table, form="suppositories", label_mg=100))
    document = result.as_dict()
    tests, causes = result.tests_frame(), result.causes_frame()
    assert list(dict.fromkeys(tests["test"])) == [test["id"] for test in document["tests"]]  # type: ignore[attr-defined]
    assert list(tests)[:6] == ["test", "rule", "active", "verdict", "n", "what"]
    assert causes["probability"].is_monotonic_decreasing
    assert set(causes["cause"]) == {one["cause"] for one in document["causes"]}  # type: ignore[attr-defined]


def test_pictures_are_drawn_on_the_axis_that_is_given(table: Path) -> None:
    from matplotlib.figure import Figure

    result = qc.judge(qc.read(table, form="suppositories", label_mg=100))
    figure = Figure()
    axes = figure.subplots(3)
    assert result.plot_pour(axes[0]) is axes[0]
    assert result.plot_pour(axes[1], active="active") is axes[1]
    assert result.plot_tray(axes[2]) is axes[2]
    assert "mass" in axes[0].get_ylabel()
    assert all(one.has_data() for one in axes)
    assert figure.axes == list(axes)


@pytest.mark.usefixtures("plain_pictures")
def test_a_report_is_written_as_the_command_writes_it_and_verified(tmp_path: Path) -> None:
    from datetime import UTC, datetime

    from typer.testing import CliRunner

    from qc.cli.main import application

    batch = Path(__file__).parents[2] / "sample_data" / "sound.xlsx"
    page = qc.judge(qc.read(batch)).write_report(tmp_path / "r", at=datetime(2026, 11, 27, tzinfo=UTC))
    assert page == tmp_path / "r" / "report.html"
    assert json.loads((page.parent / "result.json").read_text())["seal"]["judged_at"] == "2026-11-27T00:00:00+00:00"
    assert sorted(path.name for path in page.parent.iterdir())[:1] == ["SHA256SUMS"]
    done = CliRunner().invoke(application("verify"), ["verify", str(page.parent), "--input", str(batch)])
    assert done.exit_code == 0, done.output
    with pytest.raises(FileExistsError, match="already holds a report"):
        qc.judge(qc.read(batch)).write_report(tmp_path / "r")


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: qc.judge("batch.xlsx"), r"^qc.judge judges a batch, and was given str 'batch.xlsx'; read a file with"),  # type: ignore[arg-type]
        (lambda: qc.read(pd.DataFrame()), r"^qc.read reads a file or folder by its path, and was given DataFrame; "),  # type: ignore[arg-type]
    ],
)
def test_a_wrong_type_gets_a_sentence(call: Callable[[], object], said: str) -> None:
    with pytest.raises(TypeError, match=said):
        call()


def test_what_there_is_to_call_is_listed_and_described() -> None:
    import pydoc

    assert "Melt" in dir(qc)
    assert not {"annotations", "Any", "import_module"} & set(dir(qc))
    text = pydoc.render_doc(qc, renderer=pydoc.plaintext)
    for name in qc.__all__:
        assert name in text
        assert getattr(qc, name).__doc__
    assert 'qc.lesson("settling-in-pour", seed=5)' in text


def test_a_lesson_is_drawn_and_poured_from_python(tmp_path: Path) -> None:
    lesson = qc.lesson("settling-in-pour", seed=5, physics={"particle_um": 60})
    assert lesson.key()["physics"]["particle_um"] == 60.0
    assert [path.name for path in lesson.write(tmp_path)] == ["batch.xlsx", "key.json", "key.html"]
    poured = qc.pour_melt(qc.Melt(particle_um=60.0, stirring=1.0, stir_every=6), units=24)
    still = qc.pour_melt(qc.Melt(particle_um=60.0), units=24)
    assert poured.dish < still.dish
    assert poured.units.sum() + poured.dish == pytest.approx(1.0)
    with pytest.raises(ValueError, match="cannot be stirred every 0 units"):
        qc.pour_melt(qc.Melt(stir_every=0))
