"""A finite-volume solution of a drying log end: slow, plain, the reference for the front model. Tests only.

Moisture M (kg/kg) moves along the grain by the potential b = min(M, Mf) + r max(M - Mf, 0):

    dM/dt = d/dx (D db/dx),   flux at the face = D (b_face - Me) / delta

``r`` is the mobility of the free water against that of the bound water (about 0.02 in heartwood, 0.2 to 1 in
sapwood; from memory). Implicit in time, Newton on the kinks of b, cells that grow with depth. It shares no
line with the program: sorption and diffusion come in as plain numbers by the step. Also here: the shipped
numbers as the tests take them, and small drivers.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from scheduler.settings import grain_numbers
from scheduler.weather.air import dew_point_from_humidity
from scheduler.wood.endgrain import EndClock, end_clock

F = NDArray[np.float64]


# ------------------------------------------------------------------ shipped numbers, plain drivers


class Watched(Mapping[str, float]):
    """Numbers that remember which of them were read."""

    def __init__(self, values: Mapping[str, float]) -> None:
        self.values_by_name, self.read = dict(values), set[str]()

    def __getitem__(self, name: str) -> float:
        self.read.add(name)
        return self.values_by_name[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.values_by_name)

    def __len__(self) -> int:
        return len(self.values_by_name)


@lru_cache(maxsize=1)
def endgrain_table() -> dict[str, dict[str, object]]:
    """config/endgrain.toml as it stands."""
    file = Path(__file__).parents[1] / "config" / "endgrain.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def shipped(**changed: float) -> dict[str, float]:
    """The numbers of the front model as the program passes them, some changed."""
    return {**grain_numbers(), **changed}


def steady(
    air_c: float, humidity: float, days: float, moisture: float | list[float] = 0.8, **changed: float
) -> EndClock:
    """The clock under air that never changes, no rain; humidity in percent."""
    t = np.full((1, round(days * 24)), air_c)
    return end_clock(t, dew_point_from_humidity(t, humidity), None, moisture, shipped(**changed))


# ------------------------------------------------------------------ the solver


@dataclass(frozen=True)
class Wood:
    """One end; SI."""

    moisture: float = 0.8
    fibre_saturation: float = 0.30
    mobility: float = 0.02
    length_m: float = 0.6
    first_cell_m: float = 0.0005
    cells: int = 120


@dataclass(frozen=True, eq=False)
class Dried:
    """What the solver found at the asked times."""

    centres: F  # (cells,) m from the face
    widths: F
    moisture: F  # (times, cells)
    face: F  # (times,) moisture at the face
    given_off: F  # (times,) integral of the flux through the face, kg/kg m

    def depth(self, wood: Wood) -> F:
        """Where the moisture has fallen to fibre saturation, m, linear between cells; 0 for a wet face."""
        out = np.zeros(len(self.moisture))
        for n, (row, face) in enumerate(zip(self.moisture, self.face, strict=True)):
            x, m = np.append(0.0, self.centres), np.append(face, row)
            below = m < wood.fibre_saturation
            if below[0]:
                k = int(np.argmin(below))  # first cell that is still green
                out[n] = np.interp(wood.fibre_saturation, m[k - 1 : k + 1], x[k - 1 : k + 1])
        return out

    def depth_by_water(self, wood: Wood, equilibrium: float) -> F:
        """The depth at which a straight profile would have given off as much, m."""
        gap = wood.fibre_saturation - equilibrium
        return self.given_off / ((wood.moisture - wood.fibre_saturation) + 0.5 * gap)


def grid(wood: Wood) -> F:
    """Widths of the cells: each wider than the one before by the same factor, together the length."""
    low, high = 1.0, 2.0
    for _ in range(80):
        ratio = 0.5 * (low + high)
        total = wood.first_cell_m * (
            wood.cells if ratio == 1.0 else (ratio**wood.cells - 1.0) / (ratio - 1.0)
        )
        low, high = (ratio, high) if total < wood.length_m else (low, ratio)
    return np.asarray(wood.first_cell_m * ratio ** np.arange(wood.cells))


def steps_to(times_s: F, first_s: float = 60.0, longest_s: float = 43200.0, growth: float = 1.05) -> F:
    """Lengths of steps that grow from ``first_s`` and meet every one of ``times_s``."""
    out, now, step = [], 0.0, first_s
    for time in times_s:
        while now < time - 1e-6:
            taken = min(step, time - now)
            out.append(taken)
            now += taken
            step = min(step * growth, longest_s)
    return np.asarray(out)


def dry(wood: Wood, times_s: F, steps_s: F, diffusion: F, equilibrium: F, resistance: F) -> Dried:
    """Solve one end.

    ``diffusion`` (m²/s), ``equilibrium`` (kg/kg) and ``resistance`` (m of end grain, air and coat) hold for
    each of ``steps_s``, or are single numbers.
    """
    widths = grid(wood)
    centres = np.cumsum(widths) - 0.5 * widths
    between = 1.0 / np.diff(centres)
    m = np.full(wood.cells, wood.moisture)
    d, me, delta = (
        np.broadcast_to(np.asarray(v, float), steps_s.shape) for v in (diffusion, equilibrium, resistance)
    )
    now, lost = 0.0, 0.0
    rows, faces, given = [], [], []
    wanted = iter([*times_s, np.inf])
    due = next(wanted)
    for k, step in enumerate(steps_s):
        outward = 1.0 / (0.5 * widths[0] + delta[k])
        m = _step(m, wood, widths, between, d[k] * step, me[k], outward)
        now += step
        lost += d[k] * step * outward * (_b(m, wood)[0] - me[k])
        if now >= due - 1e-6:
            rows.append(m.copy())
            face = me[k] + (_b(m, wood)[0] - me[k]) * delta[k] * outward
            faces.append(face if face < wood.fibre_saturation else wood.moisture)
            given.append(lost)
            due = next(wanted)
    return Dried(centres, widths, np.asarray(rows), np.asarray(faces), np.asarray(given))


def _b(m: F, wood: Wood) -> F:
    mf = wood.fibre_saturation
    return np.minimum(m, mf) + wood.mobility * np.maximum(m - mf, 0.0)


def _step(m: F, wood: Wood, widths: F, between: F, reach: float, me: float, outward: float) -> F:
    """One implicit step: Newton with halving, as the kink of b may throw it to and fro."""
    new = m.copy()

    def residual(x: F) -> F:
        b = _b(x, wood)
        flow = between * np.diff(b)  # toward the face, into the cell nearer to it
        out = widths * (x - m)
        out[:-1] -= reach * flow
        out[1:] += reach * flow
        out[0] += reach * outward * (b[0] - me)
        return out

    miss = residual(new)
    size = np.abs(miss).max()
    for _ in range(60):
        if size < 1e-14:
            break
        slope = np.where(new < wood.fibre_saturation, 1.0, wood.mobility)
        bands = np.zeros((3, m.size))
        bands[1] = widths
        bands[1, :-1] += reach * between * slope[:-1]
        bands[1, 1:] += reach * between * slope[1:]
        bands[1, 0] += reach * outward * slope[0]
        bands[0, 1:] = -reach * between * slope[1:]
        bands[2, :-1] = -reach * between * slope[:-1]
        change = solve_banded((1, 1), bands, -miss)
        for share in (1.0, 0.5, 0.25, 0.125):
            tried = new + share * change
            missed = residual(tried)
            if np.abs(missed).max() < size or share == 0.125:
                break
        new, miss, size = tried, missed, np.abs(missed).max()
    return new
