"""WITSML documents of both generations (Energistics 1.4.1.1 and 2.1): proposed, read, and refused where they are damaged."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import SetAside
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, drafts
from pipeline.ingest.kinds import KINDS, kind_of
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.witsml import read_witsml
from tests.ingest.layouts import ROWS, START, job

KPA = 6.894757293168
M3_MIN = 0.158987294928
ONE = 'xmlns="http://www.witsml.org/schemas/1series" version="1.4.1.1"'
TWO = 'xmlns="http://www.energistics.org/energyml/data/witsmlv2" xmlns:eml="http://www.energistics.org/energyml/data/commonv2"'


def proposed(path: Path, text: str) -> Draft:
    path.write_text(text, encoding="utf-8")
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", path.parent / "spool")
    return draft


def log_1(name: str = "Stage 6 treatment", *, listed: bool = True, well: str = "Sandpiper 3H", width: int = 3) -> str:
    curves = (("TIME", ""), ("TRTPRES", "kPa"), ("SLURRATE", "m3/min"), ("PROPCONC", "kg/m3"))
    told = "".join(
        f"<logCurveInfo><mnemonic>{curve}</mnemonic><unit>{unit}</unit><columnIndex>{at + 1}</columnIndex></logCurveInfo>"
        for at, (curve, unit) in reversed(list(enumerate(curves)))
    )
    lists = (
        "<mnemonicList>TIME,TRTPRES,SLURRATE,PROPCONC</mnemonicList><unitList>,kPa,m3/min,kg/m3</unitList>"
        if listed
        else ""
    )
    j = job()
    rows = "".join(
        f"<data>{START + timedelta(seconds=at):%Y-%m-%dT%H:%M:%S}.000Z,"
        + ",".join([f"{j['pressure'][at] * KPA:.2f}", f"{j['rate'][at] * M3_MIN:.4f}",
                    "-999.25" if at % 50 == 7 else f"{j['conc'][at] * 119.826427317:.2f}"][:width]) + "</data>"
        for at in range(ROWS)
    )  # fmt: skip
    return (
        f"<log><nameWell>{well}</nameWell><nameWellbore>OH</nameWellbore><name>{name}</name><indexType>date time</indexType>"
        f"<nullValue>-999.25</nullValue>{told}<logData>{lists}{rows}</logData></log>"
    )


def check_record(draft: Draft) -> None:
    assert draft.shaped is not None, draft.problem
    frame = pl.concat(draft.shaped.rows.frames())
    j = job()
    assert frame.height == ROWS
    assert frame["slurry_rate_bpm"].max() == pytest.approx(float(j["rate"].max()), rel=1e-3)
    assert frame["treating_pressure_psi"].max() == pytest.approx(float(j["pressure"].max()), rel=1e-4)
    assert frame["proppant_conc_ppa"].max() == pytest.approx(float(j["conc"].max()), rel=0.02)
    assert frame["time"][0] == START.replace(tzinfo=UTC)
    assert set(frame["well_id"]) == {"sandpiper-3h"} and set(frame["stage"]) == {6}


@pytest.mark.parametrize(
    "listed", [True, False], ids=["curves in logData (1.4.1.1)", "curves by columnIndex (1.3.1.1)"]
)
def test_a_time_log_of_the_first_generation_lands(tmp_path: Path, listed: bool) -> None:
    draft = proposed(tmp_path / "x.xml", f"<logs {ONE}>{log_1(listed=listed)}</logs>")
    check_record(draft)
    assert draft.shaped is not None
    void = pl.concat(draft.shaped.rows.frames())["proppant_conc_ppa"]
    assert void.null_count() == len(range(7, ROWS, 50)), "the document's null value is no measurement"
    assert 'kind = "witsml"' in draft.proposal.toml()


def test_a_channel_set_of_the_second_generation_lands(tmp_path: Path) -> None:
    j = job()
    channels = "".join(
        f"<Channel><Mnemonic>{name}</Mnemonic><Uom>{unit}</Uom></Channel>"
        for name, unit in (("Treating Pressure", "kPa"), ("Slurry Rate", "m3/min"), ("Proppant Conc", "kg/m3"))
    )
    rows = [
        [[f"{START + timedelta(seconds=at) - timedelta(hours=6):%Y-%m-%dT%H:%M:%S}-06:00"],
         [round(float(j["pressure"][at]) * KPA, 2), round(float(j["rate"][at]) * M3_MIN, 4),
          None if at % 50 == 7 else round(float(j["conc"][at]) * 119.826427317, 2)]]
        for at in range(ROWS)
    ]  # fmt: skip
    text = (
        f"<ChannelSet {TWO} schemaVersion='2.1'><eml:Citation><eml:Title>Stage 6 treatment</eml:Title></eml:Citation>"
        f"<Index><IndexKind>date time</IndexKind><Uom>s</Uom><Mnemonic>DateTime</Mnemonic></Index>{channels}"
        f"<Data><Data>{json.dumps(rows)}</Data></Data><Wellbore><eml:Title>Sandpiper 3H</eml:Title></Wellbore></ChannelSet>"
    )
    check_record(proposed(tmp_path / "x.xml", text))


JOB_1 = f"""<stimJobs {ONE}><stimJob><nameWell>Sandpiper 3H</nameWell><nameWellbore>OH</nameWellbore><name>Main</name>
<jobInterval><name>A</name><number>1</number><breakDownPres uom="kPa">41000</breakDownPres><averagePres uom="kPa">62000</averagePres>
<maxPresTubing uom="kPa">70000</maxPresTubing><totalProppantMass uom="kg">120000</totalProppantMass>
<initialShutinPres uom="kPa">31000</initialShutinPres>
<shutinPres><pres uom="kPa">29000</pres><timeAfterShutin uom="min">5</timeAfterShutin></shutinPres>
<shutinPres><pres uom="kPa">28500</pres><timeAfterShutin uom="s">600</timeAfterShutin></shutinPres>
<jobStage><number>1</number><averagePresSurface uom="kPa">1</averagePresSurface></jobStage>
</jobInterval><jobInterval><name>B</name><number>2</number><initialShutinPres uom="kPa">31500</initialShutinPres></jobInterval>
</stimJob></stimJobs>"""


def test_an_interval_of_a_job_is_a_stage_and_its_pressures_land_in_psi(tmp_path: Path) -> None:
    """1.4.1.1: a `jobInterval` is a stage, its `jobStage` only a step."""
    draft = proposed(tmp_path / "x.xml", JOB_1)
    assert draft.shaped is not None and draft.source is not None, draft.problem
    assert draft.source.lands == "reported"
    rows = pl.concat(draft.shaped.rows.frames()).sort("stage").to_dicts()
    assert [(row["well_id"], row["stage"]) for row in rows] == [("sandpiper-3h", 1), ("sandpiper-3h", 2)]
    first = {name: value for name, value in rows[0].items() if value is not None}
    hand = {"isip_psi": 31000 / KPA, "pressure_5min_psi": 29000 / KPA, "pressure_10min_psi": 28500 / KPA,
            "breakdown_pressure_psi": 41000 / KPA, "avg_treating_pressure_psi": 62000 / KPA,
            "max_treating_pressure_psi": 70000 / KPA, "proppant_lbm": 120000 / 0.45359237}  # fmt: skip
    assert {name: first[name] for name in hand} == pytest.approx(hand)
    assert rows[1]["isip_psi"] == pytest.approx(31500 / KPA) and rows[1]["breakdown_pressure_psi"] is None


def test_one_quantity_in_two_units_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    path.write_text(JOB_1.replace('<initialShutinPres uom="kPa">31500', '<initialShutinPres uom="psi">4569'))
    with pytest.raises(SetAside, match="'initialShutinPres' is in two units"):
        read_witsml(content_of(path))


def test_a_null_is_one_however_its_decimals_are_written(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    rows = "".join(
        f"<data>2024-01-02T03:04:0{at}Z,{cell},1,2</data>"
        for at, cell in enumerate(("-9999.00", "-77.0", "-77", "-7", "0.0"))
    )
    one = re.sub(r"<data>.*</data>", rows, log_1()).replace("<nullValue>-999.25", "<nullValue>-77")
    path.write_text(f"<logs {ONE}>{one.replace('<columnIndex>2', '<columnIndex>x')}</logs>")
    assert read_witsml(content_of(path)).first["1"].to_list() == [None, None, None, "-7", "0.0"]


def test_a_document_nested_too_deeply_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    path.write_text(f"<stimJobs {ONE}><jobInterval>{'<a>' * 3000}1{'</a>' * 3000}</jobInterval></stimJobs>")
    with pytest.raises(SetAside, match="nested too deeply"):
        read_witsml(content_of(path))


def test_messages_are_rows(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    path.write_text(
        f"<messages {ONE}><message><nameWell>W</nameWell><dTim>2024-01-02T03:04:05Z</dTim><messageText>Pressure test</messageText>"
        "</message><message><nameWell>W</nameWell><dTim>2024-01-02T03:14:05Z</dTim></message></messages>"
    )
    found = read_witsml(content_of(path))
    assert found.names == ["nameWell", "dTim", "messageText"]
    assert found.first.rows() == [("W", "2024-01-02T03:04:05Z", "Pressure test"), ("W", "2024-01-02T03:14:05Z", None)]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('<!DOCTYPE x [<!ENTITY a "b">]><logs version="witsml">&a;</logs>', "entities"),
        ('<!DOCTYPE x SYSTEM "file:///etc/passwd"><logs v="witsml"/>', "entities"),
        (f"<logs {ONE}><log>", "not complete XML"),
        (f"<wells {ONE}><well/></wells>", "no rows"),
        (f"<logs {ONE}>{log_1('Stage 6')}{log_1('Stage 7')}</logs>", "different jobs"),
        (f"<logs {ONE}>{log_1(width=2)}</logs>", "does not match the list of curves"),
        (f"<ChannelSet {TWO}><Index><Mnemonic>t</Mnemonic></Index><Data><Data>[[[1],</Data></Data></ChannelSet>", "channel set"),
        (f"<ChannelSet {TWO}><Index><Mnemonic>t</Mnemonic></Index><Data><Data>7</Data></Data></ChannelSet>", "channel set"),
        (f"<logs {ONE}><log><logCurveInfo><mnemonic>T</mnemonic></logCurveInfo><logData/></log></logs>", "no data"),
    ],
)  # fmt: skip
def test_a_document_that_cannot_be_used_is_set_aside_with_its_reason(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "x.xml"
    path.write_text(text)
    assert kind_of(path.read_bytes()) == "witsml"
    with pytest.raises(SetAside, match=told):
        KINDS["witsml"].read(content_of(path))


def test_nested_entities_do_not_fill_the_memory(tmp_path: Path) -> None:
    bomb = '<!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + at)} "{f"&{chr(97 + at)};" * 10}">' for at in range(9)
    )
    path = tmp_path / "x.xml"
    path.write_text(f'{bomb}]><logs xmlns="witsml">&j;</logs>')
    with pytest.raises(SetAside, match="entities"):
        read_witsml(content_of(path))


def test_two_logs_of_one_job_are_one_record(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    one = re.sub(r"<data>.*</data>", "<data>2024-01-02T03:04:05Z,1,2,3</data>", log_1())
    path.write_text(f"<logs {ONE}>{one}{one.replace('04:05Z', '04:06Z')}</logs>")
    found = read_witsml(content_of(path))
    assert found.first.height == 2 and found.head == ["name: Stage 6 treatment", "well: Sandpiper 3H"]
    assert datetime.fromisoformat(found.first["0"][1]) > datetime.fromisoformat(found.first["0"][0])
