"""The yard file and the shipped config/: what is read, what is refused, and how the refusal helps."""

from __future__ import annotations

import math
import re
import shutil
import tomllib
from datetime import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler import settings
from scheduler.coating.product import Coating, coating_of
from scheduler.settings import (
    CoatingChoice,
    Number,
    SettingsError,
    YardFile,
    assumptions,
    coating_profiles,
    demo_folder,
    doubt,
    endpoints,
    example_yard,
    find_yard_file,
    load_yard,
    parse_hours,
    physics,
    rule_specs,
    shipped_config,
    species_table,
    thresholds,
)

CONFIG = Path(__file__).parents[1] / "config"
LEAST = '[yard]\nplace = { lat = 48.0, lon = 8.2 }\nzone = "Europe/Berlin"\n'


def loaded(folder: Path, more: str = "", yard: str = LEAST) -> YardFile:
    path = folder / "yard.toml"
    path.write_text(yard + more, encoding="utf-8")
    return load_yard(path)


def refused(folder: Path, more: str = "", yard: str = LEAST) -> str:
    with pytest.raises(SettingsError) as caught:
        loaded(folder, more, yard)
    text = str(caught.value)
    assert str(folder / "yard.toml") in text
    assert "Traceback" not in text
    assert "pydantic" not in text
    return text


# ------------------------------------------------------------------ what a yard may say


def test_only_the_place_is_needed(tmp_path: Path) -> None:
    yard = loaded(tmp_path, yard="[yard]\nplace = { lat = 48.0, lon = 8.2 }\n")
    assert (yard.yard.units, yard.yard.people, yard.yard.saw_needs_two) == ("metric", 1, True)
    assert yard.coating.profile == "emulsion"
    assert yard.store_url == f"sqlite:///{tmp_path / 'coatcast.db'}"
    assert yard.cache_folder == tmp_path / "coatcast-weather"


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    assert loaded(tmp_path, yard="\ufeff" + LEAST).zone.key == "Europe/Berlin"


@pytest.mark.parametrize(
    ("said", "value", "guess"),
    [
        ('"no"', 0.0, True),
        ('"a bit"', -1.0, True),
        ('"a lot"', -3.0, True),
        ("-2.5", -2.5, False),
        ("0", 0.0, False),
    ],
)
def test_cold_air_in_words_is_a_guess_and_in_numbers_is_not(
    said: str, value: float, guess: bool, tmp_path: Path
) -> None:
    site = loaded(tmp_path, f"[site]\nhollow = {said}\n").site
    assert (site.hollow, site.hollow_is_guess) == (value, guess)


def test_where_nothing_is_said_of_cold_air_a_bit_is_guessed(tmp_path: Path) -> None:
    site = loaded(tmp_path).site
    assert (site.hollow, site.hollow_is_guess) == (-1.0, True)


@pytest.mark.parametrize(
    ("text", "hours", "people"),
    [
        ("08:00-16:30", (time(8), time(16, 30)), None),
        ("8:00 - 16:30", (time(8), time(16, 30)), None),
        ("08:00-16:30, 2 people", (time(8), time(16, 30)), 2),
        ("08:00-16:30, 1 person", (time(8), time(16, 30)), 1),
        ("closed", None, None),
        (" Closed ", None, None),
        ("-", None, None),
    ],
)
def test_hours_are_read_as_a_yard_writes_them(text: str, hours: Any, people: int | None) -> None:
    assert parse_hours(text) == (hours, people)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("9-5", "write it as 08:00-16:30"),
        ("09:00-25:00", "does not exist"),
        ("16:00-08:00", "ends before it begins"),
        ("08:00-08:00", "ends before it begins"),
        ("mornings", "write it as 08:00-16:30"),
    ],
)
def test_hours_that_are_none_are_refused_with_the_line(text: str, said: str, tmp_path: Path) -> None:
    message = refused(tmp_path, f'[yard.hours]\nmon = "08:00-16:30"\ntue = "{text}"\n')
    assert said in message
    assert re.search(r"yard\.toml, line \d+: ", message)


@given(st.text(max_size=20))
def test_no_text_for_hours_breaks_the_reader(text: str) -> None:
    try:
        hours, people = parse_hours(text)
    except ValueError:
        return
    assert hours is None or hours[0] < hours[1]
    assert people is None or 0 <= people <= 99


def test_a_day_that_is_none_names_the_days(tmp_path: Path) -> None:
    message = refused(tmp_path, '[yard.hours]\nmonday = "08:00-16:30"\n')
    assert "mon, tue, wed, thu, fri, sat, sun" in message


def test_people_can_be_told_for_each_day(tmp_path: Path) -> None:
    yard = loaded(tmp_path, '[yard.hours]\nmon = "08:00-16:30"\ntue = "08:00-16:30, 2 people"\n').yard
    assert [yard.people_of(day) for day in range(3)] == [1, 2, 1]
    assert yard.hours_of(0) == (time(8), time(16, 30))
    assert yard.hours_of(2) is None, "a day that is not named is closed where others are"
    assert loaded(tmp_path).yard.hours_of(2) == "free"


# ------------------------------------------------------------------ what is refused, and the mend


@pytest.mark.parametrize(
    ("more", "key", "near"),
    [
        ("[site]\nhollw = -2\n", "site.hollw", "hollow"),
        ("[coating]\nprofle = 'cold'\n", "coating.profle", "profile"),
        ("[sites]\nhollow = -2\n", "sites", "site"),
        ("[[place]]\nname = 'shed'\nroof = true\n", "place.0.roof", "roofed"),
        ("[feed]\nday = 3\n", "feed.day", "days"),
        ("[forecast]\nurll = 'https://example.org'\n", "forecast.urll", "url"),
        ("[yard.minutes]\nfreshcut = 8\n", "yard.minutes.freshcut", "fresh_cut"),
    ],
)
def test_an_unknown_key_names_the_nearest_right_one_with_file_and_line(
    more: str, key: str, near: str, tmp_path: Path
) -> None:
    message = refused(tmp_path, more)
    assert f"'{key}' is not a setting; did you mean '{near}'?" in message
    number = int(re.search(r"line (\d+)", message)[1])  # type: ignore[index]
    word = key.rsplit(".", 1)[-1]
    assert word in (LEAST + more).splitlines()[number - 1]


def test_a_key_that_is_like_nothing_lists_what_there_is(tmp_path: Path) -> None:
    assert "known are alarms, days, times" in refused(tmp_path, "[feed]\nxyzzy = 3\n")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("[coating]\nleast_application_c = 70\n", "coating.least_application_c"),
        ("[coating]\nsolids = 45\n", "coating.solids"),
        ("[coating]\nspreading_rate_m2_l = 0\n", "coating.spreading_rate_m2_l"),
        ("[coating]\ncoats = 3\n", "coating.coats"),
        ("[site]\nhollow = 20\n", "site.hollow"),
        ("[site]\nhollow = 'deep'\n", "no, a bit, a lot"),
        ("[site]\nshade = 'dark'\n", "site.shade"),
        ("[forecast]\nwarn_age_h = -1\n", "forecast.warn_age_h"),
        ("[forecast]\nwarn_age_h = 40\nstale_age_h = 30\n", "stale_age_h must not be below warn_age_h"),
        ("[forecast]\nurl = 'example.org/v1'\n", "begins with https://"),
        ("[forecast]\nurl = 'file:///etc/passwd'\n", "begins with https://"),
        ("[coating]\nprofile = 'emulsoin'\n", "did you mean 'emulsion'?"),
        ("[[place]]\nname = 'shed'\n[[place]]\nname = 'shed'\n", "the name 'shed' stands twice"),
        ("[[place]]\nroofed = true\n", "'place.0.name' is missing"),
        ("[[channel]]\nkind = 'pigeon'\n", "channel.0.kind"),
        ("[feed]\ndays = 90\n", "feed.days"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(more: str, said: str, tmp_path: Path) -> None:
    assert said in refused(tmp_path, more)


@pytest.mark.parametrize(
    ("yard", "said"),
    [
        ("[yard]\nplace = { lat = 98.0, lon = 8.2 }\n", "yard.place.lat"),
        ("[yard]\nplace = { lat = 48.0, lon = 200 }\n", "yard.place.lon"),
        ("[yard]\nplace = { lat = nan, lon = 8.2 }\n", "yard.place.lat"),
        ("[yard]\nplace = { lat = 48.0 }\n", "'yard.place.lon' is missing"),
        ("[yard]\nname = 'A'\n", "'yard.place' is missing"),
        ("name = 'A'\n", "'yard' is missing"),
        (LEAST.replace("Europe/Berlin", "Europe/Berln"), "'Europe/Berln' is no time zone"),
        (LEAST + 'units = "imperial"\n', "yard.units"),
        (LEAST + "people = -1\n", "yard.people"),
        (LEAST + "people = 'two'\n", "yard.people"),
        ("[yard\n", "not readable as TOML"),
        (LEAST + LEAST, "not readable as TOML"),
    ],
)
def test_a_yard_that_cannot_be_is_refused_in_a_sentence(yard: str, said: str, tmp_path: Path) -> None:
    assert said in refused(tmp_path, yard=yard)


def test_all_faults_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    message = refused(tmp_path, "[site]\nhollw = -2\nshelter = 9\n")
    assert len(message.splitlines()) == 2
    assert "hollw" in message
    assert "site.shelter" in message


def test_a_file_that_is_no_text_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="cannot be read"):
        load_yard(path)
    with pytest.raises(SettingsError, match="there is no such file"):
        load_yard(tmp_path / "none.toml")


@pytest.mark.parametrize("given", ["none.toml", None])
def test_no_yard_is_one_sentence_with_the_one_command(
    given: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("COATCAST_YARD", raising=False)
    with pytest.raises(SettingsError) as caught:
        find_yard_file(given)
    assert "coatcast init" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_environment_that_names_no_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COATCAST_YARD", "gone.toml")
    with pytest.raises(SettingsError, match=r"COATCAST_YARD names gone\.toml"):
        find_yard_file()


# ------------------------------------------------------------------ the data sheet rules


SHEET: dict[str, tuple[float, str]] = {  # setting -> a value, and the field of the coating it must reach
    "spreading_rate_m2_l": (3.0, "spreading_m2_l"),
    "least_application_c": (7.0, "least_application_c"),
    "least_film_c": (6.0, "least_film_c"),
    "freezes_at_c": (-0.5, "freezes_at_c"),
    "recoat_h": (24.0, "recoat_h"),
    "pail_least_c": (7.0, "pail_least_c"),
}


@pytest.mark.parametrize("name", SHEET)
def test_a_number_of_the_data_sheet_reaches_the_coating_and_is_said(name: str, tmp_path: Path) -> None:
    value, field = SHEET[name]
    yard = loaded(tmp_path, f"[coating]\n{name} = {value}\n")
    coating = coating_of(coating_profiles()["emulsion"], yard.coating)
    assert getattr(coating, field) == value
    assert any(f"{value:g}" in said for said in coating.said)
    usual = coating_of(coating_profiles()["emulsion"])
    assert getattr(usual, field) != value
    assert usual.said == ()


@pytest.mark.parametrize(
    ("name", "value", "field"),
    [
        ("solids", 0.6, "water_kgm2"),
        ("density_kg_m3", 1200.0, "water_kgm2"),
        ("spreading_rate_m2_l", 5.0, "water_kgm2"),
        ("touch_dry_h", 5.0, "touch_kgm2"),
        ("dry_h", 20.0, "coalescence_h"),
    ],
)
def test_numbers_of_the_sheet_that_the_film_is_made_of_change_it(name: str, value: float, field: str) -> None:
    usual = coating_of(coating_profiles()["emulsion"])
    own = coating_of(coating_profiles()["emulsion"], CoatingChoice(**{name: value}))  # type: ignore[arg-type]
    assert getattr(own, field) != getattr(usual, field)
    assert own.said


def test_every_number_of_the_sheet_has_a_test_above() -> None:
    others = {"profile", "coats", "method", "price_per_litre", "pail_litres"}
    numbers = set(CoatingChoice.model_fields) - others
    assert numbers == set(SHEET) | {"solids", "density_kg_m3", "touch_dry_h", "dry_h"}


@pytest.mark.parametrize("name", coating_profiles())
def test_every_shipped_coating_is_a_coating_of_its_own(name: str) -> None:
    coating = coating_of(coating_profiles()[name])
    assert isinstance(coating, Coating)
    assert coating.water_kgm2 > 0.0
    assert coating.freezes_at_c <= coating.least_application_c


# ------------------------------------------------------------------ the shipped config


def test_every_shipped_file_loads() -> None:
    assert coating_profiles().keys() == {"emulsion", "cold", "latex"}
    assert len(rule_specs()) >= 14
    assert thresholds().seal_chance.value == 0.8
    assert physics()
    assert assumptions()
    assert doubt()["members"]["value"] >= 20
    assert len(species_table()) >= 40
    assert endpoints()
    assert load_yard_text(example_yard()).yard.name == "My yard"


def load_yard_text(text: str) -> YardFile:
    return YardFile.model_validate(tomllib.loads(text))


def config(name: str) -> dict[str, Any]:
    return tomllib.loads((CONFIG / name).read_text(encoding="utf-8"))


def numbers(table: dict[str, Any], path: str = "") -> list[tuple[str, dict[str, Any]]]:
    """Every table that holds a value, by its path."""
    found = [(path, table)] if "value" in table else []
    for key, value in table.items():
        if isinstance(value, dict):
            found += numbers(value, f"{path}.{key}".strip("."))
    return found


@pytest.mark.parametrize(
    "name", ["coatings.toml", "physics.toml", "assumptions.toml", "rules.toml", "doubt.toml"]
)
def test_every_number_of_config_has_a_unit_and_a_source(name: str) -> None:
    found = numbers(config(name))
    assert found
    for path, number in found:
        assert isinstance(number["value"], (int, float)), path
        assert number.get("unit"), f"{name}: {path} has no unit"
        assert len(number.get("source", "")) > 3, f"{name}: {path} has no source"
        if name != "doubt.toml":
            Number.model_validate(number)


def test_every_table_of_doubt_has_a_unit_and_a_source() -> None:
    for name, table in config("doubt.toml").items():
        assert table.get("unit"), name
        assert len(table.get("source", "")) > 3, name


def test_every_rule_has_a_limit_a_unit_a_source_and_its_sentences() -> None:
    data = config("rules.toml")
    assert set(data) == {"rules", "thresholds"}, "nothing has slipped out of its table"
    for name, rule in data["rules"].items():
        assert rule["source"], name
        assert rule["unit"], name
        assert rule["short"], name
        assert rule["says"][0].islower(), f"{name}: the sentence around it begins"
        assert rule["holds"][0].islower(), name


def test_every_species_has_sane_numbers_a_source_and_a_name() -> None:
    for row in species_table().values():
        assert row.names["en"][0]
        assert 0.2 < row.green_moisture < 2.5, row.botanical
        assert 200.0 < row.basic_density < 1100.0, row.botanical
        assert row.source, row.botanical
        assert row.botanical == "?" or re.match(r"[A-Z][a-z]+( |$)", row.botanical), row.botanical


def test_a_number_outside_its_own_range_is_refused() -> None:
    with pytest.raises(ValueError, match="outside its own range"):
        Number(value=5.0, unit="h", source="test", low=6.0)
    assert math.isclose(Number(value=5.0, unit="h", source="test", low=5.0, high=5.0).value, 5.0)


def test_config_is_found_beside_the_package_in_a_checkout() -> None:
    assert Path(str(shipped_config())) == CONFIG
    assert (demo_folder() / "weather.json").is_file()


def test_config_inside_the_package_wins_over_the_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    installed = tmp_path / "scheduler"
    shutil.copytree(CONFIG, installed / "_config")
    monkeypatch.setattr(settings, "files", lambda _name: installed)
    assert Path(str(shipped_config.__wrapped__())) == installed / "_config"


def test_without_any_config_the_program_says_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "files", lambda _name: tmp_path)
    monkeypatch.setattr(settings, "__file__", str(tmp_path / "scheduler" / "settings.py"))
    with pytest.raises(FileNotFoundError, match="config/ files"):
        shipped_config.__wrapped__()
    with pytest.raises(FileNotFoundError, match="demo/ files"):
        demo_folder.__wrapped__()


def test_every_number_that_a_yard_could_change_is_read_somewhere() -> None:
    source = "\n".join(p.read_text(encoding="utf-8") for p in (CONFIG.parent / "scheduler").rglob("*.py"))
    made = re.compile(r"(weight|prone|minutes)_")  # their names are put together in planning/jobs.py
    unread = [
        name for name in (*assumptions(), *physics()) if not made.match(name) and f'"{name}"' not in source
    ]
    assert unread == []
