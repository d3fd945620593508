"""init, verify and demo from outside: what they write, what they say, and how they fail."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import icalendar
import pytest
from command_line import MORNING, Ran, columns_of, fair, run, yard_file
from loopback import Service, dead_url, service
from morning_samples import story

from scheduler import __version__
from scheduler.settings import endpoints, load_yard
from scheduler.weather import fetch

PLACE = ("--place", "48.0123, 8.2345")


@pytest.fixture(autouse=True)
def _a_home_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No yard of the person who runs the tests is read or written, and no proxy is asked."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("COATCAST_YARD", raising=False)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    manners = fetch.Manners(timeout=(1.0, 0.5), waits=(0.0, 0.0), sleep=lambda _s: None)
    monkeypatch.setattr(fetch, "Manners", lambda: manners)


def init(*words: str | Path) -> Ran:
    return run("init", *words)


# ------------------------------------------------------------------ init


@pytest.mark.parametrize(
    "said",
    [
        "48.0123, 8.2345",
        "48.0123,8.2345",
        "48.0123 N 8.2345 E",
        "48°00'44.3\"N 8°14'04.2\"E",
        "geo:48.0123,8.2345",
    ],
)
def test_a_place_is_taken_as_a_map_gives_it(said: str, tmp_path: Path) -> None:
    ran = init("--place", said, "--zone", "Europe/Berlin", "-o", "yard.toml")
    assert (ran.code, ran.err) == (0, "")
    place = load_yard(tmp_path / "yard.toml").yard.place
    assert (place.lat, place.lon) == (pytest.approx(48.0123, abs=1e-4), pytest.approx(8.2345, abs=1e-4))


def test_without_an_output_it_writes_to_the_one_fixed_place_and_says_so(tmp_path: Path) -> None:
    ran = init(*PLACE, "--zone", "Europe/Berlin")
    path = tmp_path / "home" / "coatcast" / "yard.toml"
    assert ran.code == 0
    assert f"Written: {path}" in ran.out
    assert path.is_file()
    assert "Next: coatcast verify" in ran.out
    assert "No message is not a yes" in ran.out


def test_the_file_is_found_from_there_by_every_command(tmp_path: Path) -> None:
    assert (
        run("today", "--at", MORNING).err.strip()
        == "No yard yet. Make one with: coatcast init --place LAT,LON"
    )
    assert run("today", "--at", MORNING).code == 2
    init(*PLACE, "--zone", "Europe/Berlin")
    assert "names no endpoint" in run("today", "--at", MORNING).out


def test_a_yard_file_here_wins_over_the_environment_and_that_over_the_home(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def name() -> str:
        return str(run("today", "--at", MORNING, "--json").json()["yard"])

    init(*PLACE, "--zone", "Europe/Berlin")
    assert name() == "My yard"
    there = tmp_path / "elsewhere"
    there.mkdir()
    named = yard_file(there)
    named.write_text(named.read_text().replace("Test yard", "Named yard"))
    monkeypatch.setenv("COATCAST_YARD", str(named))
    assert name() == "Named yard"
    yard_file(tmp_path)
    assert name() == "Test yard"
    assert run("today", "--yard", named, "--at", MORNING, "--json").json()["yard"] == "Named yard"


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    path.write_text("precious")
    ran = init(*PLACE, "-o", path)
    assert (ran.code, path.read_text()) == (2, "precious")
    assert "is there already" in ran.err


@pytest.mark.parametrize(
    ("zone", "units"),
    [
        ("America/Chicago", "us"),
        ("Pacific/Honolulu", "us"),
        ("America/Toronto", "metric"),
        ("Europe/Berlin", "metric"),
    ],
)
def test_units_follow_the_zone(zone: str, units: str, tmp_path: Path) -> None:
    init(*PLACE, "--zone", zone, "-o", "yard.toml")
    yard = load_yard(tmp_path / "yard.toml").yard
    assert (yard.zone, yard.units) == (zone, units)


def test_the_zone_is_the_computers_where_none_is_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    init(*PLACE, "-o", "yard.toml")
    assert load_yard(tmp_path / "yard.toml").yard.zone == "Pacific/Auckland"
    monkeypatch.setenv("TZ", "Nowhere/Land")
    init(*PLACE, "-o", "other.toml")
    assert load_yard(tmp_path / "other.toml").yard.zone


@pytest.mark.parametrize("name", list(endpoints()))
def test_an_open_service_by_its_short_name_brings_address_and_terms(name: str, tmp_path: Path) -> None:
    ran = init(*PLACE, "--zone", "Europe/Berlin", "--endpoint", name, "-o", "yard.toml")
    assert ran.code == 0
    forecast = load_yard(tmp_path / "yard.toml").forecast
    known = endpoints()[name]
    assert (forecast.url, forecast.family) == (known.url, known.family)
    assert known.terms in ran.out
    assert ("put your own address under [forecast] contact" in ran.out) is known.contact_needed
    assert (forecast.contact is not None) is known.contact_needed


def test_without_an_endpoint_the_open_services_are_listed(tmp_path: Path) -> None:
    out = init(*PLACE, "--zone", "Europe/Berlin", "-o", "yard.toml").out
    assert all(one.title in out for one in endpoints().values())
    text = (tmp_path / "yard.toml").read_text(encoding="utf-8")
    assert all(one.terms in text for one in endpoints().values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--place is missing"),
        (("--place", "somewhere"), "somewhere"),
        (("--place", "98.0, 8.2"), "98"),
        ((*PLACE, "--zone", "Europe/Berln"), "Europe/Berln"),
        ((*PLACE, "--endpoint", "fre"), "free"),
        ((*PLACE, "--endpoint", "ftp://example.org/x"), "https://"),
    ],
)
def test_wrong_input_ends_with_2_and_leaves_no_file_behind(
    words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    ran = init(*words, "-o", "yard.toml")
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "yard.toml").exists()


def test_the_example_that_init_writes_names_every_section_there_is(tmp_path: Path) -> None:
    from scheduler.settings import YardFile

    init(*PLACE, "--zone", "Europe/Berlin", "-o", "yard.toml")
    text = (tmp_path / "yard.toml").read_text(encoding="utf-8")
    for section in set(YardFile.model_fields) - {"path", "channel"}:
        assert re.search(rf"^(# )?\[\[?{section}[\].]", text, re.MULTILINE), section


# ------------------------------------------------------------------ verify


@pytest.fixture
def served() -> Iterator[Service]:
    with service(columns_of(fair())) as running:
        yield running


def verify(yard: Path, *words: str | Path) -> Ran:
    return run("verify", "--yard", yard, "--at", MORNING, *words)


def said(ran: Ran) -> dict[str, Any]:
    checks = ran.json()["checks"]
    for check in checks:
        assert set(check) == {"name", "ok", "said"}
        assert isinstance(check["ok"], bool)
        assert isinstance(check["said"], str)
    return {check["name"]: check for check in checks}


def test_verify_says_what_was_asked_how_much_came_and_how_far_the_cell_is(
    tmp_path: Path, served: Service
) -> None:
    yard = yard_file(tmp_path, f'[forecast]\nurl = "{served.url}"')
    ran = verify(yard, "--json")
    assert ran.code == 0
    checks = said(ran)
    assert {"settings", "assumed", "store", "endpoint", "notices"} <= set(checks)
    assert all(check["ok"] for check in checks.values())
    endpoint = checks["endpoint"]["said"]
    assert "127.0.0.1" in endpoint
    assert "192 hours, fetched Mon 06:00, cell 0 km away, at the yard's height" in endpoint
    assert len(served.asked) == 1


def test_verify_tells_a_cell_that_lies_higher_and_some_way_off(tmp_path: Path, served: Service) -> None:
    answer = columns_of(fair(), place=(48.2, 8.2))
    answer["elevation"] = 590.0
    served.gives(answer)
    yard = yard_file(tmp_path, f'[forecast]\nurl = "{served.url}"')
    endpoint = said(verify(yard, "--json"))["endpoint"]["said"]
    assert "cell 22 km away, 90 m higher" in endpoint


def test_verify_in_words_has_a_plain_result_for_each(tmp_path: Path, served: Service) -> None:
    ran = verify(yard_file(tmp_path, f'[forecast]\nurl = "{served.url}"'))
    assert ran.code == 0
    assert all(re.match(r"(ok|NO) +\S", line) for line in ran.out.splitlines())
    assert "read your pail's sheet: it rules" in ran.out
    assert "a guess" in ran.out, "the cold-air offset that nobody entered"


def test_verify_names_what_is_wrong_and_ends_with_1(tmp_path: Path, served: Service) -> None:
    nothing = verify(yard_file(tmp_path), "--json")
    assert nothing.code == 1
    assert not said(nothing)["endpoint"]["ok"]
    assert "[forecast] url" in said(nothing)["endpoint"]["said"]
    dead = verify(yard_file(tmp_path, f'[forecast]\nurl = "{dead_url()}"'), "--json")
    assert dead.code == 1
    assert "could not be reached" in said(dead)["endpoint"]["said"]
    served.gives(b"<html></html>")
    page = verify(yard_file(tmp_path, f'[forecast]\nurl = "{served.url}"'), "--json")
    assert page.code == 1
    assert "web page" in said(page)["endpoint"]["said"]


def test_verify_never_shows_a_key(tmp_path: Path, served: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MY_KEY", "s3cr3t")
    yard = yard_file(tmp_path, f'[forecast]\nurl = "{served.url}"\nkey_env = "MY_KEY"')
    ran = verify(yard, "--json")
    assert ran.code == 0
    assert "s3cr3t" not in ran.out
    assert served.asked[0]["apikey"] == ["s3cr3t"]


def test_verify_looks_at_each_channel(tmp_path: Path) -> None:
    channels = f"""
[[channel]]
kind = "file"
path = "{tmp_path / "notices.txt"}"
[[channel]]
kind = "file"
name = "lost"
path = "{tmp_path / "no such folder" / "notices.txt"}"
[[channel]]
kind = "push"
"""
    checks = said(verify(yard_file(tmp_path, channels), "--json"))
    assert checks["channel file"]["ok"]
    assert not checks["channel lost"]["ok"]
    assert not checks["channel push"]["ok"]
    assert "names no address" in checks["channel push"]["said"]


def test_a_test_can_be_sent_to_file_and_screen(tmp_path: Path) -> None:
    target = tmp_path / "notices.txt"
    yard = yard_file(tmp_path, f'[[channel]]\nkind = "file"\npath = "{target}"\n[[channel]]\nkind = "push"')
    assert verify(yard, "--send", "file").code == 0
    assert "It works if you read this;" in target.read_text(encoding="utf-8")
    screen = verify(yard, "--send", "screen")
    assert (screen.code, screen.out.count("It works if you read this;")) == (0, 1)
    assert verify(yard, "--send", "push").code == 1
    wrong = verify(yard, "--send", "pigeon")
    assert (wrong.code, wrong.out) == (2, "")
    assert "there is file, push, screen" in wrong.err


# ------------------------------------------------------------------ demo and the rest


@pytest.fixture
def _told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The story is worked out once for the tests below; that it is always the same is tested elsewhere."""
    monkeypatch.setattr("scheduler.demo.demo_story", story)


@pytest.mark.usefixtures("_told_once")
def test_the_demo_prints_its_story_and_writes_what_it_says(tmp_path: Path) -> None:
    ran = run("demo", "--out", tmp_path / "out")
    assert (ran.code, ran.err) == (0, "")
    calendar = icalendar.Calendar.from_ical((tmp_path / "out" / "ellerquern.ics").read_bytes())
    told = re.search(r"ellerquern\.ics \((\d+) entries\)", ran.out)
    assert told is not None
    assert int(told[1]) == len(calendar.walk("VEVENT")) > 0
    assert (tmp_path / "out" / "page.svg").read_text(encoding="utf-8").startswith("<svg ")
    assert "MONDAY 3 NOVEMBER, 05:45" in ran.out


@pytest.mark.usefixtures("_told_once")
def test_no_line_of_the_demo_is_wider_than_eighty_columns() -> None:
    assert [line for line in run("demo").out.splitlines() if len(line) > 80] == []


@pytest.mark.usefixtures("_told_once")
def test_the_command_that_the_demo_names_next_works(tmp_path: Path) -> None:
    ran = run("demo", "--out", tmp_path / "out")
    shown = ran.out.split("Next, ", 1)[1].split("coatcast ", 1)[1].replace("\\\n", " ")
    words = [part[0] or part[1] for part in re.findall(r'"([^"]*)"|(\S+)', shown)]
    follow = run(*words)
    assert (follow.code, follow.err) == (0, "")
    assert "stops   frost on the wood" in follow.out


@pytest.mark.usefixtures("_told_once")
def test_the_demo_needs_no_yard_and_leaves_none_behind(tmp_path: Path) -> None:
    assert run("demo").code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo-out"]
    assert {path.name for path in (tmp_path / "demo-out").iterdir()} == {
        "ellerquern.ics",
        "page.svg",
        "yard.toml",
        "weather.json",
        "logs.csv",
    }


@pytest.mark.usefixtures("_told_once")
def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    ran = run("demo", "--out", tmp_path / "file" / "out")
    assert ran.code == 1
    assert "Traceback" not in ran.err
    assert "file" in ran.err


def test_the_version_and_the_commands_are_told() -> None:
    assert run("--version").out.strip() == f"coatcast {__version__}"
    text = run("--help").out
    for command in (
        "demo",
        "init",
        "verify",
        "today",
        "spans",
        "why",
        "log",
        "note",
        "undo",
        "reminders",
        "calendar",
    ):
        assert re.search(rf"^ +{command} ", text, re.MULTILINE), command


def test_every_command_has_a_help_that_begins_with_what_it_does() -> None:
    for command in ("demo", "init", "verify", "today", "spans", "why"):
        ran = run(command, "--help")
        assert ran.code == 0
        assert len(ran.out.splitlines()) > 4
