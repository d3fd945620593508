"""A replayed season as text, as JSON and as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from scheduler.replay.run import CAREFUL, COVERED, LEARNED, PROGRAM, Replay
from scheduler.replay.score import LEADS, Band, Calibrated, Figures, Score

__all__ = ["replay_json", "replay_lines", "replay_svg"]

WIDTH, EDGE = 760.0, 20.0
CAUSE_WORDS = {"frost": "frost", "rain": "rain", "face": "wet or cold face", "slow": "never dry"}


# ------------------------------------------------------------------ text


LEAD_NAMES = ("today", "1 and 2 days ahead", "3 to 6 days ahead")


def replay_lines(replay: Replay, score: Score, currency: str | None) -> list[str]:
    """The table and what follows from it, as lines."""
    seeds = len(replay.played)
    money = currency or "money"
    ends = sum(p.tallies[0].ends for p in replay.played) / seeds
    season = f"{replay.first:%d %b %Y} to {replay.last:%d %b %Y}"
    many = f"{seeds} seed{'s' * (seeds > 1)}"
    head = ("coats", "spoiled", "frost", "rain", "face", "cm", "wood", "cost", "8 of 10", "litres", "hours")
    out = [
        f"{season}: {replay.hours // 24} mornings, {many}, {ends:.0f} ends a season.",
        "Means of a season. Of 100 coats spoiled in all, by frost, rain, a wet or cold face; for each end cm",
        f"of wood lost, their {money}, {money} with wax and labour, its band of 8 in 10 seeds; litres, hours",
        "of a season; mornings with a yes, each a notice; days open till a coat holds (median).",
        "",
        f"{'':26s}" + _cells(*head, "yes", "open"),
        *(_row(f) for f in score.figures),
        "",
        *_sums(score),
        "",
        "Chances said of the best start of a day -> how often such a coat held (how many):",
    ]
    for name, rows in zip(LEAD_NAMES, score.by_lead, strict=True):
        cells = "  ".join(f"{100 * r.said:3.0f} -> {100 * r.happened:3.0f} ({r.n})" for r in rows)
        out.append(f"  {name:20s} {cells}")
    return [*out, *(["", *replay.notes] if replay.notes else [])]


WIDTHS = (6, 8, 6, 5, 5, 6, 6, 6, 13, 7, 6, 4, 5)


def _cells(*words: str) -> str:
    return "".join(f"{word:>{wide}s}" for word, wide in zip(words, WIDTHS, strict=True))


def _row(f: Figures) -> str:
    causes = (f"{f.causes_per_100[c]:.0f}" for c in ("frost", "rain", "face"))
    money = (f"{f.loss_per_end_cm:.2f}", f"{f.wood_per_end:.1f}", f"{f.cost_per_end:.2f}")
    band = f"{f.cost_band.p10:.1f}-{f.cost_band.p90:.1f}"
    work = (f"{f.litres:.1f}", f"{f.hours:.1f}", f"{f.yes:.0f}", f"{f.days_open_median:.1f}")
    return f"{f.name:26s}" + _cells(
        f"{f.coats:.0f}", f"{f.spoiled_per_100:.0f}", *causes, *money, band, *work
    )


def _sums(score: Score) -> list[str]:
    best = score.of(score.best)
    out = [
        f"Cheapest rule of thumb: {score.best}. Perfect foresight saves {100 * score.avoidable:.0f} % "
        "of its cost."
    ]
    for name in (PROGRAM, LEARNED):
        saved = score.saved_by(name)
        if saved is not None:
            out.append(
                f"{name} saves {100 * saved:.0f} % of what can be avoided, and spoils "
                f"{score.of(name).spoiled_per_100:.0f} of 100 coats; the rule {best.spoiled_per_100:.0f}."
            )
    careful, by_hand = score.of(CAREFUL), score.best_by_hand
    shares = (score.saved_by(CAREFUL, COVERED), score.saved_by(CAREFUL, COVERED, by_hand.name))
    if None not in shares:
        plain, hand = (f"{100 * share:.0f} %" for share in shares if share is not None)
        out.append(
            f"With a hand on the wood first, and a sheet over the coat where that pays: {plain}, "
            f"{careful.spoiled_per_100:.0f} of 100 spoiled;"
        )
        out.append(f"against the best rule with a hand on the wood too ({by_hand.name}): {hand}.")
    if score.thorough is not None:
        out.append(
            f"Cheapest rule that coats nine ends in ten: {score.thorough.name}, "
            f"{score.thorough.spoiled_per_100:.0f} of 100 spoiled."
        )
    out.append(
        f"On {100 * score.good_days:.0f} of 100 days some hour would have done; on "
        f"{100 * score.said_days:.0f} the program gave an even chance or better."
    )
    return out


# ------------------------------------------------------------------ JSON


def replay_json(replay: Replay, score: Score, currency: str | None) -> dict[str, Any]:
    """The replay as data: means of a season over the seeds, bands of 10, 50 and 90 % of them."""
    return {
        "policies": [_policy(f) for f in score.figures],
        "calibration": [_calibrated(r) for r in score.calibration],
        "calibration_by_days_ahead": [
            {"from": a, "to": b, "rows": [_calibrated(r) for r in rows]}
            for (a, b), rows in zip(LEADS, score.by_lead, strict=True)
        ],
        "seeds": len(replay.played),
        "hours": replay.hours,
        "from": replay.first.isoformat(),
        "to": replay.last.isoformat(),
        "currency": currency,
        "best_rule": score.best,
        "avoidable_share": score.avoidable,
        "saved_of_avoidable": score.saved,
        "saved_with_hand_and_sheet": score.saved_by(CAREFUL, COVERED),
        "saved_with_hand_and_sheet_of_rule_by_hand": score.saved_by(
            CAREFUL, COVERED, score.best_by_hand.name
        ),
        "good_days_share": score.good_days,
        "said_days_share": score.said_days,
        "notes": list(replay.notes),
    }


def _policy(f: Figures) -> dict[str, Any]:
    return {
        "name": f.name,
        "coats": f.coats,
        "spoiled": f.spoiled,
        "loss_per_end_cm": f.loss_per_end_cm,
        "cost_per_end": f.cost_per_end,
        "hours": f.hours,
        "days_open_median": f.days_open_median,
        "spoiled_per_100": f.spoiled_per_100,
        "spoiled_by_cause_per_100": f.causes_per_100,
        "wood_cost_per_end": f.wood_per_end,
        "total_cost": f.total_cost,
        "litres": f.litres,
        "mornings_with_yes": f.yes,
        "mornings_with_open_ends": f.asked,
        "coated_share": f.coated_share,
        "bands": {
            "cost_per_end": _three(f.cost_band),
            "loss_per_end_cm": _three(f.loss_band),
            "spoiled_per_100": _three(f.spoiled_band),
            "mornings_with_yes": _three(f.yes_band),
            "coats": _three(f.coats_band),
            "litres": _three(f.litres_band),
            "hours": _three(f.hours_band),
            "days_open_median": _three(f.open_band),
        },
    }


def _three(band: Band) -> dict[str, float]:
    return {"p10": band.p10, "p50": band.p50, "p90": band.p90}


def _calibrated(row: Calibrated) -> dict[str, Any]:
    return {"said": row.said, "happened": row.happened, "n": row.n}


# ------------------------------------------------------------------ the picture


def replay_svg(replay: Replay, score: Score, currency: str | None) -> str:
    """Cost of each policy with its band, spoiled coats by cause, and said against happened, as SVG."""
    rows = len(score.figures)
    top, high = 70.0, 30.0
    middle = top + rows * high + 60.0
    below = middle + 20.0 + rows * 24.0 + 40.0
    parts = [
        _text(
            EDGE,
            30,
            f"{replay.first:%d %b %Y} to {replay.last:%d %b %Y}, {len(replay.played)} seeds",
            18,
            bold=True,
        ),
        _text(EDGE + 170, 56, f"cost per end, {currency or 'money'} (line: 8 of 10 seeds)", 13),
        _text(EDGE + 500, 56, "spoiled of 100 coats", 13),
        *_bars(score.figures, top, high),
        *_small(score.figures, middle),
        *_reliability(score.by_lead, below),
    ]
    height = below + 300.0
    box = f"viewBox='0 0 {WIDTH:.0f} {height:.0f}'"
    head = f"<svg xmlns='http://www.w3.org/2000/svg' {box} font-family='sans-serif'>"
    page = f"<rect width='{WIDTH:.0f}' height='{height:.0f}' fill='#fff'/>"
    return "\n".join([head, f"<title>{escape('A season replayed')}</title>", page, *parts, "</svg>"]) + "\n"


def _text(x: float, y: float, words: str, size: int, *, anchor: str = "start", bold: bool = False) -> str:
    weight = " font-weight='700'" if bold else ""
    return (
        f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size}' text-anchor='{anchor}' fill='#111'{weight}>"
        f"{escape(words)}</text>"
    )


def _box(x: float, y: float, wide: float, high: float, fill: str) -> str:
    return f"<rect x='{x:.1f}' y='{y:.1f}' width='{wide:.1f}' height='{high:.0f}' fill='{fill}'/>"


# Told apart by pattern of light and dark as well as by words: nothing hangs on a colour alone.
SHADES = {"frost": "#1b4f8a", "rain": "#5b9bd0", "face": "#b9d4ea", "slow": "#777"}


def _bars(figures: Sequence[Figures], top: float, high: float) -> list[str]:
    out = []
    most = max(f.cost_band.p90 for f in figures) or 1.0
    for n, f in enumerate(figures):
        y = top + n * high
        x0, scale = EDGE + 170.0, 230.0 / most
        wide = f.cost_per_end * scale
        fill = "#111" if f.name in (PROGRAM, LEARNED) else "#999"
        out.append(_text(EDGE, y + 14, f.name, 14, bold=f.name == PROGRAM))
        out.append(_box(x0, y, wide, 16.0, fill))
        out.append(_line(x0, scale, f.cost_band, y + 20))
        out.append(
            _text(x0 + max(f.cost_per_end, f.cost_band.p90) * scale + 6, y + 14, f"{f.cost_per_end:.1f}", 13)
        )
        x = EDGE + 500.0
        for cause, share in f.causes_per_100.items():
            out.append(_box(x, y, 1.8 * share, 16.0, SHADES[cause]))
            x += 1.8 * share
        out.append(_text(x + 6, y + 14, f"{f.spoiled_per_100:.0f}", 13))
        out.append(_line(EDGE + 500.0, 1.8, f.spoiled_band, y + 20))
    x, y = EDGE + 430.0, top + len(figures) * high + 12
    for cause, word in CAUSE_WORDS.items():
        out.append(_box(x, y - 9.0, 10.0, 10.0, SHADES[cause]))
        out.append(_text(x + 13, y, word, 10))
        x += 24 + 5.2 * len(word)
    return out


def _line(x0: float, scale: float, band: Band, y: float) -> str:
    """The band of eight in ten seeds."""
    a, b = x0 + band.p10 * scale, x0 + band.p90 * scale
    return f"<path d='M{a:.1f} {y:.1f}H{b:.1f}' stroke='#111' stroke-width='2'/>"


def _small(figures: Sequence[Figures], top: float) -> list[str]:
    """Side by side what a season takes and gives besides money, each with its band."""
    columns: list[tuple[str, list[tuple[float, Band]]]] = [
        ("coats", [(f.coats, f.coats_band) for f in figures]),
        ("cm lost", [(f.loss_per_end_cm, f.loss_band) for f in figures]),
        ("wax, litres", [(f.litres, f.litres_band) for f in figures]),
        ("hours", [(f.hours, f.hours_band) for f in figures]),
        ("mornings", [(f.yes, f.yes_band) for f in figures]),
        ("days open", [(f.days_open_median, f.open_band) for f in figures]),
    ]
    high, wide = 24.0, 58.0
    out = [_text(EDGE, top + 20 + n * high + 11, f.name, 12) for n, f in enumerate(figures)]
    for k, (name, cells) in enumerate(columns):
        x = EDGE + 150.0 + k * 98.0
        most = max((max(value, band.p90) for value, band in cells), default=1.0) or 1.0
        out.append(_text(x, top + 8, name, 12))
        for n, (value, band) in enumerate(cells):
            y = top + 20 + n * high
            out.append(_box(x, y, wide * value / most, 12.0, "#999"))
            out.append(_line(x, wide / most, band, y + 15))
            end = x + wide * max(value, band.p90) / most
            out.append(_text(end + 4, y + 11, f"{value:.0f}" if value >= 20 else f"{value:.1f}", 11))
    return out


def _reliability(leads: Sequence[Sequence[Calibrated]], top: float) -> list[str]:
    """Said against happened, one square for each group of days ahead; a dot's area goes with its number."""
    out = [_text(EDGE, top, "Chance said (across) and how often it came true (up)", 13)]
    side = 190.0
    for n, (name, rows) in enumerate(zip(LEAD_NAMES, leads, strict=True)):
        x, y = EDGE + 24 + n * (side + 46), top + 20 + side
        frame = f"M{x} {y:.1f}v{-side}h{side}v{side}z"
        out.append(f"<path d='{frame}' fill='none' stroke='#999'/>")
        out.append(f"<path d='M{x} {y:.1f}l{side} {-side}' stroke='#999' stroke-dasharray='4 4'/>")
        out.extend(
            _text(x + share * side, y + 16, f"{100 * share:.0f} %", 11, anchor="middle")
            for share in (0.0, 0.5, 1.0)
        )
        out.append(_text(x + side / 2, y + 34, name, 13, anchor="middle"))
        many = max((r.n for r in rows), default=1)
        for r in rows:
            size = 3.0 + 7.0 * (r.n / many) ** 0.5
            said = f"{100 * r.said:.0f} % said, {100 * r.happened:.0f} % came true, {r.n} times"
            at = f"cx='{x + r.said * side:.1f}' cy='{y - r.happened * side:.1f}' r='{size:.1f}'"
            out.append(f"<circle {at} fill='#111'><title>{said}</title></circle>")
    return out
