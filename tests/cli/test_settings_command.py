"""``set``: one setting changed, the file's comments and everything else kept."""

from __future__ import annotations

import json
import stat
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from keeper import YARD, Keeper

from scheduler.settings import YardFile, example_yard, load_yard
from scheduler.views.yard_edit import EditError, literal, looked_up, with_value


def test_the_five_settings_people_change_have_short_names(keeper: Keeper) -> None:
    keeper.does("set", "people", "2")
    keeper.does("set", "name", "Upper", "yard")
    keeper.does("set", "coats", "by", "wood")
    keeper.does("set", "hollow", "a", "lot")
    keeper.does("set", "morning", "5:45")
    yard = load_yard(keeper.file)
    assert (yard.yard.people, yard.yard.name, yard.coating.coats) == (2, "Upper yard", "by wood")
    assert (yard.site.hollow, yard.notice.morning) == (-3.0, "05:45")


def test_comments_and_their_columns_stay(keeper: Keeper) -> None:
    keeper.does("set", "name", "Oak bench")
    keeper.does("set", "forecast.url", "https://weather.example.org/v1")
    text = keeper.file.read_text(encoding="utf-8")
    assert 'name = "Oak bench"        # invented\n' in text
    assert '# url = "https://..."\nurl = "https://weather.example.org/v1"\nwarn_age_h = 12\n' in text
    untouched = [line for line in YARD.splitlines() if not line.startswith('name = "Test')]
    assert all(line in text.splitlines() for line in untouched)


@pytest.mark.parametrize(
    ("words", "key", "held"),
    [
        (["hollow", "-2.5"], "site.hollow", -2.5),
        (["hollow", "-2,5"], "site.hollow", -2.5),
        (["hollow", "no"], "site.hollow", "no"),
        (["coats", "2"], "coating.coats", 2),
        (["name", "2024"], "yard.name", "2024"),
        (["name", 'The "big" \\ yard'], "yard.name", 'The "big" \\ yard'),
        (["notice", "6 am"], "notice.morning", "06:00"),
        (["yard.saw_needs_two", "no"], "yard.saw_needs_two", False),
        (["yard.hours.mon", "08:00-16:30,", "2", "people"], "yard.hours.mon", "08:00-16:30, 2 people"),
        (["yard.place.altitude_m", "720"], "yard.place.altitude_m", 720),
        (["yard.place.lat", "47.5"], "yard.place.lat", 47.5),
        (["yard.minutes.end", "5"], "yard.minutes.end", 5),
        (["rules.dew_margin.on", "false"], "rules.dew_margin.on", False),
        (["store.url", "sqlite:////tmp/a#b.db"], "store.url", "sqlite:////tmp/a#b.db"),
    ],
)
def test_a_value_is_written_as_its_setting_wants_it(
    keeper: Keeper, words: list[str], key: str, held: object
) -> None:
    keeper.does("set", *words)
    found = looked_up(keeper.file.read_text(encoding="utf-8"), tuple(key.split(".")))
    assert found == held
    assert type(found) is type(held)
    load_yard(keeper.file)


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["peple", "2"], "Did you mean people?"),
        (["forecast.ulr", "x"], "Did you mean forecast.url?"),
        (["hours.mon", "closed"], "Did you mean yard.hours.mon?"),
        (["zone", "Europe/Paris"], "Did you mean yard.zone?"),
        (["url", "x"], "forecast.url or store.url"),
        (["zzzz", "1"], "Those people change: name, people, coats"),
        (["site", "3"], "there is no such setting"),
        (["path", "/tmp/x"], "there is no such setting"),
        (["place.name", "shed"], "there is no such setting"),
        (["people", "many"], "people"),
        (["people", "99"], "less than or equal to 20"),
        (["coats", "3"], "'by wood', 1 or 2"),
        (["yard.hours.mon", "16:00-08:00"], "ends before it begins"),
        (["yard.hours.montag", "08:00-16:00"], "'montag' is no day"),
        (["yard.zone", "Europe/Pariss"], "no time zone"),
        (["forecast.url", "example.org"], "no web address"),
        (["hollow", "rather"], "hollow is one of no, a bit, a lot"),
        (["morning", "25:00"], "no time of the day"),
        (["morning", "noon"], "no time of the day"),
        (["forecast.stale_age_h", "6"], "must not be below"),
    ],
)
def test_what_the_checked_model_does_not_take_changes_nothing(
    keeper: Keeper, words: list[str], holds: str
) -> None:
    before = keeper.file.read_bytes()
    said = keeper.fails("set", *words)
    assert holds in said
    assert "/tmp/tmp" not in said  # the draft that was judged is nobody's business
    assert keeper.file.read_bytes() == before


def test_a_file_that_is_at_fault_already_is_told_of_and_left(keeper: Keeper) -> None:
    keeper.file.write_text(YARD + "[feeed]\n", encoding="utf-8")
    assert "did you mean 'feed'" in keeper.fails("set", "people", "2")


def test_the_answer_says_what_it_was_and_json_says_the_same(keeper: Keeper) -> None:
    assert keeper.does("set", "people", "2") == f"yard.people = 2 (was 1), in {keeper.file}\n"
    done = json.loads(keeper.does("set", "people", "3", "--json"))
    assert done == {"name": "yard.people", "value": 3, "was": 2, "file": str(keeper.file)}


def test_the_file_keeps_its_mode_its_line_ends_and_its_place_behind_a_link(
    keeper: Keeper, tmp_path: Path
) -> None:
    real = tmp_path / "real.toml"
    real.write_bytes(YARD.replace("\n", "\r\n").encode("utf-8-sig"))
    real.chmod(0o640)
    keeper.file.unlink()
    keeper.file.symlink_to(real)
    keeper.does("set", "people", "2")
    keeper.does("set", "coats", "1")
    assert keeper.file.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert real.read_bytes().startswith(b"\xef\xbb\xbf#")
    assert real.read_bytes().count(b"\n") == real.read_bytes().count(b"\r\n")
    assert load_yard(real).coating.coats == 1


def test_a_change_by_another_hand_in_between_is_not_lost(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    import scheduler.commands.set as cli_set

    real, calls = cli_set._check, []

    def check(file: Path, text: str) -> None:
        if not calls:
            file.write_text(YARD.replace("people = 1", "people = 4"), encoding="utf-8")
        calls.append(1)
        real(file, text)

    monkeypatch.setattr(cli_set, "_check", check)
    keeper.does("set", "name", "Mine")
    yard = load_yard(keeper.file)
    assert (yard.yard.people, yard.yard.name) == (4, "Mine")


# ------------------------------------------------------------------ the editor itself

SETTINGS: list[tuple[str, Any]] = [
    ("yard.people", 3),
    ("yard.name", "A # B"),
    ("yard.place.lat", 45.5),
    ("yard.place.altitude_m", 12.0),
    ("yard.hours.sun", "closed"),
    ("forecast.url", "https://example.org/#x"),
    ("coating.coats", 2),
    ("coating.least_application_c", 4.0),
    ("feed.days", 3),
    ("store.url", "sqlite://"),
    ("notice.daily", True),
    ("rules.dew_margin.on", False),
]


@pytest.mark.parametrize(("key", "value"), SETTINGS)
def test_in_the_shipped_file_every_kind_of_setting_changes_one_line_or_adds_one(
    key: str, value: object
) -> None:
    before = example_yard()
    after = with_value(before, tuple(key.split(".")), value)  # type: ignore[arg-type]
    old, new = before.splitlines(), after.splitlines()
    assert len(new) - len(old) in (0, 1, 2, 3)
    gone = [line for line in old if line not in new]
    assert len(gone) <= 1
    assert all("#" not in line or line.split("#", 1)[1] in after for line in gone)
    assert YardFile.model_validate(tomllib.loads(after)) is not None


@given(
    steps=st.lists(
        st.tuples(
            st.sampled_from(
                ["yard.name", "coating.profile", "notice.quiet", "forecast.contact", "site.shade"]
            ),
            st.text(max_size=12) | st.integers(-5, 5) | st.booleans() | st.floats(-9, 9, allow_nan=False),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_any_row_of_changes_reads_back_as_written(steps: list[tuple[str, Any]]) -> None:
    text = example_yard()
    wanted: dict[str, Any] = {}
    for key, value in steps:
        text = with_value(text, tuple(key.split(".")), value)
        wanted[key] = value
    for key, value in wanted.items():
        assert looked_up(text, tuple(key.split("."))) == value
    assert text.count("#") >= example_yard().count("#")


@given(st.text(max_size=40))
def test_a_text_is_written_so_that_it_reads_back(text: str) -> None:
    assert tomllib.loads(f"v = {literal(text)}")["v"] == text


TRICKY = [
    'yard = { name = "A", people = 1 }\n',
    '[yard]\nname = """\npeople = 7\n"""\npeople = 1 # two\n',
    "[yard]\nlist = [\n  'people = 7', # ]\n]\npeople = 1\n",
    '["yard"]\n"people" = 1\n',
    "yard.people = 1\n",
    "[other]\npeople = 9\n[yard]  # here\npeople=1#x\n",
    "[[place]]\npeople = 9\n[yard]\nname = 'x'",
    "",
]


@pytest.mark.parametrize("text", TRICKY)
def test_however_the_file_is_written_only_that_setting_changes(text: str) -> None:
    after = with_value(text, ("yard", "people"), 2)
    data = tomllib.loads(text)
    data.setdefault("yard", {})["people"] = 2
    assert tomllib.loads(after) == data


@pytest.mark.parametrize("text", ["yard = 3\n", '[yard]\npeople = """\n1"""\n', "[[yard]]\npeople = 1\n"])
def test_what_a_change_of_one_line_cannot_serve_is_left_to_the_hand(text: str) -> None:
    with pytest.raises(EditError, match="by hand"):
        with_value(text, ("yard", "people"), 2)
