"""A well's measured stages as a StimJob of WITSML 2.1 (Energistics): what the standard has elements for."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from math import isfinite
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from pipeline import __version__
from pipeline.units import plain_number

COMMON = "http://www.energistics.org/energyml/data/commonv2"
WITSML = "http://www.energistics.org/energyml/data/witsmlv2"
_IDS = uuid.uuid5(uuid.NAMESPACE_DNS, "heelward")
_UNKNOWN = "not on record"
STAGE = (
    ("AvgHydraulicPower", "avg_hhp", "hp"),
    ("AvgPresSurface", "avg_treating_pressure_psi", "psi"),
    ("BreakDownPres", "breakdown_pressure_psi", "psi"),
    ("DTimEnd", "end_time", ""),
    ("DTimStart", "start_time", ""),
    ("FormationName", "formation", ""),
    ("FractureGradientFinal", "isip_gradient_psi_ft", "psi/ft"),
    ("InitialShutinPres", "isip_psi", "psi"),
    ("MaxHydraulicPower", "max_hhp", "hp"),
    ("MaxPresSurface", "max_treating_pressure_psi", "psi"),
    ("MaxProppantConcSurface", "max_conc_ppa", "lbm/gal[US]"),
    ("ScreenedOut", "screenout", ""),
    ("TotalPumpTime", "pump_time_min", "min"),
    ("TotalVolume", "slurry_bbl", "bbl"),
    ("VolumeFlush", "flush_bbl", "bbl"),
    ("VolumePad", "pad_bbl", "bbl"),
)
"""Element of a stage, column of the mart `stage`, unit; in the order of the standard."""
SHUT_IN_MIN = (5, 10, 15)


def stim_job(well: str, rows: Iterable[Mapping[str, Any]]) -> bytes:
    """Return the document of a well's stages.

    Parameters
    ----------
    well : str
        Its name.
    rows : iterable of mapping
        Rows of the mart `stage`, in the order of the stages. What is null has no element.
    """
    stages = list(rows)
    ElementTree.register_namespace("eml", COMMON)
    ElementTree.register_namespace("witsml", WITSML)
    root = _object(Element(_in(WITSML, "StimJob")), f"Stimulation of {well}", f"job of {well}")
    _add(root, "CustomerName", _UNKNOWN)
    _span(root, stages)
    _add(root, "Kind", "hydraulic fracturing")
    _reference(root, "ServiceCompany", _UNKNOWN, "eml23.BusinessAssociate")
    _add(root, "StageCount", str(len(stages)))
    if stages and all(row["proppant_lbm"] is not None for row in stages):
        _add(root, "TotalProppantUsed", plain_number(sum(row["proppant_lbm"] for row in stages)), "lbm")
    for row in stages:
        _stage(root, well, row)
    _reference(root, "Wellbore", well, "witsml21.Wellbore")
    ElementTree.indent(root)
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _stage(root: Element, well: str, row: Mapping[str, Any]) -> None:
    number = row["stage"]
    said = f"ISIP: confidence {row['isip_confidence']}; breakdown: confidence {row['breakdown_confidence']}"
    stage = _object(SubElement(root, _in(WITSML, "JobStage")), f"Stage {number}", f"stage {number} of {well}", said)
    stage.set("uid", str(number))
    _add(stage, "Number", str(number))
    for element, column, unit in STAGE:
        if _known(value := row.get(column)):
            _add(stage, element, _written(value), unit)
    for minutes in SHUT_IN_MIN:
        if _known(pressure := row.get(f"pressure_{minutes}min_psi")):
            held = SubElement(stage, _in(WITSML, "ShutInPres"), uid=str(minutes))
            _add(held, "Pressure", _written(pressure), "psi")
            _add(held, "TimeAfterShutin", str(minutes), "min")


def _known(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and not isfinite(value))


def _span(root: Element, stages: list[Mapping[str, Any]]) -> None:
    for element, column, pick in (("DTimEnd", "end_time", max), ("DTimStart", "start_time", min)):
        times = [row[column] for row in stages if row[column] is not None]
        if times:
            _add(root, element, _written(pick(times)))


def _object(item: Element, title: str, of: str, said: str = "") -> Element:
    item.set("uuid", str(uuid.uuid5(_IDS, of)))
    item.set("schemaVersion", "2.1")
    citation = SubElement(item, _in(COMMON, "Citation"))
    parts = {"Title": title, "Originator": "heelward", "Creation": _written(datetime.now(UTC)),
             "Format": f"heelward {__version__}", "Description": said}  # fmt: skip
    for name, value in parts.items():
        if value:
            SubElement(citation, _in(COMMON, name)).text = _clean(value)
    return item


def _reference(item: Element, name: str, title: str, kind: str) -> None:
    held = SubElement(item, _in(WITSML, name))
    for part, value in (("Uuid", str(uuid.uuid5(_IDS, f"{kind} {title}"))), ("QualifiedType", kind), ("Title", title)):
        SubElement(held, _in(COMMON, part)).text = _clean(value)


def _add(item: Element, name: str, value: str, unit: str = "") -> None:
    part = SubElement(item, _in(WITSML, name))
    part.text = _clean(value)
    if unit:
        part.set("uom", unit)


def _in(namespace: str, name: str) -> str:
    return f"{{{namespace}}}{name}"


def _clean(text: str) -> str:
    """Return a text without characters that XML 1.0 cannot hold."""
    return "".join(
        mark for mark in text if mark in "\t\n\r" or " " <= mark <= "\ud7ff" or "\ue000" <= mark <= "\U0010ffff"
    )


def _written(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, bool):
        return "true" if value else "false"
    return plain_number(value) if isinstance(value, float) else str(value)
