"""A workspace: a folder with settings, source maps, landing folders, lake and output."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import HeelwardError

Model = TypeVar("Model", bound=BaseModel)
SETTINGS_FILE = "heelward.toml"


class Frozen(BaseModel):
    """Settings that cannot be changed and refuse unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Schedules(Frozen):
    """When `heelward serve` runs the steps: cron expressions on the workspace's clock; empty for never."""

    refresh: str = "0 5 * * *"


class Settings(Frozen):
    """The content of ``heelward.toml``."""

    title: str = "Completions report"
    landing: list[str] = Field(default_factory=lambda: ["landing"], min_length=1)
    lake: str = "lake"
    out: str = "out"
    time_zone: str = "UTC"
    display_units: Literal["field", "metric"] = "field"
    plan: str = ""
    beside: list[Literal["pdf", "xlsx"]] = Field(default_factory=list)
    schedules: Schedules = Schedules()
    storage: dict[str, str] = Field(default_factory=dict)

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise ValueError("is no time zone; write one such as America/Denver") from error
        return value

    @field_validator("schedules")
    @classmethod
    def _cron(cls, value: Schedules) -> Schedules:
        if value.refresh and len(value.refresh.split()) != 5:
            raise ValueError("'refresh' must be a cron expression of five fields, such as '0 5 * * *'")
        return value


@dataclass(frozen=True)
class Workspace:
    """A folder and its settings.

    Attributes
    ----------
    root : Path
    settings : Settings
    """

    root: Path
    settings: Settings

    @property
    def maps(self) -> Path:
        """Folder of source maps."""
        return self.root / "maps"

    @property
    def landing(self) -> list[Path]:
        """Landing folders."""
        return [self.root / item for item in self.settings.landing]

    @property
    def lake(self) -> str:
        """Location of the lake: a path, or an object-store URL."""
        return self.settings.lake if "://" in self.settings.lake else str(self.root / self.settings.lake)

    @property
    def out(self) -> Path:
        """Folder of reports and set-aside files."""
        return self.root / self.settings.out

    @property
    def plan(self) -> Path | None:
        """The plan file that the report shows; None where the settings name none."""
        return self.root / self.settings.plan if self.settings.plan else None

    @property
    def settings_hash(self) -> str:
        """Hash of the settings that results follow from."""
        return hashlib.sha256(self.settings.model_dump_json().encode()).hexdigest()[:16]


def open_workspace(root: Path) -> Workspace:
    """Read a workspace's settings.

    Raises
    ------
    HeelwardError
        If the folder is no workspace or the settings are wrong; names every wrong key.
    """
    path = root / SETTINGS_FILE
    if not path.is_file():
        raise HeelwardError(
            f"{root} is no heelward workspace: it holds no {SETTINGS_FILE}.\n"
            f"Make one with `heelward init {root}`, or name another folder with --workspace."
        )
    return Workspace(root.resolve(), parse_toml(path, Settings))


def parse_toml(path: Path, model: type[Model]) -> Model:
    """Read a TOML file into a settings object.

    Raises
    ------
    HeelwardError
        Names the file and every key that is wrong, with what was expected.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise HeelwardError(f"{path}: not valid TOML: {error}") from error
    try:
        return model.model_validate(content)
    except ValidationError as error:
        lines = [f"{path}:"]
        for item in error.errors():
            key = ".".join(str(part) for part in item["loc"]) or "(the file)"
            message = item["msg"].removeprefix("Value error, ")
            if item["type"] == "extra_forbidden":
                known = ", ".join(_known(model, item["loc"])) or "none"
                message = f"no such key; known here: {known}"
            lines.append(f"  {key}: {message}")
        raise HeelwardError("\n".join(lines)) from error


def _known(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    current: type[BaseModel] | None = model
    for part in location[:-1]:
        field = current.model_fields.get(str(part)) if current is not None else None
        annotation = field.annotation if field is not None else None
        current = annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None
    return sorted(current.model_fields) if current is not None else []


def replace_text(path: Path, text: str) -> None:
    """Write a file so that a reader, or a kill at any moment, finds the old text or the new one, never a part."""
    replace_bytes(path, text.encode())


def replace_bytes(path: Path, content: bytes) -> None:
    """Write a file's bytes in the same way."""
    part = path.with_suffix(".part")
    part.write_bytes(content)
    part.replace(path)
