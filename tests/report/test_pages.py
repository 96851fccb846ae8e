"""A team adds a page with a TOML file and nothing else; a wrong one is refused with what there is."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline import queries
from pipeline.errors import HeelwardError
from pipeline.report.content import MOST_POINTS, Content, Rows, gather, method_notes, side_by_side
from pipeline.report.html import Sheet, write_html
from pipeline.report.pages import ChartSpec, load_pages
from pipeline.report.pictures import Pictures
from pipeline.sql import Described
from tests.builders import query_on
from tests.conftest import Fitted

PAGE = """
title = "Costs of ours"
reader = "manager"
question = "What does a stage cost?"
tables = ["cost_units"]

[[charts]]
kind = "bars"
query = "quarter_cost"
title = "quarter_cost_title"
x = "quarter"
y = "cost_per_stage"
colour = "kind"
x_label = "Quarter"
y_label = "Cost per stage"
words = "At {180 ft/min}, as it were."
"""


def content(fitted: Fitted, folder: Path, page: str, system: str = "field") -> Content:
    (folder / "9_ours.toml").write_text(page, encoding="utf-8")
    connection = queries.connect(fitted.lake, system)
    return gather(connection, load_pages(folder), system)


def test_a_page_of_ones_own_needs_no_python(fitted: Fitted, tmp_path: Path) -> None:
    made = content(fitted, tmp_path, PAGE)
    path = write_html(
        made, Sheet("Ours", "", {}, "now", fitted.workspace.root), tmp_path, Pictures(tmp_path / "pictures")
    )
    text = path.read_text(encoding="utf-8")
    assert '<section id="costs-of-ours"' in text
    assert "against budget" in text
    assert "180 ft/min, as it were" in text
    assert "Cost per stage [thousand USD]" in text


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('x = "quarter"', 'x = "month"', "x = 'month' is not a column of the query; its columns: quarter, kind"),
        ('query = "quarter_cost"', 'query = "quarter_costs"', "there is no query 'quarter_costs'"),
        ('kind = "bars"', 'kind = "pie"', "charts.0.kind"),
        ("question =", "questions =", "unknown key; known keys:"),
    ],
)
def test_a_wrong_page_is_refused_with_what_there_is(
    fitted: Fitted, tmp_path: Path, old: str, new: str, told: str
) -> None:
    with pytest.raises(HeelwardError) as refused:
        content(fitted, tmp_path, PAGE.replace(old, new))
    assert told in str(refused.value)


def test_metric_units_reach_titles_words_axes_and_tables_alike(fitted: Fitted, tmp_path: Path) -> None:
    connection = queries.connect(fitted.lake, "metric")
    made = gather(connection, load_pages(), "metric")
    field = (" psi", " bpm", " bbl", " ft ", "ft/min", " lbm", "[psi", "[ft", "[bbl")
    for part in made.parts:
        for drawn in part.charts:
            said = [drawn.title, drawn.chart.words, *drawn.rows.units.values()]
            if drawn.rows.query.name == "pressure_effects":
                said += drawn.rows.frame["term"].to_list()
            assert not [text for text in said for unit in field if unit in text], said
    pressure = next(d for p in made.parts for d in p.charts if d.rows.query.name == "designs_compared")
    assert "MPa below" in pressure.title
    figures = next(rows for part in made.parts for rows in part.tables if rows.query.name == "next_figures")
    texts = "".join(str(row) for row in figures.frame.rows())
    assert "MPa" in texts and " psi" not in texts


def test_many_points_are_sampled_before_the_page_and_it_says_so(
    fitted: Fitted, monkeypatch: pytest.MonkeyPatch
) -> None:
    import pipeline.report.content as gathered

    monkeypatch.setattr(gathered, "MOST_POINTS", 50)
    connection = queries.connect(fitted.lake)
    made = gather(connection, load_pages(), "field")
    spread = next(d for p in made.parts for d in p.charts if d.rows.query.name == "crews_spread")
    assert spread.spec is not None
    assert len(spread.spec["datasets"]["rows"]) == 50
    assert spread.sampled_from == spread.rows.frame.height > 200
    assert MOST_POINTS == 1200


def test_more_values_than_colours_are_not_coloured() -> None:
    from pipeline.report.charts import draw
    from pipeline.report.pages import Labels

    spec = ChartSpec(kind="scatter", query="q", title="t", x="a", y="b", colour="pad", x_label="", y_label="", words="")
    few = pl.DataFrame({"a": [1.0] * 8, "b": [1.0] * 8, "pad": [f"p{i}" for i in range(8)]})
    many = pl.DataFrame({"a": [1.0] * 9, "b": [1.0] * 9, "pad": [f"p{i}" for i in range(9)]})
    assert "field" in draw(spec, few, Labels())["layer"][0]["encoding"]["color"]
    assert "value" in draw(spec, many, Labels())["layer"][0]["encoding"]["color"]


def test_a_tooltip_has_headings_and_no_exponent_no_raw_time_and_no_true() -> None:
    from pipeline.report.charts import draw
    from pipeline.report.pages import Labels

    words = {"x": "a", "y": "b", "x_label": "", "y_label": "", "words": "", "query": "q", "title": "t"}
    rows = pl.DataFrame({"a": [12345.6], "b": [0.0007], "p_value": [0.0007], "clear": [True]})
    drawn = draw(ChartSpec(kind="scatter", **words), rows, Labels({"a": "psi"}, {"a": "Highest pressure [psi]"}))
    tips = {tip["field"]: tip for tip in drawn["layer"][0]["encoding"]["tooltip"]}
    assert tips["a"]["title"] == "Highest pressure [psi]" and "g" not in tips["a"]["format"]
    assert tips["p_value"]["format"] == ".1%" and "clear" not in tips
    lane = pl.DataFrame(
        {"a": ["2025-01-01T00:00:00"], "end": ["2025-01-01T01:00:00"], "b": ["A 1H"], "kind": ["wireline"]}
    )
    drawn = draw(ChartSpec(kind="timeline", x_end="end", colour="kind", **words), lane, Labels())
    assert {tip["field"] for tip in drawn["encoding"]["tooltip"] if tip["type"] == "temporal"} == {"a", "end"}


def test_an_axis_of_quarters_has_those_without_rows() -> None:
    from pipeline.report.charts import draw
    from pipeline.report.pages import Labels

    spec = ChartSpec(kind="stack", query="q", title="t", x="quarter", y="n", x_label="", y_label="", words="")
    drawn = draw(spec, pl.DataFrame({"quarter": ["2024Q1", "2024Q4"], "n": [1, 2]}), Labels())
    assert drawn["encoding"]["x"]["scale"]["domain"] == ["2024Q1", "2024Q2", "2024Q3", "2024Q4"]


def test_every_metric_has_its_definition_in_the_method_notes() -> None:
    notes = method_notes()
    assert len(notes) > 100
    assert {note["metric"] for note in notes} >= {"isip_psi", "mill_min", "wiper_trips", "pump_down_min", "cement_ft"}
    assert all(note["meaning"] and note["source"] for note in notes)


def numbers(change: float, reach: float | None) -> dict[str, str]:
    means = pl.DataFrame(
        [
            {
                "metric": "mill_min", "quarter": "2025Q2", "unit": "min", "rows": 20, "pads": 2, "value": 10.0,
                "low": None if reach is None else 10.0 - reach, "high": None if reach is None else 10.0 + reach,
                "change": change, "change_low": None if reach is None else change - reach,
                "change_high": None if reach is None else change + reach,
            }
        ],
        schema_overrides={"low": pl.Float64, "high": pl.Float64, "change_low": pl.Float64, "change_high": pl.Float64},
    )  # fmt: skip
    found = query_on("quarter_numbers", {"quarter_means": means})
    assert found.height == 1
    return found.row(0, named=True)


def test_the_quarters_numbers_say_whether_a_change_is_more_than_pads_differ() -> None:
    assert numbers(-0.5, 1.0)["verdict"] == "−0.50 min against earlier quarters: within pad-to-pad variation"
    assert numbers(2.5, 1.0)["verdict"] == "+2.50 min against earlier quarters: outside pad-to-pad variation"
    assert "too few pads to test" in numbers(2.5, None)["verdict"]
    assert numbers(2.5, 1.0)["limits"] == "9.00 min to 11.0 min, from pad-to-pad variation"
    assert numbers(2.5, None)["limits"] == "no limits: fewer than three pads so far"


def test_candidates_stand_side_by_side_and_what_they_share_is_said_once() -> None:
    frame = pl.DataFrame(
        {
            "figure": ["margin", "margin", "hours"], "design": ["a", "b", "b"], "value": ["1 psi", "2 psi", "3 h"],
            "basis": ["model", "model", "sum"], "note": ["8 pads", "wide", None],
        }
    )  # fmt: skip
    columns = [Described(name, "", f"the {name}") for name in frame.columns]
    found = side_by_side(Rows(queries.Answer(queries.load("next_figures"), frame, columns), frame, {}), "design")
    assert found.frame.to_dicts() == [
        {"figure": "margin", "a": "1 psi", "b": "2 psi", "basis": "model", "note": "a: 8 pads; b: wide"},
        {"figure": "hours", "a": None, "b": "3 h", "basis": "sum", "note": None},
    ]
    assert [item.name for item in found.answer.columns] == found.frame.columns
    assert found.answer.columns[1].meaning == "the value"


def test_a_sample_is_of_rows_whatever_their_order_and_one_row_more_changes_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from pipeline.report import content as gathered

    monkeypatch.setattr(gathered, "MOST_POINTS", 400)
    frame = pl.DataFrame({"crew": ["a", "b"] * 1500, "value": [float(i) for i in range(3000)]})
    sample = gathered._sample(frame)
    assert sample.height == 400 and 120 < sample.filter(crew="a").height < 280
    assert gathered._sample(frame.sample(fraction=1.0, shuffle=True, seed=1)).equals(sample)
    keyed = frame.with_columns(stage=pl.int_range(pl.len()))
    before = set(gathered._sample(keyed)["stage"])
    more = pl.concat([keyed, keyed[:1].with_columns(stage=pl.lit(7000, pl.Int64))])
    other = more.with_columns(pl.col("value") * 1.01)  # another estimate of each
    assert len(before - set(gathered._sample(other)["stage"])) <= 1
