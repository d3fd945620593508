"""The yard file and the shipped config/, read into checked models.

Nothing else in the program reads these files. A mistake is answered with the
file, the key, the line where it can be found, and the nearest right name.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date, time
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

__all__ = [
    "Assumptions",
    "Channel",
    "CoatingChoice",
    "CoatingProfile",
    "Doubt",
    "Endpoint",
    "FeedChoice",
    "ForecastSource",
    "NoticeTimes",
    "Number",
    "PageChoice",
    "Physics",
    "Place",
    "Position",
    "RuleChange",
    "RuleSpec",
    "SettingsError",
    "Site",
    "Species",
    "StoreChoice",
    "Thresholds",
    "Yard",
    "YardFile",
    "assumptions",
    "coating_profiles",
    "demo_folder",
    "doubt",
    "endpoints",
    "example_yard",
    "find_yard_file",
    "grain_numbers",
    "history_numbers",
    "home_yard_file",
    "learning",
    "load_yard",
    "located",
    "parse_clock",
    "parse_stretch",
    "physics",
    "rule_specs",
    "scribner_decimal_c",
    "shipped_config",
    "species_table",
    "storage_table",
    "thresholds",
    "value_numbers",
    "word_languages",
    "words_of",
    "worth_numbers",
]

M = TypeVar("M", bound=BaseModel)
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class SettingsError(ValueError):
    """A file of settings that cannot be used; the text says where and how to mend it."""


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


# ------------------------------------------------------------------ shipped config


class Number(_Model):
    """One number of config/: value, unit, where it is from, and where known its plausible range."""

    value: float
    unit: str
    source: str
    low: float | None = None
    high: float | None = None

    @model_validator(mode="after")
    def _inside(self) -> Number:
        low = -float("inf") if self.low is None else self.low
        high = float("inf") if self.high is None else self.high
        if not low <= self.value <= high:
            raise ValueError(f"{self.value} lies outside its own range {self.low}..{self.high}")
        return self


class CoatingProfile(_Model):
    """A generic product (config/coatings.toml). Every number may be overridden by the yard's data sheet."""

    title: str
    note: str
    spreading_rate: Number  # m2/L
    solids: Number  # kg/kg
    density: Number  # kg/m3
    absorbed: Number  # share of the water taken up at once
    thick_factor: Number
    w_crit: Number
    w_touch: Number
    w_frost: Number
    w_rain: Number
    w_dry: Number
    dose_rain: Number
    coalescence: Number  # hours at 21 °C
    activation: Number  # kJ/mol
    least_film: Number  # °C
    film_ramp: Number  # K
    freezes_at: Number  # °C
    least_application: Number  # °C
    lap: Number  # cm
    waste: Number  # share
    second_coat: Number  # share of the first coat's amount
    recoat_least: Number  # h
    pail_least: Number  # °C, storing
    resistance_one: Number  # m of end grain
    resistance_two: Number


class RuleSpec(_Model):
    """One rule as data (config/rules.toml)."""

    quantity: str
    below: float | None = None  # breaks when the value is below ...
    above: float | None = None  # ... or above
    limit_from: str | None = None  # the coating's own number replaces the limit: "least_application_c", ...
    unit: str
    stretch: Literal[
        "at start",
        "while brushing",
        "until touch-dry",
        "until rain-safe",
        "until frost-safe",
        "until dry",
    ]
    breach: Literal["stop", "doubt"]
    sky: bool = False  # true: not tested where the place is roofed
    only_method: str | None = None
    when_missing: Literal["unknown", "skip"] = "unknown"
    on: bool = True
    forbids_seal: bool = False  # a doubt that keeps the verdict from "Seal"
    source: str
    short: str = ""  # a few words for a first line
    says: str  # sentence of a break, placeholders {value} {limit} {unit} {at}
    holds: str  # what is said when it passes

    @model_validator(mode="after")
    def _one_limit(self) -> RuleSpec:
        given = sum(x is not None for x in (self.below, self.above))
        if given != 1:
            raise ValueError("a rule needs exactly one of 'below' and 'above'")
        return self


class RuleChange(_Model):
    """What a yard changes of a rule, or a rule of its own."""

    quantity: str | None = None
    below: float | None = None
    above: float | None = None
    limit_from: str | None = None
    unit: str | None = None
    stretch: str | None = None
    breach: Literal["stop", "doubt"] | None = None
    sky: bool | None = None
    only_method: str | None = None
    when_missing: Literal["unknown", "skip"] | None = None
    on: bool | None = None
    forbids_seal: bool | None = None
    source: str | None = None
    short: str | None = None
    says: str | None = None
    holds: str | None = None


class Thresholds(_Model):
    """Chances and hours that turn spans into a verdict (config/rules.toml, [thresholds])."""

    show_chance: Number
    seal_chance: Number
    touch_and_go_chance: Number
    touch_and_go_prized: Number
    prepare_chance: Number
    prepare_within: Number  # h
    unknown_share: Number
    trusted_horizon: Number  # days
    shown_horizon: Number  # days
    fill: Number  # share of a span that may be filled with work
    rain_hour: Number  # mm in an hour
    reached_share: Number
    doubt_share: Number
    brush_min: Number


class Species(_Model):
    """One wood (config/species.toml), keyed by botanical name."""

    botanical: str
    names: dict[str, tuple[str, ...]]  # language -> common names, the first is shown
    group: str
    porous: Literal["ring", "diffuse", "semi-ring", "none"]
    worth: Literal["prized", "good", "plain", "firewood"]
    proneness: Literal["low", "ordinary", "high"]
    green_moisture: float  # kg water per kg dry wood
    basic_density: float  # kg/m3
    source: str
    saw_first: bool = False
    shrink_tangential: Annotated[float, Field(gt=0, lt=25)] | None = None  # %, green to oven-dry
    shrink_radial: Annotated[float, Field(gt=0, lt=20)] | None = None
    shrink_volumetric: Annotated[float, Field(gt=0, lt=35)] | None = None
    source_shrink: str | None = None
    check_factor: Annotated[float, Field(gt=0.5, lt=5)] | None = None  # cracks over dry depth
    source_check: str | None = None
    kiln: str | None = None


class Endpoint(_Model):
    """One open service that a yard may name (config/endpoints.toml)."""

    title: str
    family: str
    url: str
    terms: str
    contact_needed: bool = False
    archive: str | None = None  # where the same provider keeps past days


Physics = Mapping[str, float]
Doubt = Mapping[str, Any]
Assumptions = Mapping[str, float]


@lru_cache(maxsize=1)
def shipped_config() -> Traversable:
    """The folder of shipped configuration: in the wheel, or beside the package in a checkout."""
    installed = files("scheduler") / "_config"
    if installed.is_dir():
        return installed
    checkout = Path(__file__).resolve().parent.parent / "config"
    if checkout.is_dir():
        return checkout
    raise FileNotFoundError("the config/ files are neither in the package nor beside it")


@lru_cache(maxsize=1)
def demo_folder() -> Traversable:
    """The folder of the bundled demo yard: in the wheel, or beside the package in a checkout."""
    installed = files("scheduler") / "_demo"
    if installed.is_dir():
        return installed
    checkout = Path(__file__).resolve().parent.parent / "demo"
    if checkout.is_dir():
        return checkout
    raise FileNotFoundError("the demo/ files are neither in the package nor beside it")


@lru_cache(maxsize=32)
def _shipped(name: str) -> dict[str, Any]:
    text = (shipped_config() / name).read_text(encoding="utf-8")
    return _parse_toml(text, f"config/{name}")


def coating_profiles() -> dict[str, CoatingProfile]:
    """The shipped coatings by key."""
    table = _shipped("coatings.toml")
    return {key: _check(CoatingProfile, value, "config/coatings.toml", key) for key, value in table.items()}


def rule_specs() -> dict[str, RuleSpec]:
    """The shipped rules by name, in their order."""
    table = _shipped("rules.toml")["rules"]
    return {key: _check(RuleSpec, value, "config/rules.toml", f"rules.{key}") for key, value in table.items()}


def thresholds() -> Thresholds:
    """The shipped thresholds of the verdict."""
    return _check(Thresholds, _shipped("rules.toml")["thresholds"], "config/rules.toml", "thresholds")


def _numbers(name: str) -> dict[str, float]:
    table = _shipped(name)
    return {key: _check(Number, value, f"config/{name}", key).value for key, value in table.items()}


@lru_cache(maxsize=1)
def physics() -> Physics:
    """Constants of face, log and site by name (config/physics.toml), bare floats in the unit stated there."""
    return _numbers("physics.toml")


@lru_cache(maxsize=1)
def assumptions() -> Assumptions:
    """What is assumed when nothing was entered (config/assumptions.toml)."""
    return _numbers("assumptions.toml")


@lru_cache(maxsize=1)
def value_numbers() -> Mapping[str, float]:
    """What wood is worth and weighs where nobody said (config/value.toml), bare floats."""
    return _numbers("value.toml")


@lru_cache(maxsize=1)
def grain_numbers() -> Mapping[str, float]:
    """The drying end (config/endgrain.toml), with what it takes from physics and rules, bare floats."""
    shared = {"fibre_saturation": physics()["fibre_saturation"], "rain_hour": thresholds().rain_hour.value}
    return _numbers("endgrain.toml") | shared


@lru_cache(maxsize=1)
def worth_numbers() -> Mapping[str, float]:
    """What waiting costs (config/worth.toml), bare floats."""
    return _numbers("worth.toml")


@lru_cache(maxsize=1)
def storage_table() -> dict[str, Any]:
    """How long a log keeps (config/storage.toml), the table as it stands."""
    return _shipped("storage.toml")


@lru_cache(maxsize=1)
def scribner_decimal_c() -> dict[str, Any]:
    """The Scribner Decimal C table as it stands (config/scribner_decimal_c.toml)."""
    return _shipped("scribner_decimal_c.toml")


@lru_cache(maxsize=1)
def plan_numbers() -> Mapping[str, float]:
    """How the plan is made (config/plan.toml), bare floats."""
    return _numbers("plan.toml")


@lru_cache(maxsize=1)
def pail_numbers() -> Mapping[str, float]:
    """The pail: how it cools, what words by eye mean, when to order (config/pail.toml), bare floats."""
    return _numbers("pail.toml")


@lru_cache(maxsize=1)
def history_numbers() -> Mapping[str, float]:
    """How hours are made from days of a record (config/history.toml), bare floats."""
    return _numbers("history.toml")


@lru_cache(maxsize=1)
def doubt() -> Doubt:
    """How much is doubted (config/doubt.toml)."""
    return _shipped("doubt.toml")


@lru_cache(maxsize=1)
def learning() -> dict[str, dict[str, float]]:
    """How the program learns what is different about a yard (config/learning.toml), bare floats."""
    return {
        section: {name: float(entry["value"]) for name, entry in entries.items()}
        for section, entries in _shipped("learning.toml").items()
    }


@lru_cache(maxsize=1)
def replay_scheme() -> dict[str, Any]:
    """A season replayed (config/replay.toml): ``forecast`` and ``yard`` as bare floats, the other tables."""
    table = _shipped("replay.toml")
    bare = {
        part: {name: float(entry["value"]) for name, entry in table[part].items()}
        for part in ("forecast", "yard", "learned")
    }
    return {**table, **bare}


@lru_cache(maxsize=1)
def species_table() -> dict[str, Species]:
    """The shipped species by botanical name."""
    table = _shipped("species.toml")["species"]
    rows = [
        _check(Species, row, "config/species.toml", row.get("botanical", f"species {n}"))
        for n, row in enumerate(table)
    ]
    return {row.botanical: row for row in rows}


@lru_cache(maxsize=1)
def word_languages() -> tuple[str, ...]:
    """Languages that there are words for (config/words/)."""
    entries = (entry.name for entry in (shipped_config() / "words").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in entries if name.endswith(".toml")))


@lru_cache(maxsize=8)
def words_of(language: str) -> Mapping[str, str]:
    """Words on screen and on paper in one language (config/words/), by dotted key.

    Raises
    ------
    SettingsError
        When there is no file for that language.
    """
    if language not in word_languages():
        raise SettingsError(f"There are no words for '{language}' in config/words/.")
    return dict(_flat(_shipped(f"words/{language}.toml"), ""))


def _flat(table: Mapping[str, Any], before: str) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", str(value)


def endpoints() -> dict[str, Endpoint]:
    """Open services by short name."""
    table = _shipped("endpoints.toml")
    return {key: _check(Endpoint, value, "config/endpoints.toml", key) for key, value in table.items()}


def example_yard() -> str:
    """The commented yard file that a new yard begins with."""
    return (shipped_config() / "yard.example.toml").read_text(encoding="utf-8")


# ------------------------------------------------------------------ the yard file


class Position(_Model):
    """Where the yard is."""

    lat: Annotated[float, Field(ge=-90, le=90)]
    lon: Annotated[float, Field(ge=-180, le=180)]
    altitude_m: Annotated[float, Field(ge=-430, le=6000)] | None = None


class Minutes(_Model):
    """Minutes of work (None: the shipped assumption)."""

    end: Annotated[float, Field(gt=0, le=240)] | None = None
    fresh_cut: Annotated[float, Field(gt=0, le=240)] | None = None
    set_up: Annotated[float, Field(ge=0, le=240)] | None = None
    clean_up: Annotated[float, Field(ge=0, le=240)] | None = None


class Yard(_Model):
    """Section [yard]."""

    name: str = "Yard"
    key: str = "yard"
    place: Position
    zone: str = "UTC"
    units: Literal["metric", "us"] = "metric"
    language: str = "en"
    hours: dict[str, str] = Field(default_factory=dict)
    people: Annotated[int, Field(ge=0, le=20)] = 1
    saw_needs_two: bool = True
    minutes: Minutes = Minutes()
    wage: Annotated[float, Field(ge=0)] | None = None
    currency: str | None = None

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except Exception as error:  # ZoneInfo raises several kinds
            raise ValueError(f"'{value}' is no time zone; write one such as Europe/Berlin") from error
        return value

    @field_validator("hours")
    @classmethod
    def _readable_hours(cls, value: dict[str, str]) -> dict[str, str]:
        for day, text in value.items():
            if day not in DAYS and _date_of(day) is None:
                near = difflib.get_close_matches(day, DAYS, 1)
                raise ValueError(
                    f"'{day}' is no day; use {', '.join(DAYS)}"
                    + (f" ({near[0]}?)" if near else "")
                    + ", or a date such as 2026-12-24"
                )
            parse_hours(text)
        return value

    def hours_of(self, weekday: int) -> tuple[time, time] | Literal["free"] | None:
        """Working hours of a weekday (0 = Monday): a pair, None when closed, "free" when not said."""
        text = self.hours.get(DAYS[weekday])
        if text is None:
            return None if any(day in DAYS for day in self.hours) else "free"
        return parse_hours(text)[0]

    def hours_on(self, day: date) -> tuple[time, time] | Literal["free"] | None:
        """Working hours of a date: its own where the file names it, else those of its weekday."""
        text = self.hours.get(day.isoformat())
        return self.hours_of(day.weekday()) if text is None else parse_hours(text)[0]

    def people_of(self, weekday: int) -> int:
        """People in the yard on a weekday: "09:00-16:30, 2 people", else the yard's usual number."""
        text = self.hours.get(DAYS[weekday])
        said = None if text is None else parse_hours(text)[1]
        return self.people if said is None else said

    def people_on(self, day: date) -> int:
        """People in the yard on a date: as the file says of it, else as on its weekday."""
        text = self.hours.get(day.isoformat())
        said = None if text is None else parse_hours(text)[1]
        return self.people_of(day.weekday()) if said is None else said


def _date_of(text: str) -> date | None:
    """A date as the file writes it, 2026-12-24; None for anything else."""
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return None
    return found if found.isoformat() == text else None


def parse_hours(text: str) -> tuple[tuple[time, time] | None, int | None]:
    """Hours of a day and, if said, people: "08:00-16:30", "08:00-16:30, 2 people", "closed" (None)."""
    if text.strip().lower() in {"closed", "-", ""}:
        return None, None
    match = re.fullmatch(
        r"\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*(?:,\s*(\d{1,2})\s*(?:people|person)?\s*)?", text
    )
    if not match:
        raise ValueError(
            f"'{text}' is no stretch of hours; write it as 08:00-16:30, or 08:00-16:30, 2 people, or closed"
        )
    try:
        first, last = time(int(match[1]), int(match[2])), time(int(match[3]), int(match[4]))
    except ValueError as error:
        raise ValueError(f"'{text}' holds a time that does not exist") from error
    if last <= first:
        raise ValueError(f"'{text}' ends before it begins")
    return (first, last), (int(match[5]) if match[5] else None)


class ForecastSource(_Model):
    """Section [forecast]."""

    url: str | None = None
    family: str | None = None
    contact: str | None = None
    second: str | None = None
    archive: str | None = None  # address of the same family's archive of past days
    warn_age_h: Annotated[float, Field(gt=0, le=96)] = 12.0
    stale_age_h: Annotated[float, Field(gt=0, le=240)] = 36.0
    key_env: str | None = None  # name of the environment variable that holds a key
    key_file: str | None = None
    key_name: str = "apikey"
    names: dict[str, str] = {}  # a service's parameter -> quantity, for formats without fixed names

    @field_validator("url", "second", "archive")
    @classmethod
    def _web_address(cls, value: str | None) -> str | None:
        if value is None:
            return value
        parts = urlsplit(value)
        if parts.scheme not in {"http", "https"} or not parts.hostname:
            raise ValueError(
                f"'{value}' is no web address; it begins with https:// (or http:// on your own network)"
            )
        return value

    @model_validator(mode="after")
    def _ages(self) -> ForecastSource:
        if self.stale_age_h < self.warn_age_h:
            raise ValueError("stale_age_h must not be below warn_age_h")
        return self


class Site(_Model):
    """Section [site]: how the yard differs from the forecast's open field."""

    hollow: Annotated[float, Field(ge=-12, le=3)] = -1.0
    hollow_is_guess: bool = True
    learn: bool = True  # let what was read and seen in the yard move the offset and the drying factor
    shelter: Annotated[float, Field(gt=0, le=1.5)] | None = None
    shade: Literal["open", "half", "full"] = "half"
    sky_view: Annotated[float, Field(ge=0, le=1)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _words(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        data = dict(data)
        words = {"no": 0.0, "a bit": -1.0, "a lot": -3.0}
        if isinstance(data.get("hollow"), str):
            if data["hollow"] not in words:
                raise ValueError(f"hollow is one of {', '.join(words)}, or a number of °C such as -2.5")
            data["hollow"] = words[data["hollow"]]
        elif "hollow" in data:
            data.setdefault(
                "hollow_is_guess", False
            )  # a number was measured or thought about, a word is a guess
        return data


class Place(_Model):
    """One [[place]] of the yard: three facts."""

    name: str
    roofed: bool = False
    frost_free: bool = False
    shaded: bool = False


class CoatingChoice(_Model):
    """Section [coating]; numbers from the product's data sheet win over the profile."""

    profile: str = "emulsion"
    coats: Literal["by wood", 1, 2] = "by wood"
    method: Literal["brush", "roller", "spray"] = "brush"
    spreading_rate_m2_l: Annotated[float, Field(gt=0.3, le=20)] | None = None
    solids: Annotated[float, Field(gt=0.02, lt=0.98)] | None = None
    density_kg_m3: Annotated[float, Field(gt=500, le=2000)] | None = None
    least_application_c: Annotated[float, Field(ge=-30, le=30)] | None = None
    least_film_c: Annotated[float, Field(ge=-30, le=30)] | None = None
    freezes_at_c: Annotated[float, Field(ge=-30, le=5)] | None = None
    touch_dry_h: Annotated[float, Field(gt=0, le=96)] | None = None  # at 21 °C and 50 %
    dry_h: Annotated[float, Field(gt=0, le=400)] | None = None  # at 21 °C and 50 %
    recoat_h: Annotated[float, Field(gt=0, le=400)] | None = None
    pail_least_c: Annotated[float, Field(ge=-30, le=30)] | None = None
    pail_litres: Annotated[float, Field(ge=0.2, le=1000)] | None = None  # a full one
    price_per_litre: Annotated[float, Field(ge=0)] | None = None


class Channel(_Model):
    """One [[channel]]. Secrets stand in the environment or a file; ``{secret}`` stands for one."""

    kind: Literal["file", "screen", "email", "push", "command", "alive", "apprise"]
    name: str | None = None
    path: str | None = None  # file; a relative one is beside the yard file
    address: str | None = None  # email: one person; push, alive: web address; apprise: its address
    command: tuple[str, ...] | None = None
    host: str | None = None  # email: the mail server
    port: Annotated[int, Field(ge=1, le=65535)] | None = None  # else 587, 465, 25
    tls: Literal["starttls", "tls", "none"] = "starttls"
    user: str | None = None
    sender: str | None = None  # else the user, else the address
    secret_env: str | None = None  # name of the environment variable with the password or token
    secret_file: str | None = None
    ca_file: str | None = None  # certificates of a server of one's own
    format: Literal["json", "text"] = "json"  # push
    method: Literal["GET", "POST"] = "GET"  # alive
    headers: dict[str, str] = Field(default_factory=dict)  # push, alive
    timeout_s: Annotated[float, Field(gt=0, le=300)] | None = None
    calendar: bool = False  # email: the calendar goes with every notice

    @model_validator(mode="after")
    def _one_secret(self) -> Channel:
        if self.secret_env and self.secret_file:
            raise ValueError("name secret_env or secret_file, not both")
        return self

    @property
    def label(self) -> str:
        """What the channel is called: its name, else its kind."""
        return self.name or self.kind


class NoticeTimes(_Model):
    """Section [notice]."""

    morning: str = "06:00"
    before_dark_h: Annotated[float, Field(ge=0, le=12)] = 3.0  # before sunset: what must be done in the light
    evening: str | None = "18:30"  # never before it is dark; only what needs no walk; "no": none
    quiet: str | None = "20:00-05:30"  # nothing leaves; "" or "no": no such hours
    work: str | None = None  # a phone in the saw pocket: nothing leaves but a wet coat in danger
    daily: bool = False
    public: str | None = None  # address of the page as others reach it: only then links stand in messages

    @field_validator("morning")
    @classmethod
    def _readable_time(cls, value: str) -> str:
        parse_clock(value)
        return value

    @field_validator("evening")
    @classmethod
    def _readable_evening(cls, value: str | None) -> str | None:
        if value is None or value.strip().lower() in {"", "no", "-"}:
            return None
        parse_clock(value)
        return value

    @field_validator("quiet", "work")
    @classmethod
    def _readable_stretch(cls, value: str | None) -> str | None:
        if value is None or value.strip().lower() in {"", "no", "-"}:
            return None
        parse_stretch(value)
        return value

    @field_validator("public")
    @classmethod
    def _readable_address(cls, value: str | None) -> str | None:
        if value is None or not value.strip():
            return None
        parts = urlsplit(value)
        if parts.scheme not in {"http", "https"} or not parts.hostname:
            raise ValueError(f"'{value}' is no web address; it begins with https://")
        return value.rstrip("/")


def parse_clock(text: str) -> time:
    """A time of the day as the file has it: 06:00."""
    match = re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*", text)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError(f"'{text}' is no time of the day; write it as 06:00")
    return time(int(match[1]), int(match[2]))


def parse_stretch(text: str) -> tuple[time, time]:
    """Hours that may run past midnight: 20:00-05:30."""
    first, dash, last = text.partition("-")
    if not dash:
        raise ValueError(f"'{text}' is no stretch of hours; write it as 20:00-05:30")
    start, end = parse_clock(first), parse_clock(last)
    if start == end:
        raise ValueError(f"'{text}' is the whole day; write it as 20:00-05:30")
    return start, end


class StoreChoice(_Model):
    """Section [store]."""

    url: str | None = None  # default: a SQLite file beside the yard file


class FeedChoice(_Model):
    """Section [feed]."""

    times: Literal["utc", "zone"] = "utc"
    days: Annotated[int, Field(ge=1, le=16)] = 5
    alarms: bool = False


class PageChoice(_Model):
    """Section [page]."""

    address: str | None = None  # under which others reach the page: on log tags and in messages

    @field_validator("address")
    @classmethod
    def _web_address(cls, value: str | None) -> str | None:
        parts = urlsplit(value or "http://none")
        if parts.scheme not in {"http", "https"} or not parts.hostname or parts.query or parts.fragment:
            raise ValueError(f"'{value}' is no address of a page; write one such as http://192.168.1.20:8300")
        return None if value is None else value.rstrip("/")


class YardFile(_Model):
    """A whole yard.toml."""

    yard: Yard
    forecast: ForecastSource = ForecastSource()
    site: Site = Site()
    place: tuple[Place, ...] = ()
    coating: CoatingChoice = CoatingChoice()
    rules: dict[str, RuleChange] = Field(default_factory=dict)
    channel: tuple[Channel, ...] = ()
    notice: NoticeTimes = NoticeTimes()
    store: StoreChoice = StoreChoice()
    feed: FeedChoice = FeedChoice()
    page: PageChoice = PageChoice()
    path: Path | None = Field(default=None, exclude=True)

    @model_validator(mode="after")
    def _names(self) -> YardFile:
        profiles = coating_profiles()
        if self.coating.profile not in profiles:
            near = difflib.get_close_matches(self.coating.profile, profiles, 1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            known = ", ".join(profiles)
            raise ValueError(
                f"coating.profile: '{self.coating.profile}' is not known; there are {known}{hint}"
            )
        names = [p.name for p in self.place]
        twice = {n for n in names if names.count(n) > 1}
        if twice:
            raise ValueError(f"place: the name '{sorted(twice)[0]}' stands twice")
        labels = [c.label for c in self.channel]
        twice = {n for n in labels if labels.count(n) > 1}
        if twice:
            raise ValueError(f"channel: two are called '{sorted(twice)[0]}'; give each a name of its own")
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The yard's time zone."""
        return ZoneInfo(self.yard.zone)

    @property
    def store_url(self) -> str:
        """Address of the database; by default a SQLite file beside the yard file."""
        if self.store.url:
            return self.store.url
        folder = (self.path or Path("yard.toml")).resolve().parent
        return f"sqlite:///{folder / 'coatcast.db'}"

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels of notices; where none is named, a file beside the yard file and the screen."""
        folder = (self.path or Path("yard.toml")).resolve().parent
        named = self.channel or (Channel(kind="file", path="coatcast-notices.txt"), Channel(kind="screen"))
        return tuple(
            c.model_copy(update={"path": str(folder / Path(c.path).expanduser())}) if c.path else c
            for c in named
        )

    @property
    def log_file(self) -> Path:
        """The service's log, beside the yard file."""
        return (self.path or Path("yard.toml")).resolve().parent / "coatcast.log"

    @property
    def cache_folder(self) -> Path:
        """Folder in which forecast answers are kept, beside the yard file."""
        return (self.path or Path("yard.toml")).resolve().parent / "coatcast-weather"


def home_yard_file() -> Path:
    """The one fixed place of a yard file in the user's home."""
    base = os.environ.get("XDG_CONFIG_HOME")
    root = Path(base) if base else Path.home() / ".config"
    return root / "coatcast" / "yard.toml"


def find_yard_file(given: str | Path | None = None) -> Path:
    """The yard file to use: the one given, ./yard.toml, COATCAST_YARD, or the one in the home.

    Raises
    ------
    SettingsError
        When there is none; the text is one sentence with the one command.
    """
    if given is not None:
        path = Path(given)
        if not path.is_file():
            raise SettingsError(f"{path}: there is no such yard file. Make one with: coatcast init -o {path}")
        return path
    here = Path("yard.toml")
    if here.is_file():
        return here
    named = os.environ.get("COATCAST_YARD")
    if named:
        if not Path(named).is_file():
            raise SettingsError(f"COATCAST_YARD names {named}, and there is no such file.")
        return Path(named)
    home = home_yard_file()
    if home.is_file():
        return home
    raise SettingsError("No yard yet. Make one with: coatcast init --place LAT,LON")


def load_yard(path: str | Path) -> YardFile:
    """Read and check a yard file.

    Raises
    ------
    SettingsError
        With file, key, line and what to do.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: there is no such file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error})") from error
    data = _parse_toml(text, str(path))
    checked = _check(YardFile, data, str(path), "", text)
    return checked.model_copy(update={"path": path})


def located(error: SettingsError, path: Path | None) -> SettingsError:
    """An error about a key, with the yard file and the line in which the key stands."""
    key, _, _ = str(error).partition(":")
    text = path.read_text(encoding="utf-8-sig") if path is not None and path.is_file() else ""
    names = key.split(".")
    line = next((n for k in range(len(names), 0, -1) if (n := _line_of(text, names[:k]))), None)
    spot = f"{path}, line {line}" if line else str(path or "yard file")
    return SettingsError(f"{spot}: {error}")


# ------------------------------------------------------------------ errors that help


def _parse_toml(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{where}: not readable as TOML: {error}") from error


def _check(model: type[M], data: Any, where: str, prefix: str, text: str = "") -> M:
    try:
        return model.model_validate(data)
    except ValidationError as error:
        lines = [_explain(item, model, where, prefix, text) for item in error.errors()]
        raise SettingsError("\n".join(lines)) from None


def _explain(item: Any, model: type[BaseModel], where: str, prefix: str, text: str) -> str:
    loc = [str(part) for part in item["loc"]]
    key = ".".join(filter(None, [prefix, *loc]))
    line = _line_of(text, loc)
    spot = f"{where}, line {line}" if line else where
    kind = item["type"]
    if kind == "extra_forbidden":
        known = _keys_at(model, loc[:-1])
        near = difflib.get_close_matches(loc[-1], known, 1, cutoff=0.5)
        hint = (
            f"; did you mean '{near[0]}'?"
            if near
            else (f"; known are {', '.join(sorted(known))}" if known else "")
        )
        return f"{spot}: '{key}' is not a setting{hint}"
    if kind == "missing":
        return f"{where}: '{key}' is missing and has no default"
    message = item["msg"].removeprefix("Value error, ")
    given = item.get("input")
    shown = (
        f" (you wrote {given!r})"
        if isinstance(given, (str, int, float, bool)) and str(given) not in message
        else ""
    )
    return f"{spot}: {key + ': ' if key else ''}{message}{shown}"


def _keys_at(model: Any, loc: list[str]) -> list[str]:
    current: Any = model
    for part in loc:
        if part.isdigit():
            continue
        field = getattr(current, "model_fields", {}).get(part)
        if field is None:
            continue
        current = _model_inside(field.annotation) or current
    return list(getattr(current, "model_fields", {}))


def _model_inside(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_inside(inner)
        if found is not None:
            return found
    return None


def _line_of(text: str, loc: list[str]) -> int | None:
    """Line number of the last named key of ``loc``, found by walking the text; None when unsure."""
    names = [part for part in loc if not part.isdigit()]
    if not text or not names:
        return None
    table: list[str] = []
    best = None
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.strip()
        header = re.match(r"\[\[?\s*([^\]]+?)\s*\]\]?", line)
        if header and line.startswith("["):
            table = [part.strip().strip('"') for part in header[1].split(".")]
            if table == names:
                best = best or number
            continue
        match = re.match(r'([\w."-]+)\s*=', line)
        if not match:
            continue
        full = table + [part.strip('"') for part in match[1].split(".")]
        if full == names:
            return number
        if names[: len(full)] == full:
            best = best or number
    return best
