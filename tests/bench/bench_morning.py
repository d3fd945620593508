"""One yard's morning in milliseconds: members drawn, faces, clocks, all rules for all starts and members.

Run by hand, with nothing else busy:  python tests/bench/bench_morning.py [--runs 9]

The demo's yard and stored forecast. Each stage is timed apart in one process, the middle of the runs is told.
The named reference is the same rules gone through one start and one member at a time in plain Python (for a
sample of starts, scaled up): what vectorising is worth.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

import numpy as np
from gathered import tell

from scheduler.coating.film import FilmClocks
from scheduler.planning.chances import day_chances
from scheduler.planning.decision import Chances, decide
from scheduler.planning.jobs import Job
from scheduler.planning.ledger import ledger_of
from scheduler.planning.outlook import Outlook
from scheduler.planning.worth import worth_of_jobs
from scheduler.rules.engine import BREAK, Findings, judge, series_of
from scheduler.settings import doubt, load_yard, physics, species_table
from scheduler.weather.fine import fine_grid
from scheduler.weather.formats import read_answer
from scheduler.weather.members import Beliefs, draw_members
from scheduler.yard.condition import EndState
from scheduler.yard.facts import End, Log, Moment, Register

DEMO = Path(__file__).parents[2] / "demo"
AT = datetime(2025, 11, 3, 4, 45, tzinfo=UTC)
ISSUED = datetime(2025, 11, 3, 4, 0, tzinfo=UTC)
SAMPLE = 3  # starts for the reference
ENDS, DAYS = 100, 16  # of the decision: 50 logs


def milliseconds(act: Callable[[], object], runs: int) -> float:
    """The middle of the runs of one act."""
    took = []
    for _ in range(runs):
        begin = time.perf_counter()
        act()
        took.append(time.perf_counter() - begin)
    return 1e3 * median(took)


def one_by_one(findings: Findings, outlook: Outlook, columns: list[int]) -> int:
    """Rules of some starts, value by value: how many of (rule, member, start) break."""
    found = 0
    for finding in findings.found:
        told = findings_series.get(finding.rule.quantity)
        ends = findings.ends.get(finding.rule.stretch)
        if told is None or told.values is None or ends is None:
            continue
        values = told.values
        rows = values.tolist()
        for column in columns:
            start = int(findings.starts[column])
            for member in range(findings.members):
                row = rows[member if len(rows) > 1 else 0]
                last = ends[member, column]
                stop = int(min(last if np.isfinite(last) else len(row), len(row)))
                for step in range(start, max(stop, start + 1)):
                    value = row[step]
                    if value < finding.rule.limit if finding.rule.below else value > finding.rule.limit:
                        found += 1
                        break
    return found


findings_series: dict = {}


def _log(n: int) -> Log:
    """One of fifty logs of five woods, cut some days ago."""
    cut = Moment(AT - timedelta(days=1.0 + n))
    ends = tuple(End(name, cut, 1, diameter_cm=30.0 + n) for name in ("butt", "top"))
    wood = ("Quercus robur", "Juglans nigra", "Prunus avium", "Fagus sylvatica", "Acer campestre")[n % 5]
    return Log(f"H{n:02d}", wood, "", "in_yard", cut, 260.0, ends, 1)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=9)
    runs = parser.parse_args().runs
    yard = load_yard(DEMO / "yard.toml")
    body = (DEMO / "weather.json").read_bytes()
    weather = read_answer(body, issued=ISSUED)
    outlook = Outlook(yard, weather, AT)
    place = yard.yard.place
    used = outlook.members.weather
    assessment = outlook.of()
    face = outlook.faces()
    starts = assessment.findings.starts
    milestones = FilmClocks(face, outlook.coating, outlook.physics["drying_wetness"]).milestones(starts)
    series = series_of(face, outlook.openness)
    findings_series.update(series)

    def rules() -> Findings:
        return judge(
            outlook.rules,
            series,
            face,
            milestones,
            starts,
            outlook.limits.brush_steps,
            face.fine.rain_unknown,
        )

    def draw() -> object:
        return draw_members(
            weather.between(used.start, used.end),
            doubt(),
            physics(),
            issued=ISSUED,
            latitude=place.lat,
            longitude=place.lon,
            place=Beliefs(hollow_c=yard.site.hollow),
        )

    def faces() -> object:
        outlook._faces.clear()
        return outlook.faces()

    def clocks() -> object:
        return FilmClocks(face, outlook.coating, outlook.physics["drying_wetness"]).milestones(starts)

    rng = np.random.default_rng(1)
    held = np.cumsum(rng.random((ENDS, DAYS + 120)), axis=1)
    chances = Chances((rng.random((outlook.members.count, DAYS)) < 0.5).astype(float), np.full(120, 0.2))
    removed = np.full(DAYS + 120, 0.3)

    rows = [
        ("read the answer", lambda: read_answer(body, issued=ISSUED)),
        ("draw the members", draw),
        ("quarter-hour grid", lambda: fine_grid(outlook.members, 500.0)),
        ("faces and logs", faces),
        ("clocks: milestones of all starts", clocks),
        ("all rules, all starts, all members", rules),
        (f"decide for {ENDS} ends, {DAYS} days and a season", lambda: decide(
            np.ones_like(held), held, held[:, -1] + 5.0, chances, removed
        )),
    ]  # fmt: skip
    size = f"{outlook.members.count} members x {starts.size} starts x {len(outlook.rules)} rules"
    print(f"{size}, {outlook.fine.steps} quarter hours; middle of {runs} runs\n")
    took = {name: milliseconds(act, runs) for name, act in rows}
    for name, ms in took.items():
        print(f"{name:45} {ms:8.1f} ms")
    facts = Register(AT, tuple(_log(n) for n in range(50)))
    ledger = ledger_of(yard, facts, AT, outlook.coating, species_table(), outlook=outlook)
    days = day_chances(outlook, None, False, ledger.horizon.end, doubt())
    bare = {(log.tag, end.name): EndState("bare") for log in facts.logs for end in log.ends}
    jobs = [Job("first_coat", log.tag, end.name, AT, 1) for log in facts.logs for end in log.ends]
    ms = milliseconds(lambda: worth_of_jobs(jobs, facts, bare, ledger, {(None, False): days}), runs)
    print(f"{'worth and decision of 50 logs, 100 ends':45} {ms:8.1f} ms")
    columns = [int(c) for c in np.linspace(0, starts.size - 1, SAMPLE)]
    begin = time.perf_counter()
    one_by_one(assessment.findings, outlook, columns)
    slow = 1e3 * (time.perf_counter() - begin) / SAMPLE * starts.size
    ours = took["all rules, all starts, all members"]
    broken = sum(int((f.outcome == BREAK).sum()) for f in assessment.findings.found)
    print(
        f"\nthe same rules one value at a time in plain Python: {slow:.0f} ms, {slow / ours:.0f} times longer"
    )
    tell("all rules, starts, members", f"{ours:.0f} ms", slow / ours, "plain Python, scaled up")
    print(f"({broken} of {starts.size * outlook.members.count * len(outlook.rules)} tests break)")


if __name__ == "__main__":
    main()
