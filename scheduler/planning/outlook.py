"""The weather's answer for each place of a yard: members, faces, chances, worked out once and shared."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.coating.face import exposure_of
from scheduler.coating.film import Surroundings, surroundings
from scheduler.coating.product import Coating, coating_of
from scheduler.rules.hours import openness
from scheduler.rules.rule import rules_of
from scheduler.rules.spans import Assessment, Limits, Span, assess
from scheduler.settings import (
    Place,
    Thresholds,
    YardFile,
    assumptions,
    coating_profiles,
    doubt,
    physics,
    rule_specs,
    thresholds,
)
from scheduler.weather.fine import PER_HOUR, Fine, fine_grid
from scheduler.weather.members import Beliefs, draw_members
from scheduler.weather.series import Weather

__all__ = ["Outlook"]

OPEN_YARD = None


class Outlook:
    """What a forecast means in a yard at a time.

    Parameters
    ----------
    yard : checked yard file
    weather : the forecast, past days included
    at : the clock (aware)
    beliefs : what was learned of the yard itself; None: the yard file's word, with the general doubt
    """

    def __init__(
        self, yard: YardFile, weather: Weather, at: datetime, beliefs: Beliefs | None = None
    ) -> None:
        self.yard = yard
        self.at = at
        self.weather = weather
        self.beliefs = beliefs
        self.thresholds: Thresholds = thresholds()
        self.physics = physics()
        self.coating: Coating = coating_of(coating_profiles()[yard.coating.profile], yard.coating)
        self.rules = rules_of(rule_specs(), yard.rules, self.coating, yard.coating.method)
        horizon = timedelta(days=self.thresholds.shown_horizon.value)
        # Film and frost of the last start still need the days after it.
        after = timedelta(hours=96)
        used = weather.between(weather.start, min(weather.end, at + horizon + after))
        issued = weather.provenance.issued or weather.start
        self.members = draw_members(
            used,
            doubt(),
            self.physics,
            issued=issued,
            latitude=yard.yard.place.lat,
            longitude=yard.yard.place.lon,
            place=beliefs or Beliefs(hollow_c=yard.site.hollow),
        )
        altitude = yard.yard.place.altitude_m
        cell = weather.provenance.altitude_m
        height = altitude if altitude is not None else (cell if cell is not None else 0.0)
        self.fine: Fine = fine_grid(self.members, height)
        self.openness = openness(self.fine, yard.yard, yard.zone, assumptions())
        self.limits = Limits.of(self.thresholds)
        self.last_step = int(self.fine.step_of(min(at + horizon, weather.end)))
        self._faces: dict[tuple[str | None, bool], Surroundings] = {}
        self._spans: dict[tuple[str | None, bool], list[Span]] = {}
        self._assessed: dict[tuple[str | None, bool], Assessment] = {}

    def place(self, name: str | None) -> Place | None:
        """The yard's place of that name; None for the open yard or a name that is not in the yard file."""
        return next((p for p in self.yard.place if name is not None and p.name == name), None)

    def step_of(self, when: datetime) -> float:
        """Grid steps of a time."""
        return self.fine.step_of(when)

    def time_at(self, step: float) -> datetime:
        """UTC time of a grid position."""
        return self.fine.time_at(step)

    @property
    def trusted_until(self) -> datetime:
        """Until when a forecast is more than something to plan on."""
        return self.at + timedelta(days=self.thresholds.trusted_horizon.value)

    @property
    def now_step(self) -> int:
        """First quarter hour that has not begun."""
        return int(np.ceil(self.step_of(self.at) - 1e-9))

    def faces(self, name: str | None = OPEN_YARD, roofed: bool = False) -> Surroundings:
        """Faces and logs of a place (open yard by default)."""
        key = self._key(name, roofed)
        if key not in self._faces:
            self._faces[key] = self.faces_under(self.fine, name, roofed)
        return self._faces[key]

    def faces_under(self, fine: Fine, name: str | None = OPEN_YARD, roofed: bool = False) -> Surroundings:
        """Faces and logs of a place under weather other than this outlook's members."""
        place_name, roofed = self._key(name, roofed)
        place = self.place(place_name)
        if place is not None and place.frost_free:
            fine = replace(fine, air_c=np.maximum(fine.air_c, self.physics["frost_free_least"]))
        return surroundings(
            fine,
            exposure_of(self.yard.site, self.physics, place, roofed=roofed),
            self.physics["face_water_held"],
            self.physics["drying_wetness"],
            self.thresholds.rain_hour.value,
        )

    def of(self, name: str | None = OPEN_YARD, roofed: bool = False) -> Assessment:
        """Chances of all starts from now on in a place."""
        key = self._key(name, roofed)
        if key not in self._assessed:
            self._assessed[key] = assess(
                self.faces(name, roofed),
                self.coating,
                self.rules,
                self.openness,
                self.limits,
                self.now_step,
                self.last_step,
                self.physics["drying_wetness"],
            )
        return self._assessed[key]

    def spans(self, name: str | None = OPEN_YARD, roofed: bool = False) -> list[Span]:
        """The spans of a place, worked out once."""
        key = self._key(name, roofed)
        if key not in self._spans:
            self._spans[key] = self.of(name, roofed).spans()
        return self._spans[key]

    def _key(self, name: str | None, roofed: bool) -> tuple[str | None, bool]:
        place = self.place(name)
        if place is not None and (place.roofed or place.frost_free):
            roofed = False  # a roof more changes nothing
        return (None if place is None else place.name, roofed)

    def mean_air(self, hours: float = 24.0) -> float | None:
        """Mean air of the last hours, °C; None where it is not known."""
        end = self.now_step
        begin = max(0, end - int(hours * PER_HOUR))
        part = self.fine.air_c[:, begin:end]
        return float(np.nanmean(part)) if part.size and np.isfinite(part).any() else None
