"""Rules of a yard: the shipped ones with the yard's changes, checked and ready for the engine."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import ValidationError

from scheduler.coating.product import Coating
from scheduler.settings import RuleChange, RuleSpec, SettingsError

__all__ = ["FIXED", "QUANTITIES", "UNITS", "Rule", "rules_of"]

# Quantity -> unit. What the engine can look at; a rule of anything else is an error.
UNITS: dict[str, str] = {
    "air_c": "°C",
    "humidity_pct": "%",
    "wind_ms": "m/s",
    "gust_ms": "m/s",
    "rain_mm": "mm",
    "cloud_pct": "%",
    "weather_code": "code",
    "bare_face_c": "°C",
    "film_c": "°C",
    "log_c": "°C",
    "log_over_dew_k": "K",
    "dew_margin_k": "K",
    "face_water_mm": "mm",
    "hours_to_dry": "h",
    "light_min": "min",
    "hands": "people",
}
QUANTITIES = tuple(UNITS)
FIXED = frozenset({"light_min", "hands"})  # known from the calendar: the same in all members
LIMITS = ("least_application_c", "freezes_at_c")


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule with its limit in place. It breaks where the quantity is below (or above) the limit."""

    name: str
    quantity: str
    limit: float
    below: bool
    unit: str
    stretch: str
    stops: bool
    sky: bool
    when_missing: str
    forbids_seal: bool
    source: str
    says: str
    holds: str
    short: str

    @property
    def breach(self) -> str:
        """ "stop" or "doubt"."""
        return "stop" if self.stops else "doubt"

    @property
    def fixed(self) -> bool:
        """True when the calendar alone decides it."""
        return self.quantity in FIXED


def rules_of(
    shipped: Mapping[str, RuleSpec], changes: Mapping[str, RuleChange], coating: Coating, method: str
) -> tuple[Rule, ...]:
    """The rules that hold in a yard, in order.

    Raises
    ------
    SettingsError
        For an unknown rule, quantity, unit or limit; it names the nearest right one.
    """
    specs = dict(shipped)
    for name, change in changes.items():
        given = change.model_dump(exclude_none=True)
        if name in shipped:
            specs[name] = _changed(name, shipped[name], given)
        else:
            specs[name] = _own(name, given, shipped)
    rules = []
    for name, spec in specs.items():
        _known(name, spec)
        if spec.on and spec.only_method in (None, method):
            rules.append(_ready(name, spec, coating, name in changes and _sets_limit(changes[name])))
    return tuple(rules)


def _sets_limit(change: RuleChange) -> bool:
    return change.below is not None or change.above is not None


def _changed(name: str, spec: RuleSpec, given: dict[str, object]) -> RuleSpec:
    merged = spec.model_dump()
    if "below" in given or "above" in given:  # a new limit replaces the old one, whichever side it was
        merged["below"] = merged["above"] = None
    return _build(name, {**merged, **given})


def _own(name: str, given: dict[str, object], shipped: Mapping[str, RuleSpec]) -> RuleSpec:
    if "quantity" not in given:
        near = difflib.get_close_matches(name, shipped, 1)
        hint = f"; did you mean '{near[0]}'?" if near else f"; there are {', '.join(shipped)}"
        raise SettingsError(f"rules.{name}: there is no rule of that name{hint}")
    quantity = str(given["quantity"])
    own: dict[str, object] = {
        "stretch": "while brushing",
        "breach": "stop",
        "source": "the yard's own rule",
        "says": f"{name.replace('_', ' ')}: {{value}} against {{limit}}",
        "holds": f"{name.replace('_', ' ')}: {{value}}",
        "unit": UNITS.get(quantity, ""),
    }
    return _build(name, {**own, **given})


def _build(name: str, data: dict[str, object]) -> RuleSpec:
    try:
        return RuleSpec.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(["rules", name, *(str(part) for part in first["loc"])])
        raise SettingsError(f"{where}: {first['msg'].removeprefix('Value error, ')}") from None


def _known(name: str, spec: RuleSpec) -> None:
    if spec.quantity not in UNITS:
        near = difflib.get_close_matches(spec.quantity, UNITS, 1, cutoff=0.4)
        hint = f"did you mean '{near[0]}'?" if near else f"there are {', '.join(UNITS)}"
        raise SettingsError(f"rules.{name}.quantity: '{spec.quantity}' is not known; {hint}")
    if spec.unit != UNITS[spec.quantity]:
        raise SettingsError(
            f"rules.{name}.unit: {spec.quantity} is in {UNITS[spec.quantity]}, not in '{spec.unit}';"
            f" give the limit in {UNITS[spec.quantity]}"
        )
    if spec.limit_from is not None and spec.limit_from not in LIMITS:
        nearest = (difflib.get_close_matches(spec.limit_from, LIMITS, 1, cutoff=0.3) or LIMITS)[0]
        raise SettingsError(
            f"rules.{name}.limit_from: '{spec.limit_from}' is not known; did you mean '{nearest}'?"
        )


def _ready(name: str, spec: RuleSpec, coating: Coating, own_limit: bool) -> Rule:
    limit = spec.below if spec.below is not None else spec.above
    assert limit is not None
    if spec.limit_from is not None and not own_limit:
        limit = coating.limit(spec.limit_from)
    return Rule(
        name=name,
        quantity=spec.quantity,
        limit=limit,
        below=spec.below is not None,
        unit=spec.unit,
        stretch=spec.stretch,
        stops=spec.breach == "stop",
        sky=spec.sky,
        when_missing=spec.when_missing,
        forbids_seal=spec.forbids_seal,
        source=spec.source,
        says=spec.says,
        holds=spec.holds,
        short=spec.short or name.replace("_", " "),
    )
