"""A workspace: a folder with settings, source maps, landing folders, lake and output."""

from __future__ import annotations

import difflib
import hashlib
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Literal, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import HeelwardError, short

Model = TypeVar("Model", bound=BaseModel)
SETTINGS_FILE = "heelward.toml"


@cache
def _zones() -> frozenset[str]:
    return frozenset(files("tzdata").joinpath("zones").read_text(encoding="utf-8").split()) - {"Factory"}


def known_zone(name: str) -> bool:
    """Whether a time zone is in the IANA list, which every reader of the lake knows, and not only on this machine."""
    return name in _zones()


class Frozen(BaseModel):
    """Settings that cannot be changed and refuse unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Schedules(Frozen):
    """When `heelward serve` runs the steps: cron expressions in the workspace's time zone; empty for never.

    `land` lands, measures and fits what is new, and can be a number of seconds; `report` also draws the report, as
    does `refresh`, which older settings have.
    """

    land: str | int = "*/10 * * * *"
    report: tuple[str, ...] = ("0 6 * * 1", "0 7 1 1,4,7,10 *")
    refresh: str = ""

    @property
    def drawn(self) -> list[str]:
        """When the report is drawn."""
        return [cron for cron in (*self.report, self.refresh) if cron]


class Settings(Frozen):
    """The content of ``heelward.toml``."""

    title: str = "Completions report"
    landing: list[str] = Field(default_factory=lambda: ["landing"], min_length=1)
    lake: str = "lake"
    out: str = "out"
    time_zone: str = "UTC"
    display_units: Literal["field", "metric"] = "field"
    plan: str = ""
    main_rate_bpm: float | None = Field(default=None, ge=0.5, le=200.0)
    debris_velocity_ft_min: float = Field(default=180.0, ge=10.0, le=1000.0)
    beside: list[Literal["pdf", "xlsx", "brief"]] = Field(default_factory=list)
    schedules: Schedules = Schedules()
    settle_s: float = Field(default=30.0, ge=0.0, le=86400.0)
    messages: str = ""
    wait_s: float = Field(default=600.0, ge=0.0, le=86400.0)
    follow_links_outside: bool = False
    storage: dict[str, str] = Field(default_factory=dict)
    cluster: str = ""

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if not known_zone(value):
            raise ValueError("is not a known time zone; use one such as America/Denver")
        return value

    @field_validator("storage")
    @classmethod
    def _no_secrets(cls, value: dict[str, str]) -> dict[str, str]:
        for key in value:
            if any(word in key.casefold() for word in ("secret", "key", "token", "password", "credential")):
                raise ValueError(f"'{key}' is a credential: it belongs in the environment, not in this file")
        return value

    @field_validator("schedules")
    @classmethod
    def _cron(cls, value: Schedules) -> Schedules:
        for key, cron in [("land", value.land), *(("report", one) for one in value.drawn)]:
            if isinstance(cron, str) and cron and len(cron.split()) != 5:
                raise ValueError(f"'{key}' must be a cron expression of five fields, such as '0 5 * * *'")
        if isinstance(value.land, int) and value.land < 1:
            raise ValueError("'land' must be a cron expression, or a number of seconds above zero")
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
    def storage(self) -> dict[str, str]:
        """Options of the lake's object store; S3 must refuse a commit whose version another writer has taken."""
        safe = {"AWS_CONDITIONAL_PUT": "etag"} if self.lake.startswith("s3") else {}
        return {**safe, **self.settings.storage}

    @property
    def out(self) -> Path:
        """Folder of reports and set-aside files."""
        return self.root / self.settings.out

    @property
    def state(self) -> Path:
        """Folder of locks and temporary data of a run."""
        return self.root / ".heelward"

    @property
    def plan(self) -> Path | None:
        """The plan file shown in the report; None if the settings name none."""
        return self.root / self.settings.plan if self.settings.plan else None

    @property
    def settings_hash(self) -> str:
        """Hash of the settings that the results depend on."""
        running = {"cluster", "messages", "settle_s", "wait_s", "schedules"}
        return hashlib.sha256(self.settings.model_dump_json(exclude=running).encode()).hexdigest()[:16]

    def on(self, cluster: str) -> Workspace:
        """Return the workspace with its tasks on a cluster."""
        return replace(self, settings=self.settings.model_copy(update={"cluster": cluster}))


def open_workspace(root: Path) -> Workspace:
    """Read a workspace's settings.

    Raises
    ------
    HeelwardError
        If the folder is not a workspace or the settings are invalid; names every invalid key.
    """
    path = root / SETTINGS_FILE
    if not path.is_file():
        raise HeelwardError(
            f"{root} is not a heelward workspace: {SETTINGS_FILE} is missing.\n"
            f"fix: create one with `heelward init {root}`, or give another folder with --workspace."
        )
    return Workspace(root.resolve(), parse_toml(path, Settings))


def parse_toml(path: Path, model: type[Model]) -> Model:
    """Read a TOML file into a settings object.

    Raises
    ------
    HeelwardError
        Names the file and every invalid key, with the expected value.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise HeelwardError(f"{path}: not valid TOML: {error}") from error
    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise HeelwardError("\n".join([f"{path}:", *(f"  {line}" for line in key_problems(error, model))])) from error


def key_problems(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """Return the problems of the keys of a settings object, one line per key."""
    lines = []
    for item in error.errors():
        key = ".".join(str(part) for part in item["loc"]) or "(the file)"
        message = item["msg"].removeprefix("Value error, ")
        if item["type"] == "extra_forbidden":
            known = _known(model, item["loc"])
            near = difflib.get_close_matches(str(item["loc"][-1]), known, n=2)
            message = f"unknown key; known keys: {', '.join(known) or 'none'}"
            message += f"; nearest: {' or '.join(near)}" if near else ""
        if item["type"] == "literal_error":
            message += f", found {short(repr(item['input']))}"
        lines.append(f"{key}: {message}")
    return lines


def _known(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    current: type[BaseModel] | None = model
    for part in location[:-1]:
        field = current.model_fields.get(str(part)) if current is not None else None
        inside = (field.annotation, *get_args(field.annotation)) if field is not None else (current,)
        models = [item for item in inside if isinstance(item, type) and issubclass(item, BaseModel)]
        current = models[0] if models else None
    return sorted(current.model_fields) if current is not None else []
