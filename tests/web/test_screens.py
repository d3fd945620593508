"""The screens behind the first: what they show, and what their buttons write."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from ahead_samples import past_days
from notice_samples import Clock as SteadyClock
from notice_samples import Post, notice, wants
from page_browser import Browser
from page_samples import Clock, entries_of, page_app, planned

from scheduler.reminders.channels import never
from scheduler.service import season_ahead
from scheduler.settings import load_yard
from scheduler.sources import open_register
from scheduler.tick import tick
from scheduler.web import pages

ALL = ("/", "/add", "/logs", "/log/H01", "/catch-up", "/winter", "/pails", "/sure", "/settings", "/calendar",
       "/more", "/reminders", "/reminder/1")  # fmt: skip
NEVER = re.compile(r"\b(safe|late|overdue|missed)\b|!", re.IGNORECASE)
HEAVIEST = 60_000  # bytes of a page, so that it comes over a weak signal


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Browser:
    """A page that nobody writes to."""
    app = page_app(tmp_path_factory.mktemp("yard"))
    planned(app)
    return Browser(app)


@pytest.fixture
def page(tmp_path: Path) -> Browser:
    return Browser(page_app(tmp_path))


# ------------------------------------------------------------------ all of them


@pytest.mark.parametrize("path", ALL)
def test_every_screen_is_whole_light_and_in_one_piece(path: str, still: Browser) -> None:
    page = still.open(path)
    assert page.status == 200
    assert page.html.startswith("<!doctype html>")
    assert len(page.html.encode("utf-8")) < HEAVIEST
    assert not re.search(
        r"<script|<img|<iframe|@import|url\((?!#)|https?://(?!www\.w3|localhost/feed)", page.html
    )
    assert len(page.page.ids) == len(set(page.page.ids)), "an id stands twice"
    assert {"/add", "/logs"} < set(page.page.links)


@pytest.mark.parametrize("path", ALL)
def test_no_screen_blames_hurries_or_promises(path: str, still: Browser) -> None:
    assert not NEVER.search(still.open(path).text)


@pytest.mark.parametrize("path", ALL)
def test_every_form_that_writes_bears_the_marks_of_the_page(path: str, still: Browser) -> None:
    for form in still.open(path).page.forms:
        if form.method == "post":
            names = dict(form.fields)
            assert {"stamp", "once", "back"} <= names.keys()
            assert form.buttons, form


def test_every_link_of_every_screen_leads_somewhere(still: Browser) -> None:
    links = {link for path in ALL for link in still.open(path).page.links if link.startswith("/")}
    assert len(links) > 30
    for link in sorted(links):
        assert still.open(link).status == 200, link


def test_a_page_that_is_not_there_says_so_and_leads_back(still: Browser) -> None:
    for path in ("/nowhere", "/log/H99", "/reminder/9999", "/reminder/x"):
        page = still.open(path)
        assert page.status == 404
        assert "/" in page.page.links
        assert "coatcast " not in page.text, "advice for the command line is of no use here"
    assert "H09" in still.open("/log/H99").text


# ------------------------------------------------------------------ add a log


def test_a_log_is_added_with_three_taps_and_one_number(page: Browser, tmp_path: Path) -> None:
    page.open("/add").tap("/add", "Add it", {"wood": "ash", "butt": "40"})
    assert page.path == "/add", "the next one follows"
    assert page.text.count("H17: ash") == 1
    assert "Assumed" in page.text
    added = entries_of(tmp_path)[-1]
    assert (added.kind, added.tag, added.data["species"]) == ("add", "H17", "Fraxinus excelsior")
    page.tap("/undo", "Undo")
    assert page.open("/log/H17").status == 404 or "gone" in page.text or "taken back" in page.text


def test_only_a_wood_is_needed_and_do_not_know_will_do(page: Browser) -> None:
    page.open("/add").tap("/add", "Add it", {"wood": "don't know"})
    assert page.status == 200
    assert "H17" in page.text


def test_without_a_wood_nothing_is_written_and_what_was_filled_in_stands_there_still(page: Browser) -> None:
    page.open("/add").tap("/add", "Add it", {"butt": "37", "cut": "a week ago"})
    assert page.status == 422
    assert "Which wood is it?" in page.text
    assert ("butt", "37") in page.form("/add", "Add it").fields
    assert ("cut", "a week ago") in page.form("/add", "Add it").fields


def test_a_number_that_is_none_is_told_by_its_field(page: Browser, tmp_path: Path) -> None:
    before = len(entries_of(tmp_path))
    page.open("/add").tap("/add", "Add it", {"wood": "ash", "butt": "very thick"})
    assert page.status == 422
    assert "very thick" in page.text
    assert len(entries_of(tmp_path)) == before


def test_a_line_is_understood_as_on_the_command_line(page: Browser, tmp_path: Path) -> None:
    page.open("/add").tap("/add", "Add that line", {"line": "ash 50cm 2.6m cut saturday"})
    added = entries_of(tmp_path)[-1]
    assert added.data["length_cm"] == 260
    assert "cut Sat 1 Nov" in page.text


def test_a_word_for_two_woods_is_asked_once_and_remembered(page: Browser, tmp_path: Path) -> None:
    page.open("/add").tap("/add", "Add it", {"wood": "", "other": "chestnut"})
    assert page.status == 422
    assert "the name of more than one wood" in page.text
    ticks = [value for name, value in page.form("/add", "Add it").choices if name == "which"]
    assert len(ticks) >= 3, "both woods, and: don't know"
    page.tap("/add", "Add it", {"which": ticks[0]})
    assert page.status == 200
    added = [entry for entry in entries_of(tmp_path) if entry.kind == "add"][-1]
    assert added.data["species"] == ticks[0]
    page.open("/add").tap("/add", "Add it", {"other": "chestnut"})
    assert page.status == 200, "it is not asked again"


# ------------------------------------------------------------------ all ends


def test_all_ends_stand_dearest_first_with_state_and_job_in_words(still: Browser) -> None:
    page = still.open("/logs")
    tags = re.findall(r'<h2><a href="/log/(\w+)"', page.html)
    assert tags[:3] == ["H02", "H01", "H03"]
    assert len(tags) == 16
    assert "bare, open since" in page.text
    assert "Can't be reached, do not climb" in page.text
    assert "sealed 21 Sep" in page.text


def test_many_ends_are_noted_at_once_as_one_command(page: Browser, tmp_path: Path) -> None:
    before = len(entries_of(tmp_path))
    page.open("/logs").tap("/note", "Coated", {"ends": ["H01/butt", "H01/top", "H03/top"]})
    assert page.path == "/logs"
    new = entries_of(tmp_path)[before:]
    assert {(entry.tag, entry.ends) for entry in new} == {("H01", ("butt", "top")), ("H03", ("top",))}
    assert len({entry.batch for entry in new}) == 1
    page.tap("/undo", "Undo")
    assert "milky, coated today" not in page.text


def test_looks_and_rough_times_are_noted_from_the_list_too(page: Browser, tmp_path: Path) -> None:
    page.open("/logs").tap("/note", "Clear", {"ends": ["H09/butt"], "when": "morning"})
    last = entries_of(tmp_path)[-1]
    assert (last.kind, last.tag, last.ends) == ("look", "H09", ("butt",))
    assert last.moment.time < last.recorded_at


def test_nothing_ticked_is_told_and_writes_nothing(page: Browser, tmp_path: Path) -> None:
    before = len(entries_of(tmp_path))
    page.open("/logs").tap("/note", "Coated")
    assert page.status == 422
    assert "Tick at least one" in page.text
    assert len(entries_of(tmp_path)) == before


def test_a_long_list_comes_in_pages_and_can_be_searched(page: Browser) -> None:
    for n in range(12):
        page.open("/add").tap("/add", "Add it", {"wood": "ash", "butt": str(30 + n)})
    page.open("/logs")
    assert "1 to 25 of 28" in page.text
    assert "26 to 28 of 28" in page.open("/logs?from=25").text
    found = page.open("/logs?find=walnut")
    assert re.findall(r'<h2><a href="/log/(\w+)"', found.html) == ["H02"]
    assert "No log has that tag" in page.open("/logs?find=baobab").text
    for odd in ("-1", "999999999999999", "x", "1e3", "٣"):
        assert page.open(f"/logs?from={odd}").status == 200


# ------------------------------------------------------------------ a log


def test_a_log_shows_its_ends_weight_and_history(still: Browser) -> None:
    page = still.open("/log/H01")
    assert "butt 54 cm" in page.text
    assert "open since Sat 1 Nov" in page.text
    assert "kg green" in page.text
    assert "Machine only" in page.text
    assert "New log H01" in page.text


def test_spare_and_photos_of_a_log_are_shown(page: Browser) -> None:
    page.open("/log/H01").tap(
        "/change", "Change it", {"needs": "2.4 m", "note": "butt.jpg, crack.PNG by the gate"}
    )
    assert "Spare left: 10 cm butt" in page.text
    assert "Photos: butt.jpg, crack.PNG" in page.text


def test_the_clocks_of_a_milky_coat_are_shown(still: Browser) -> None:
    assert re.search(r"dry through by|Takes rain by", still.open("/log/H09").text)


@pytest.mark.parametrize(
    ("button", "fill", "kind"),
    [
        ("Coated", {}, "coat"),
        ("Cut", {"when": "yesterday"}, "cut"),
        ("open", {}, "look"),
        ("right through", {}, "look"),
        ("Still cracked", {"size": "5"}, "cut"),
        ("Sheet on", {}, "roof"),
        ("Saw first", {}, "saw_first"),
        ("No more about sealing", {}, "skip"),
        ("lean-to", {}, "move"),
        ("Gone: sold", {}, "gone"),
        ("Divide", {"size": "1 m"}, "divide"),
        ("Halved", {}, "halve"),
        ("Sawn", {"into": "9", "thick": "55 mm"}, "saw"),
    ],
)
def test_every_button_of_a_log_writes_its_entry(
    button: str, fill: dict[str, str], kind: str, page: Browser, tmp_path: Path
) -> None:
    before = len(entries_of(tmp_path))
    page.open("/log/H01").tap("/note", button, dict(fill))
    assert page.status == 200, page.text
    new = [entry.kind for entry in entries_of(tmp_path)[before:]]
    assert kind in new or kind.replace("_", "-") in new, new


def test_an_entry_is_taken_back_and_stays_in_the_history(page: Browser) -> None:
    page.open("/log/H01").tap("/note", "Coated", {"when": "yesterday 9:00"})
    page.tap("/mend", "Take back", tag="H01")
    assert "(taken back)" in page.text
    assert "Bare, open since" in page.text


def test_a_new_tag_leads_to_the_log_under_it(page: Browser) -> None:
    page.open("/log/H01").tap("/change", "Change it", {"new_tag": "K/1"})
    assert page.path == "/log/K/1"
    assert page.status == 200


# ------------------------------------------------------------------ the others


def test_catch_up_takes_ticks_with_rough_times(page: Browser, tmp_path: Path) -> None:
    before = len(entries_of(tmp_path))
    clock = page.app.state.room.desk.clock  # type: ignore[attr-defined]
    clock.goes(hours=12)
    page.open("/catch-up").tap(
        "/catch-up", "Note it",
        {"box": ["H02/cut", "H02/coat", "H01/coat", "H09/clear"], "time/H01": "noon", "time": "morning"},
    )  # fmt: skip
    assert page.status == 200, page.text
    new = entries_of(tmp_path)[before:]
    assert [(entry.tag, entry.kind) for entry in new] == [
        ("H02", "cut"), ("H02", "coat"), ("H01", "coat"), ("H09", "look"),
    ]  # fmt: skip
    hours = [entry.moment.time.astimezone(load_yard(tmp_path / "yard.toml").zone).hour for entry in new]
    assert hours[2] == 12
    assert hours[0] < 12
    assert len({entry.batch for entry in new}) == 1


def test_catch_up_has_the_lines_of_the_wall_sheet_first(still: Browser) -> None:
    page = still.open("/catch-up")
    tags = re.findall(r'<h2><a href="/log/(\w+)"', page.html)
    assert tags[:2] == ["H02", "H01"]
    assert tags.index("H09") < tags.index("H05"), "milky before those at which nothing is due"


def test_the_pail_by_eye_and_by_litres(page: Browser) -> None:
    page.open("/pails").tap("/pail", "half")
    assert "half" in page.text
    page.tap("/pail", "Note it", {"litres": "2.5"})
    assert "2.5 L" in page.text
    page.tap("/pail", "shed")
    assert "stands in the shed" in page.text


@pytest.mark.parametrize(
    ("name", "button", "fill", "wanted"),
    [
        ("people", "2", {}, "people = 2"),
        ("coats", "two", {}, "coats = 2"),
        ("hollow", "a lot", {}, "hollow = -3"),
        ("morning", "Set", {"value": "05:45"}, 'morning = "05:45"'),
        ("name", "Set", {"value": "Old Mill"}, 'name = "Old Mill"'),
    ],
)
def test_the_five_settings_are_written_and_the_comments_kept(
    name: str, button: str, fill: dict[str, str], wanted: str, page: Browser, tmp_path: Path
) -> None:
    page.open("/settings").tap("/settings", button, dict(fill), name=name)
    assert page.status == 200, page.text
    text = (tmp_path / "yard.toml").read_text(encoding="utf-8")
    assert wanted in text
    assert "# The invented yard of the demo." in text


def test_a_setting_out_of_range_is_told_and_the_file_left_alone(page: Browser, tmp_path: Path) -> None:
    before = (tmp_path / "yard.toml").read_bytes()
    page.open("/settings").tap("/settings", "Set", {"value": "25:99"}, name="morning")
    assert page.status == 422
    assert (tmp_path / "yard.toml").read_bytes() == before


def test_the_calendar_is_an_agenda_with_the_address_of_the_feed(still: Browser) -> None:
    page = still.open("/calendar")
    assert "Brush 9 to" in page.text
    assert re.search(r"http://localhost/feed/[\w-]{30,}\.ics", page.text)


def test_how_sure_says_what_was_learned_and_that_nothing_can_be_judged_yet(still: Browser) -> None:
    page = still.open("/sure")
    assert "No night read yet" in page.text
    assert "No forecast can be judged yet" in page.text


def test_until_winter_asks_nobody_and_names_the_command_once(still: Browser) -> None:
    page = still.open("/winter")
    assert "coatcast season" in page.text
    assert page.text.index("saw first") < page.text.index("saw by about")


def test_until_winter_says_what_past_years_say_and_works_it_out_once(
    page: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    past = past_days(tmp_path)
    asked: list[int] = []

    def ahead(*given: Any, **more: Any) -> Any:
        asked.append(1)
        return season_ahead(*given, history=past, **more)

    monkeypatch.setattr(pages, "climate_known", lambda _yard: object())
    monkeypatch.setattr(pages, "season_ahead", ahead)
    first = page.open("/winter").text
    assert "there was still a good day after" in first
    assert "coatcast season" not in first
    assert page.open("/winter").text == first
    assert len(asked) == 1


def test_a_reminder_is_answered_on_its_page_and_only_by_a_button(still: Browser, page: Browser) -> None:
    planned(page.app)  # type: ignore[arg-type]
    first = next(link for link in page.open("/reminders").page.links if link.startswith("/reminder/"))
    waiting = page.page.links.count(first)
    assert page.open(first).open(first).status == 200
    assert waiting == page.open("/reminders").page.links.count(first), "reading it answers nothing"
    page.open(first).tap("/remind", "Not needed")
    assert "dropped, not needed" in page.text
    assert first not in page.open("/reminders").page.links
    page.open(first)
    assert not [form for form in page.page.forms if form.action == "/remind"]


def test_the_page_of_a_log_leads_to_its_reminders_for_the_link_in_a_notice(still: Browser) -> None:
    links = [link for link in still.open("/log/H01").page.links if link.startswith("/reminder/")]
    assert len(links) == 2
    assert all("H01" in still.open(link).text for link in links)


def test_the_look_of_the_screen_is_kept_by_the_phone(page: Browser) -> None:
    assert '<html lang="en">' in page.open("/").html
    page.open("/more").tap("/screen", "bright sun")
    assert '<html lang="en" class="sun">' in page.open("/").html
    assert '<html lang="en">' in page.another().open("/").html


def test_a_us_yard_reads_inches_and_a_twelve_hour_clock(tmp_path: Path) -> None:
    app = page_app(tmp_path)
    file = tmp_path / "yard.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('"metric"', '"us"'), encoding="utf-8")
    page = Browser(app).open("/add")
    assert "Butt across, in" in page.text
    assert "8 ft" in page.html


def test_the_page_of_a_moved_clock_is_of_the_new_day(tmp_path: Path) -> None:
    clock = Clock()
    page = Browser(page_app(tmp_path, clock)).open("/")
    assert ", Tue 4," in page.text
    clock.goes(days=1)
    assert ", Wed 5," in page.open("/").text


def test_a_notice_that_was_given_up_is_told_on_the_page(page: Browser, tmp_path: Path) -> None:
    assert "None sent yet" in page.open("/reminders").text
    yard = load_yard(tmp_path / "yard.toml")
    at = page.app.state.room.desk.clock()  # type: ignore[attr-defined]
    one = notice("morning/x", due=at, expires=at + timedelta(hours=3))
    with open_register(yard) as store:
        post = Post([never("no such door")])
        tick(store, yard, SteadyClock(at), plan=wants(one), sender=post, force=True)
    text = page.open("/reminders").text
    assert "Given up" in text
    assert "no such door" in text
