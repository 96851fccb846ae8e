"""Well, stage and pattern of strange files: from columns, lines above the data, sheets and names."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from pipeline.ingest.content import content_of
from pipeline.ingest.draft import drafts, grouped
from pipeline.ingest.names import WellRegistry, folded
from tests.ingest.strange import RECORD, found_in, guess_of, record_of_rates, written


def test_wells_and_stages_in_columns_are_read(tmp_path: Path) -> None:
    lines = [
        f"Condor {1 + i // 60}H,{5 + i // 30 % 2},2023-03-{14 + i // 60} 13:{i % 60:02d}:20,8000,80" for i in range(120)
    ]
    text = "\n".join(["Well,Stage,Time (UTC),Surf Press (psi),Slry Rate (bpm)", *lines]) + "\n"
    draft = found_in(text, tmp_path, "zipper.csv")
    assert draft.shaped is not None
    assert {str(well) for well in draft.shaped.rows.wells} == {"condor-1h", "condor-2h"}
    assert set(draft.shaped.rows.numbers) == {5, 6}
    assert 'zone = "UTC"' in guess_of(draft, "time")
    assert not any("another zone" in question for question in draft.proposal.questions)


def test_packed_files_and_plain_ones_of_a_layout_share_a_map(tmp_path: Path) -> None:
    text = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)
    for name in ("Teal 1H stage 3.csv", "Teal 1H stage 4.csv"):
        (tmp_path / name).write_text(text)
    for name in ("Teal 1H stage 5.csv.gz", "Teal 1H stage 6.csv.gz"):
        (tmp_path / name).write_bytes(gzip.compress(text.encode()))
    (tmp_path / "other.txt.gz").write_bytes(gzip.compress(b"Well;Pad\nTeal 1H;Teal\nTeal 2H;Teal\n"))
    groups = grouped(tmp_path, sorted(tmp_path.iterdir()))
    assert {(len(group.files), group.patterns) for group in groups} == {
        (4, ("**/*.csv", "**/*.csv.gz")), (1, ("**/*.txt.gz",)),
    }  # fmt: skip


def test_a_well_in_a_remark_above_the_data_is_read(tmp_path: Path) -> None:
    text = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)
    draft = found_in(f"# datos del pozo TQ-1014(h), etapa 7\n{text}", tmp_path, "datos.csv")
    assert draft.shaped is not None
    assert [folded(well) for well in draft.shaped.rows.wells] == [folded("TQ-1014(h)")]
    assert draft.shaped.rows.numbers == {7}


def test_files_get_their_stage_from_the_only_number_in_which_their_names_differ(tmp_path: Path) -> None:
    said, maps = written(tmp_path / "team", {"quill6h_x7.csv": RECORD, "quill6h_x8.csv": RECORD.replace("10:", "14:")})
    assert "stage: '7', the only number in which the files' names differ: right?" in said
    assert maps["treatment"]["name_pattern"] == r"^quill\d+h_x(?P<stage>\d+)\.csv$"
    assert "stage" not in maps["treatment"]["columns"]  # type: ignore[operator]


def test_files_that_tell_no_stage_never_get_the_same_one(tmp_path: Path) -> None:
    said, maps = written(tmp_path / "team", {"morning.csv": RECORD, "evening.csv": RECORD.replace("10:", "14:")})
    assert "neither these 2 files nor their names tell it" in said and "treatment" not in maps


def test_a_name_tells_the_well_where_a_line_above_the_data_tells_the_stage(tmp_path: Path) -> None:
    draft = found_in(f"Stage: 6\n{RECORD}", tmp_path, "Heron 1H Stage 6.csv")
    assert draft.shaped is not None
    assert (set(draft.shaped.rows.wells), set(draft.shaped.rows.numbers)) == ({"heron-1h"}, {6})


def test_stages_written_with_a_word_in_a_column_are_read(tmp_path: Path) -> None:
    lines = RECORD.splitlines()
    text = "\n".join(
        [f"{lines[0]},Interval", *(f"{line},Stg#{7 + (i >= 200)}" for i, line in enumerate(lines[1:])), ""]
    )
    draft = found_in(text, tmp_path, "quill 6H.csv")
    assert draft.shaped is not None and set(draft.shaped.rows.numbers) == {7, 8}


def test_layouts_with_the_same_names_have_patterns_of_their_own(tmp_path: Path) -> None:
    other = RECORD.replace("(psi)", "(kPa)")
    for name, text in (("Teal 1H stage 3.csv", RECORD), ("Teal 1H stage 4.csv", other), ("Teal 1H stage 5.csv", other)):
        (tmp_path / name).write_text(text)
    groups = grouped(tmp_path, sorted(tmp_path.iterdir()))
    assert sorted(group.patterns for group in groups) == [
        ("Teal 1H stage 3.csv",), ("Teal 1H stage 4.csv", "Teal 1H stage 5.csv"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("head", "heading"),
    [
        ("Stages are counted from the heel\n", "Stage"),
        ("", "Etapa (contada desde el talón)"),
        ("", "Étape (numérotée depuis le talon)"),
    ],
)
def test_stages_counted_from_the_heel_are_asked_with_the_setting(tmp_path: Path, head: str, heading: str) -> None:
    rows = [f"Teal 1H,{n},{5000 + n},{80}" for n in range(1, 11)]
    path = tmp_path / "stages.csv"
    path.write_text("\n".join([f"{head}Well,{heading},ISIP (psi),Avg Rate (bpm)", *rows, ""]), encoding="utf-8")
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", tmp_path / "spool")
    assert any(line.startswith('stages_numbered_from = "heel"') for line in draft.proposal.settings)
    assert any("counted from the heel?" in question for question in draft.proposal.questions)
    assert "number of stages is unknown" in draft.problem, "it cannot be turned without the well's number of stages"
