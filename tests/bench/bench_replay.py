"""What the program is worth: seasons replayed on the open records of ``open_hours``; chances of all together.

Run by hand:  python tests/bench/bench_replay.py [--places newark ...] [--seasons autumn ...] [--seeds 20]
              [--learned] [--pictures DIR]

For each place and season: what perfect foresight saves of the cheapest rule's cost, what the program
saves of that (also with its yard learned), and coats spoiled of 100 by the program. Then the same with a
hand on the wood first and sheets where they pay, held against one who knew and had sheets: "careful" by the
best rule, "by hand" by the best rule that has the hand too. Then coats spoiled of 100 by the cheapest rule
that coats nine ends in ten, cost per end of the program, the best rule, one who knew, wood lost, mornings
with a yes of both. At the end the chances of all of them against what came. A place
whose package is not installed is left out, and said. Some minutes for each season with 20 seeds.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from gathered import tell
from open_hours import PLACES, has, write

from scheduler.replay.record import read_hours
from scheduler.replay.run import CAREFUL, COVERED, FORESIGHT, LEARNED, PROGRAM, Case, Replay, days_of, replay
from scheduler.replay.score import LEADS, Score, calibration, score_of
from scheduler.settings import load_yard, replay_scheme
from scheduler.views.replay import LEAD_NAMES, replay_svg

YEAR = {"newark": 2013, "greensboro": 2001, "london": 2012, "south": 2001}
SEASONS = {"autumn": ((10, 1), (12, 31)), "winter": ((1, 1), (3, 31)), "summer": ((5, 1), (7, 31))}
SOUTH = {"autumn": ((4, 1), (6, 30)), "winter": ((7, 1), (9, 30)), "summer": ((11, 1), (12, 31))}
HEAD = (
    f"{'place':11s}{'season':8s}{'seeds':>6s}{'avoidable':>10s}{'saved':>6s}{'learned':>8s}{'spoiled':>8s}"
    f"{'careful':>8s}{'by hand':>8s}{'spoiled':>8s}"
    f"{'rule':>5s}{'cost':>7s}{'best':>7s}{'knew':>7s}{'cm':>6s}{'yes':>5s}{'knew':>5s}"
)


def season_of(place: str, season: str) -> tuple[date, date]:
    """First and last morning."""
    first, last = (SOUTH if place == "south" else SEASONS)[season]
    return date(YEAR[place], *first), date(YEAR[place], *last)


def told(place: str, season: str, score: Score, seeds: int) -> str:
    """One line of the table."""
    own, knew, best = score.of(PROGRAM), score.of(FORESIGHT), score.of(score.best)

    def share(value: float | None) -> str:
        return "--" if value is None else f"{100 * value:.0f} %"

    rule = "--" if score.thorough is None else f"{score.thorough.spoiled_per_100:.0f}"
    return (
        f"{place:11s}{season:8s}{seeds:6d}{share(score.avoidable):>10s}{share(score.saved):>6s}"
        f"{share(score.saved_by(LEARNED)):>8s}{own.spoiled_per_100:8.1f}"
        f"{share(score.saved_by(CAREFUL, COVERED)):>8s}"
        f"{share(score.saved_by(CAREFUL, COVERED, score.best_by_hand.name)):>8s}"
        f"{score.of(CAREFUL).spoiled_per_100:8.1f}{rule:>5s}"
        f"{own.cost_per_end:7.2f}{best.cost_per_end:7.2f}{knew.cost_per_end:7.2f}"
        f"{own.loss_per_end_cm:6.1f}{own.yes:5.0f}{knew.yes:5.0f}"
    )


def reliability(cases: list[Case]) -> list[str]:
    """Said against happened, by days ahead and together."""
    groups = [
        (name, [c for c in cases if a <= c.lead <= b]) for name, (a, b) in zip(LEAD_NAMES, LEADS, strict=True)
    ]
    out = []
    for name, mine in [*groups, ("all", cases)]:
        cells = (f"{100 * r.said:3.0f} -> {100 * r.happened:3.0f} ({r.n:5d})" for r in calibration(mine))
        out.append(f"{name:20s} " + "  ".join(cells))
    return out


def played(place: str, season: str, folder: Path, seeds: int, learned: bool) -> Replay:
    """One season of one place."""
    hours, yard_file = write(place, folder)
    record = read_hours(hours.read_text(encoding="utf-8"), replay_scheme()["yard"]["gap"])
    yard = load_yard(yard_file)
    return replay(
        record, yard, days_of(record, yard, *season_of(place, season)), range(1, seeds + 1), learned=learned
    )


def main() -> None:
    """Play them all, print the tables."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument(
        "--places", nargs="+", default=["newark", "greensboro", "london"], choices=sorted(PLACES)
    )
    ask.add_argument("--seasons", nargs="+", default=[*SEASONS], choices=[*SEASONS])
    ask.add_argument("--seeds", type=int, default=20)
    ask.add_argument("--learned", action="store_true")
    ask.add_argument("--pictures", type=Path)
    given = ask.parse_args()
    cases: list[Case] = []
    print(HEAD, flush=True)
    with tempfile.TemporaryDirectory() as folder:
        for place in given.places:
            if not has(place):
                print(f"{place:11s}left out: the package {PLACES[place].package} is not installed")
                continue
            for season in given.seasons:
                begin = time.perf_counter()
                found = played(place, season, Path(folder), given.seeds, given.learned)
                score = score_of(found)
                minutes = (time.perf_counter() - begin) / 60.0
                print(f"{told(place, season, score, given.seeds)}   ({minutes:.0f} min)", flush=True)
                own, best = score.of(PROGRAM).cost_per_end, score.of(score.best)
                tell(
                    f"replay, {place}, {season}: cost per end",
                    f"{own:.2f}",
                    best.cost_per_end / own,
                    best.name,
                )
                cases += [case for one in found.played for case in one.cases]
                if given.pictures is not None:
                    given.pictures.mkdir(parents=True, exist_ok=True)
                    file = given.pictures / f"{place}-{season}.svg"
                    file.write_text(replay_svg(found, score, "money"), encoding="utf-8")
    print("\nChances said -> how often such a coat held (how many)")
    print("\n".join(reliability(cases)))


if __name__ == "__main__":
    main()
