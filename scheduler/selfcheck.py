"""``verify``: what was read, asked and assumed, line by line, and what came of what was said. An edge."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from scheduler.coating.product import coating_of
from scheduler.learning import coats_compared
from scheduler.service import learn_all
from scheduler.settings import (
    YardFile,
    assumptions,
    coating_profiles,
    learning,
    word_languages,
)
from scheduler.sources import forecast_of, kept_forecast, open_register, register_of, store_exists
from scheduler.weather.series import WeatherError

if TYPE_CHECKING:
    from scheduler.weather.skill import Record

__all__ = ["Check", "checks", "verified"]


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that `verify` looked at, and what it found."""

    name: str
    ok: bool
    said: str


def checks(yard: YardFile, at: datetime) -> list[Check]:
    """Settings, store, endpoint, channels: each with a plain result."""
    return [
        Check("settings", True, f"{yard.path} read; {_settings_line(yard)}"),
        Check("assumed", True, "; ".join(_assumed(yard)) or "nothing"),
        _store_check(yard, at),
        _endpoint_check(yard, at),
        _learned_check(yard, at),
        *_sending_checks(yard, at),
    ]


def _settings_line(yard: YardFile) -> str:
    place = yard.yard.place
    coating = coating_of(coating_profiles()[yard.coating.profile], yard.coating)
    sheet = (
        f", from your sheet: {', '.join(coating.said)}"
        if coating.said
        else "; read your pail's sheet: it rules"
    )
    return f"place {place.lat:.4f}, {place.lon:.4f}, zone {yard.yard.zone}, coating {coating.title}{sheet}"


def _assumed(yard: YardFile) -> list[str]:
    """What nobody entered and is therefore taken for granted."""
    assumed = assumptions()
    out = []
    if yard.site.hollow_is_guess:
        out.append(
            f"yard {abs(yard.site.hollow):g} °C colder than the forecast on clear calm nights (a guess)"
        )
    if not yard.yard.hours:
        out.append("hours 9:00 to an hour before sunset, every day")
    if not yard.coating.least_application_c:
        limit = coating_profiles()[yard.coating.profile].least_application.value
        out.append(f"brush only above {limit:g} °C on the wood")
    if yard.yard.minutes.end is None:
        out.append(
            f"{assumed['minutes_end']:.0f} minutes an end, {assumed['minutes_fresh_cut']:.0f} a fresh cut"
        )
    if yard.yard.place.altitude_m is None:
        out.append("altitude of the forecast's cell")
    if yard.yard.language.partition("-")[0] not in word_languages():
        out.append(f"English on screen: there are no words for '{yard.yard.language}' yet")
    return out


def _store_check(yard: YardFile, at: datetime) -> Check:
    if not store_exists(yard):
        return Check("store", True, "no log entered yet; the database is made with the first one")
    from scheduler.yard.store import StoreError

    try:
        register = register_of(yard, at)
    except StoreError as error:
        return Check("store", False, str(error))
    return Check("store", True, f"{len(register.present)} logs, {register.last_entry} entries")


def _endpoint_check(yard: YardFile, at: datetime) -> Check:
    from scheduler.weather.fetch_request import request_for
    from scheduler.weather.formats.columns import distance_km

    if yard.forecast.url is None:
        return Check("endpoint", False, "none named: put an address under [forecast] url in the yard file")
    try:
        asked = request_for(yard.forecast, yard.yard.place).asked
    except WeatherError as error:
        return Check("endpoint", False, str(error))
    forecast = forecast_of(yard, at)
    if forecast.weather is None:
        return Check("endpoint", False, f"{asked}: {forecast.why}")
    weather, p = forecast.weather, forecast.weather.provenance
    made = "?" if p.issued is None else p.issued.astimezone(yard.zone).strftime("%a %H:%M")
    word = "made" if p.issued_known and p.issued != p.fetched else "fetched"
    parts = [asked, f"{weather.hours} hours", f"{word} {made}"]
    place = yard.yard.place
    if p.latitude is not None and p.longitude is not None:
        away = distance_km((place.lat, place.lon), (p.latitude, p.longitude))
        higher = ""
        if place.altitude_m is not None and p.altitude_m is not None:
            up = round(p.altitude_m - place.altitude_m)
            higher = f", {abs(up)} m {'higher' if up > 0 else 'lower'}" if up else ", at the yard's height"
        parts.append(f"cell {away:.0f} km away{higher}")
    parts.extend(p.notes)
    problem = forecast.why or forecast.fallback
    return Check("endpoint", problem is None, ", ".join(parts) + (f". {problem}" if problem else ""))


def _learned_check(yard: YardFile, at: datetime) -> Check:
    """What was learned of the yard's own place, and from how much."""
    from scheduler.views.learned import learned_lines
    from scheduler.views.wording import Wording
    from scheduler.yard.store import StoreError

    try:
        register = register_of(yard, at)
    except StoreError as error:
        return Check("learned", False, str(error))
    forecast = kept_forecast(yard, at)
    held = learn_all(yard, register, forecast, at)
    n = learning()
    lines = learned_lines(
        held,
        yard.site.hollow,
        round(n["offset"]["least_nights"]),
        round(n["drying"]["least_looks"]),
        Wording(yard.zone, yard.yard.units, at),  # English, as all that stands beside it
    )
    return Check("learned", True, "; ".join(lines))


def verified(yard: YardFile, at: datetime, observed: bytes | None = None) -> Record:
    """What was said and what came: kept forecasts against the register, looks, and observed hours if given.

    Raises
    ------
    WeatherError
        When the observed hours cannot be read.
    """
    from scheduler.scored import observed_hours, scores_of

    hours = None if observed is None else observed_hours(observed, yard)
    register = register_of(yard, at)
    learn_all(yard, register, kept_forecast(yard, at), at)
    return scores_of(yard, register, at, coats_compared(yard), hours)


def _sending_checks(yard: YardFile, at: datetime) -> list[Check]:
    """Channels, and what has left through them."""
    from scheduler.health import channel_checks, notice_check
    from scheduler.yard.store import StoreError

    found = [Check(one.name, one.ok, one.said) for one in channel_checks(yard)]
    if not store_exists(yard):
        said = "none sent yet: they leave while coatcast serve runs, or by coatcast tick"
        return [*found, Check("notices", True, said)]
    try:
        with open_register(yard) as store:
            notices = notice_check(store, yard, at)
    except StoreError as error:
        return [*found, Check("notices", False, str(error))]
    return [*found, Check(notices.name, notices.ok, notices.said)]
