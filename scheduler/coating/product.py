"""A coating as the physics needs it: water on the face, stages of drying, least temperatures.

The profile of config/coatings.toml gives the defaults; what the yard says of
its own product's data sheet wins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from scheduler.settings import CoatingChoice, CoatingProfile

__all__ = ["Coating", "coating_of", "litres_for"]

GAS = 8.314  # J/mol K
T_SHEET = 294.15  # K, 21 °C: the temperature at which sheets state drying times
# Reference drying at 21 °C and 50 % indoors (0.15 m/s, no sky, panel near air temperature), kg/m² h.
SHEET_EVAPORATION = 0.0663


@dataclass(frozen=True, slots=True)
class Coating:
    """One product, SI units (temperatures °C, hours where the name ends in _h).

    ``w_*`` are shares of the coat's own water that is left at a milestone;
    ``dose_rain`` is the share of film forming asked before rain.
    """

    title: str
    water_kgm2: float  # on the nominal film
    wet_film_um: float
    spreading_m2_l: float
    thick_factor: float
    w_crit: float
    w_touch: float
    w_frost: float
    w_rain: float
    w_dry: float
    dose_rain: float
    coalescence_h: float
    activation_jmol: float
    least_film_c: float
    film_ramp_k: float
    freezes_at_c: float
    least_application_c: float
    lap_cm: float
    waste: float
    second_share: float
    recoat_h: float
    pail_least_c: float
    touch_kgm2: float | None = None  # water lost at touch-dry according to the sheet, when slower
    said: tuple[str, ...] = ()  # what the yard's sheet changed

    def limit(self, name: str) -> float:
        """A limit that a rule takes from the product, by name."""
        limits = {"least_application_c": self.least_application_c, "freezes_at_c": self.freezes_at_c}
        if name not in limits:
            raise KeyError(name)
        return limits[name]

    def second(self) -> Coating:
        """The second coat: thinner, nothing absorbed."""
        return replace(
            self,
            water_kgm2=self.water_kgm2 * self.second_share,
            wet_film_um=self.wet_film_um * self.second_share,
            touch_kgm2=None if self.touch_kgm2 is None else self.touch_kgm2 * self.second_share,
        )


def coating_of(profile: CoatingProfile, choice: CoatingChoice | None = None) -> Coating:
    """The coating of a yard: profile numbers with the yard's data sheet above them.

    Wet film in µm is 1000 / spreading rate in m²/L; the water on the face is
    film times density times (1 - solids). A sheet's "touch dry N h" (at 21 °C,
    50 %) is taken when it is slower than the model; "dry N h" sets the time of
    film forming.
    """
    choice = choice or CoatingChoice()
    said = []

    def pick(name: str, given: float | None, default: float) -> float:
        if given is not None:
            said.append(f"{name} {given:g}")
            return given
        return default

    spreading = pick("spreading rate", choice.spreading_rate_m2_l, profile.spreading_rate.value)
    solids = pick("solids", choice.solids, profile.solids.value)
    density = pick("density", choice.density_kg_m3, profile.density.value)
    film_um = 1000.0 / spreading
    water = film_um * 1e-6 * density * (1.0 - solids) * (1.0 - profile.absorbed.value)
    touch = None
    if choice.touch_dry_h is not None:
        said.append(f"touch dry {choice.touch_dry_h:g} h")
        touch = choice.touch_dry_h * SHEET_EVAPORATION
    coalescence = profile.coalescence.value
    if choice.dry_h is not None:
        said.append(f"dry {choice.dry_h:g} h")
        coalescence = max(choice.dry_h - (choice.touch_dry_h or 0.0), 0.5)
    return Coating(
        title=profile.title,
        water_kgm2=water,
        wet_film_um=film_um,
        spreading_m2_l=spreading,
        thick_factor=profile.thick_factor.value,
        w_crit=profile.w_crit.value,
        w_touch=profile.w_touch.value,
        w_frost=profile.w_frost.value,
        w_rain=profile.w_rain.value,
        w_dry=profile.w_dry.value,
        dose_rain=profile.dose_rain.value,
        coalescence_h=coalescence,
        activation_jmol=profile.activation.value * 1000.0,
        least_film_c=pick("least film temperature", choice.least_film_c, profile.least_film.value),
        film_ramp_k=profile.film_ramp.value,
        freezes_at_c=pick("freezes at", choice.freezes_at_c, profile.freezes_at.value),
        least_application_c=pick(
            "least application temperature", choice.least_application_c, profile.least_application.value
        ),
        lap_cm=profile.lap.value,
        waste=profile.waste.value,
        second_share=profile.second_coat.value,
        recoat_h=pick("recoat after", choice.recoat_h, profile.recoat_least.value),
        pail_least_c=pick("keep the pail above", choice.pail_least_c, profile.pail_least.value),
        touch_kgm2=touch,
        said=tuple(said),
    )


def litres_for(coating: Coating, diameter_cm: float, *, second: bool = False, count: int = 1) -> float:
    """Litres for one coat on one end, lap round the rim and waste included.

    Area π/4 (D + lap)²: the lap is counted once across the diameter, as the
    trade does (12 in end with 1 in lap: 13 in across).
    """
    across = (diameter_cm + coating.lap_cm) / 100.0
    litres = math.pi / 4.0 * across**2 / coating.spreading_m2_l * (1.0 + coating.waste)
    return litres * (coating.second_share if second else 1.0) * count
