"""One round after the other: what is put, when it leaves, what is repeated, and what never is."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from notice_samples import AT, DAY, HOUR, MINUTE, Clock, Post, Sample, mornings, notice, wants, yard_of
from reminder_samples import job, log, wanted

from scheduler.health import mornings_unseen, notice_check
from scheduler.reminders import queue_outbox as outbox
from scheduler.reminders.channels import later, never, sent
from scheduler.settings import YardFile
from scheduler.tick import Round, tick
from scheduler.yard.store import Store, StoreError, open_store


@pytest.fixture
def yard(tmp_path: Path) -> YardFile:
    return yard_of(tmp_path)


@pytest.fixture
def store() -> Iterator[Store]:
    with open_store("sqlite://") as opened:
        yield opened


@pytest.fixture
def clock() -> Clock:
    return Clock()


def round_(store: Store, yard: YardFile, clock: Clock, post: Post, *notices: Sample, **facts: Any) -> Round:
    return tick(store, yard, clock, plan=wants(*notices, **facts), sender=post, draw=lambda: 0.5, force=True)


def states(store: Store) -> dict[str, str]:
    return {row.key: row.state for row in outbox.rows(store, "yard")}


# ------------------------------------------------------------------ once, and under one key


def test_a_notice_leaves_once_however_often_the_bell_rings(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    for _ in range(5):
        round_(store, yard, clock, post, notice())
        clock.goes(MINUTE)
    assert post.keys == ["morning/2025-11-03/push/1"]
    assert states(store) == {"morning/2025-11-03/push/1": "sent"}


def test_every_channel_has_a_row_of_its_own(store: Store, tmp_path: Path, clock: Clock) -> None:
    two = '[[channel]]\nkind = "screen"\n[[channel]]\nkind = "file"\npath = "n.txt"\n'
    two += '[[channel]]\nkind = "alive"\naddress = "http://127.0.0.1:9/"'
    post = Post()
    round_(store, yard_of(tmp_path, two), clock, post, notice())
    assert post.keys[:2] == ["morning/2025-11-03/screen/1", "morning/2025-11-03/file/1"]
    assert sorted(states(store)) == ["morning/2025-11-03/file/1", "morning/2025-11-03/screen/1"]


def test_the_number_rises_only_when_the_action_changes(store: Store, yard: YardFile, clock: Clock) -> None:
    post = Post()
    round_(store, yard, clock, post, notice())
    round_(store, yard, clock, post, notice(subject="Seal today, brush 9 to 1, about 8 in 10"))
    round_(store, yard, clock, post, notice(action="leave it"))
    assert post.keys == ["morning/2025-11-03/push/1", "morning/2025-11-03/push/2"]


def test_a_newer_notice_takes_the_place_of_one_that_has_not_left(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post([later("busy"), sent("taken")])
    round_(store, yard, clock, post, notice())
    clock.goes(HOUR)
    round_(store, yard, clock, post, notice(action="leave it"))
    assert states(store) == {
        "morning/2025-11-03/push/1": "replaced",
        "morning/2025-11-03/push/2": "sent",
    }


def test_a_notice_before_its_time_and_one_after_it_are_not_put(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    early, over = notice("a/1", due=AT + HOUR), notice("b/1", due=AT - HOUR, expires=AT)
    assert round_(store, yard, clock, post, early, over).put == ()
    assert post.got == []


def test_notices_and_reminders_are_written_in_one_transaction(
    store: Store, yard: YardFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outbox, "sweep", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        round_(store, yard, clock, Post(), notice(), derived=wanted([job()]))
    assert store.reminders("yard") == ()
    assert outbox.rows(store, "yard") == ()


def test_a_reminder_that_rode_in_a_notice_is_told_and_stays_in_the_list_and_in_the_calendar_as_it_was(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    derived = wanted([job()])
    [key] = [w.key for w in derived.items]
    round_(store, yard, clock, Post([later("busy")]), notice(reminder_keys=[key]), derived=derived)
    [before] = store.reminders("yard")
    assert before.state == "planned"
    clock.goes(HOUR)
    post = Post()
    round_(store, yard, clock, post, notice(reminder_keys=[key]), derived=derived)
    assert store.reminders("yard") == (replace(before, state="sent"),)
    last = post.got[0][1].text.splitlines()[-1]
    assert last == "To answer (H01 1b): coatcast reminders done 1b, or later, or drop"


def test_with_a_public_address_the_answer_is_a_link_and_without_none_is_shown(
    store: Store, tmp_path: Path, clock: Clock
) -> None:
    post = Post()
    public = yard_of(tmp_path, '[notice]\npublic = "https://shed.example/"')
    round_(store, public, clock, post, notice())
    assert post.got[0][1].text.splitlines()[-1] == "https://shed.example/"
    assert "http" not in notice().subject


# ------------------------------------------------------------------ trouble


def test_what_could_not_leave_is_tried_again_ever_more_rarely_till_it_is_of_no_more_use(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post([later("the server is away")])
    tries = []
    for _ in range(9 * 60):
        before = len(post.got)
        tick(store, yard, clock, plan=wants(notice()), sender=post, draw=lambda: 0.5)
        tries += [clock.at] * (len(post.got) - before)
        clock.goes(MINUTE)
    waits = [(b - a) / MINUTE for a, b in pairwise(tries)]
    assert waits[:6] == [1, 2, 4, 8, 16, 32]
    assert set(waits[6:]) == {60}
    assert states(store) == {"morning/2025-11-03/push/1": "expired"}
    [row] = outbox.rows(store, "yard")
    assert row.last_error == "the server is away"


def test_the_receivers_wish_to_wait_is_kept(store: Store, yard: YardFile, clock: Clock) -> None:
    post = Post([later("wait", AT + 2 * HOUR), sent("taken")])
    for _ in range(20):
        round_(store, yard, clock, post, notice())
        if len(post.got) == 2:
            break
        clock.goes(10 * MINUTE)
    assert AT + 2 * HOUR <= clock.at < AT + 2.4 * HOUR


def test_what_will_never_pass_is_given_up_at_once_and_verify_shows_it(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post([never("no such person")])
    done = round_(store, yard, clock, post, notice())
    assert [t.why for t in done.delivered.failed] == ["no such person"]
    clock.goes(HOUR)
    round_(store, yard, clock, post, notice())
    assert len(post.got) == 1
    found = notice_check(store, yard, clock.at)
    assert not found.ok
    assert "no such person" in found.said


def test_a_channel_in_trouble_holds_up_no_other(store: Store, tmp_path: Path, clock: Clock) -> None:
    two = '[[channel]]\nkind = "push"\naddress = "http://127.0.0.1:9/"\n[[channel]]\nkind = "screen"'
    post = Post([later("away"), sent("taken")])
    many = [notice(f"a/{n}") for n in range(3)]
    done = round_(store, yard_of(tmp_path, two), clock, post, *many)
    assert [t.channel for t in done.delivered.waiting] == ["push"]  # one try, then it rests
    assert [t.channel for t in done.delivered.sent] == ["screen"] * 3


def test_a_row_that_kills_its_sender_does_not_go_round_for_ever(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    def dies(_: object) -> None:
        raise KeyboardInterrupt

    post = Post(during=dies)
    for _ in range(100):
        with suppress(KeyboardInterrupt):
            round_(store, yard, clock, post, notice(expires=AT + 90 * DAY))
        clock.goes(HOUR)
    assert len(post.got) == outbox.MORE_THAN_TIRED
    assert states(store) == {"morning/2025-11-03/push/1": "failed"}


def test_a_sender_that_died_is_followed_by_another_under_the_same_key_after_the_lease(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    def dies(_: object) -> None:
        raise KeyboardInterrupt

    first, second = Post(during=dies), Post()
    with pytest.raises(KeyboardInterrupt):
        round_(store, yard, clock, first, notice())
    round_(store, yard, clock, second, notice())
    assert second.got == []  # it may still be on its way
    clock.goes(10 * MINUTE)
    round_(store, yard, clock, second, notice())
    assert first.got[0][1] == second.got[0][1]


# ------------------------------------------------------------------ when it leaves


def test_what_falls_into_the_night_leaves_when_the_night_is_over(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    clock.at = AT + 15 * HOUR  # 21:00
    post = Post()
    dark = notice("pail/1", due=clock.at, expires=clock.at + 12 * HOUR, alone=True)
    brief = notice("evening/1", due=clock.at, expires=clock.at + 2 * HOUR)
    sent_at = {}
    for _ in range(12 * 60):
        before = len(post.got)
        tick(store, yard, clock, plan=wants(dark, brief), sender=post)
        if len(post.got) > before:
            sent_at[post.keys[-1]] = clock.at.astimezone(yard.zone)
        clock.goes(MINUTE)
    assert {key: f"{when:%H:%M}" for key, when in sent_at.items()} == {"pail/1/push/1": "05:30"}
    assert states(store)["evening/1/push/1"] == "expired"


def test_while_the_keeper_is_away_only_the_pail_is_told_of(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    round_(store, yard, clock, post, notice(), notice("pail/1"), away_until=AT + 5 * DAY)
    assert post.keys == ["pail/1/push/1"]
    clock.goes(6 * HOUR)
    round_(store, yard, clock, post, notice(), away_until=AT + HOUR)
    assert post.keys[1:] == ["morning/2025-11-03/push/1"]


def test_after_a_sleep_a_notice_still_of_use_leaves_and_a_morning_slept_through_is_told(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    tick(store, yard, clock, plan=mornings, sender=post)
    clock.at = AT + DAY + 4 * HOUR  # slept till 10:00 on Tuesday
    tick(store, yard, clock, plan=mornings, sender=post)
    clock.at = AT + 3 * DAY + 10 * HOUR  # and through all of Wednesday and Thursday's morning
    tick(store, yard, clock, plan=mornings, sender=post)
    assert post.keys == ["morning/2025-11-03/push/1", "morning/2025-11-04/push/1"]
    assert [f"{day:%a}" for day in mornings_unseen(store, yard, clock.at)] == ["Wed", "Thu"]
    said = notice_check(store, yard, clock.at)
    assert not said.ok
    assert "nobody looked on 2 of the last 7 mornings (Wed 5, Thu 6)" in said.said


# ------------------------------------------------------------------ clocks that are set


def rounds(store: Store, yard: YardFile, clock: Clock, post: Post, until: datetime) -> None:
    while clock.at < until:
        tick(store, yard, clock, plan=mornings, sender=post)
        clock.goes(15 * MINUTE)


def test_a_clock_set_back_by_hours_doubles_nothing(store: Store, yard: YardFile, clock: Clock) -> None:
    post = Post()
    rounds(store, yard, clock, post, AT + 2 * HOUR)
    clock.goes(-3 * HOUR)
    rounds(store, yard, clock, post, AT + 2 * DAY)
    assert post.keys == ["morning/2025-11-03/push/1", "morning/2025-11-04/push/1"]


def test_a_clock_that_ran_days_ahead_and_was_set_right_leaves_out_no_morning(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    rounds(store, yard, clock, post, AT + 2 * HOUR)
    clock.goes(3 * DAY)
    rounds(store, yard, clock, post, clock.at + HOUR)
    clock.goes(-3 * DAY - HOUR)
    before = len(post.got)
    rounds(store, yard, clock, post, AT + 4 * DAY - HOUR)
    assert [key[:18] for key in post.keys[before:]] == [f"morning/2025-11-0{n}" for n in (4, 5, 6)]


def test_a_computer_that_wakes_in_the_past_sends_nothing_old_and_goes_on(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    rounds(store, yard, clock, post, AT + 2 * DAY)
    clock.at = AT - 300 * DAY  # no clock of its own: it begins where it was built
    tick(store, yard, clock, plan=wants(), sender=post)
    clock.at = AT + 2 * DAY
    rounds(store, yard, clock, post, AT + 3 * DAY - HOUR)
    assert [key[8:18] for key in post.keys] == ["2025-11-03", "2025-11-04", "2025-11-05"]


def test_a_lease_taken_under_a_clock_that_ran_ahead_does_not_stop_the_work(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    ahead = AT + 30 * DAY
    assert store.take_lease("yard", "planner", "another", ahead, ahead + HOUR)
    assert round_(store, yard, clock, Post(), notice()).planned


# ------------------------------------------------------------------ who plans


def test_of_two_services_one_plans_and_both_send(store: Store, yard: YardFile, clock: Clock) -> None:
    assert store.take_lease("yard", "planner", "another", AT, AT + MINUTE)
    done = round_(store, yard, clock, Post(), notice())
    assert not done.planned
    assert done.why_not == "another service is planning just now"
    clock.goes(2 * MINUTE)
    assert round_(store, yard, clock, Post(), notice()).planned


def test_a_round_without_news_plans_nothing_till_the_next_quarter_of_an_hour(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    planned = []
    for _ in range(31):
        planned.append(tick(store, yard, clock, plan=wants(), sender=Post()).planned)
        clock.goes(MINUTE)
    assert [n for n, was in enumerate(planned) if was] == [0, 15, 30]


def test_a_new_setting_is_taken_up_at_once(
    store: Store, yard: YardFile, clock: Clock, tmp_path: Path
) -> None:
    tick(store, yard, clock, plan=wants(), sender=Post())
    clock.goes(MINUTE)
    changed = yard_of(tmp_path, "[notice]\ndaily = true")
    assert tick(store, changed, clock, plan=wants(), sender=Post()).planned


def test_trouble_with_the_database_is_raised_and_nothing_is_sent(
    tmp_path: Path, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    url = f"sqlite:///{tmp_path / 'y.db'}"
    open_store(url).close()
    (tmp_path / "y.db").write_bytes(b"not a database at all, but long enough to be taken for one" * 40)
    with pytest.raises(StoreError), open_store(url) as broken:
        tick(broken, yard, clock, plan=wants(notice()), sender=post)
    assert post.got == []


def test_what_ended_long_ago_is_forgotten_so_that_the_database_does_not_grow(
    store: Store, yard: YardFile, clock: Clock
) -> None:
    post = Post()
    for _ in range(300):
        tick(store, yard, clock, plan=mornings, sender=post)
        clock.goes(DAY)
    assert len(post.got) == 300
    kept = outbox.rows(store, "yard")
    assert len(kept) <= outbox.KEPT / timedelta(days=1) + 2
    assert kept[0].made_at.astimezone(UTC) > clock.at - 2 * DAY


def test_a_yard_of_ten_thousand_logs_is_reconciled_and_told_in_one_short_notice(
    tmp_path: Path, yard: YardFile, clock: Clock
) -> None:
    tags = [f"L{n:05}" for n in range(10_000)]
    derived = wanted([job(tag=tag) for tag in tags], [log(tag) for tag in tags])
    one = notice(reminder_keys=[w.key for w in derived.items])
    post = Post()
    with open_store(f"sqlite:///{tmp_path / 'many.db'}") as store:
        first = round_(store, yard, clock, post, one, derived=derived)
        again = round_(store, yard, clock, post, one, derived=derived)
        assert {row.state for row in store.reminders("yard")} == {"sent"}
    assert len(first.changes.added) == 10_000
    assert again.changes.kept == first.changes.added
    [(_, message)] = post.got
    assert len(message.text.splitlines()) == 2
