"""Whatever is asked or sent, the page answers with a sentence and never breaks down."""

from __future__ import annotations

import random
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_browser import Browser, Pair, client_of
from page_samples import page_app, planned
from starlette.testclient import TestClient

from scheduler.web.keys import keys_of
from scheduler.web.routes import POSTED, ROUTES

PATHS = sorted({route.path for route in ROUTES})
ODD = (
    *("", " ", "0", "-1", "1", "9" * 30, "1e400", "nan", "½", "٣", "0x10"),
    *("5 cm", "5,5", "14 in", "-3 m", "∞ m"),
    *("now", "yesterday 25:00", "tomorrow", "31 Feb", "0000-00-00", "9999-12-31", "1 Jan 1", "last week"),
    *("H01", "H01,H03", "@first", "H01/butt", "/", "../..", "a/b/c", "\x00", "\r\nSet-Cookie: x=y", "<b>"),
    *("'; DROP TABLE entry; --", "{{ 7*7 }}", "%s%n", "🪵🪵", "\u202eabc", "e\u0301" * 50, "x" * 3999),
    *("ash", "chestnut", "don't know", "both", "wet", "full", "half", "coat", "cut", "look", "checks open"),
    *("right through", "clean", "still cracked", "2", "two", "by wood", "on", "done", "later"),
)
FIELDS = (
    *("tag", "kind", "end", "ends", "entry", "when", "drop", "box", "time", "time/H01", "day", "wood"),
    *("other", "butt", "top", "length", "cut", "face", "reach", "worth", "place", "needs", "felled"),
    *("new_tag", "note", "metal", "line", "which", "size", "found", "seen", "why", "into", "thick"),
    *("litres", "stock", "where", "name", "value", "until", "back_now", "reminder", "answer", "said"),
    *("batch", "use", "till", "lost"),
)
QUERY = ["from", "find", "gone", "all", "said", "to", "kinds", "times", "alarms", "days", "x"]
calm = settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> TestClient:
    app = page_app(tmp_path_factory.mktemp("yard"))
    planned(app)
    return client_of(app)


def stamp_of(client: TestClient) -> str:
    return keys_of(client.app.state.room.file).stamp  # type: ignore[attr-defined]


texts = st.one_of(st.sampled_from(ODD), st.text(max_size=40))


@calm
@given(
    path=st.sampled_from(PATHS),
    part=texts,
    query=st.dictionaries(st.sampled_from(QUERY), texts, max_size=4),
)
def test_no_question_breaks_the_page(path: str, part: str, query: dict[str, str], client: TestClient) -> None:
    for name in ("{tag:path}", "{number}", "{secret}"):
        path = path.replace(name, quote(part, safe=""))
    assert client.get(path, params=query).status_code < 500


@calm
@given(
    path=st.sampled_from(sorted(POSTED)),
    fields=st.lists(st.tuples(st.sampled_from(FIELDS), texts), max_size=8),
)
def test_no_form_breaks_the_page(path: str, fields: list[Pair], client: TestClient) -> None:
    sent: dict[str, list[str]] = {"stamp": [stamp_of(client)]}
    for name, value in fields:
        sent.setdefault(name, []).append(value)
    assert client.post(path, data=sent, follow_redirects=False).status_code < 500


@calm
@given(path=st.sampled_from(sorted(POSTED)), body=st.binary(max_size=300))
def test_no_bytes_break_the_page(path: str, body: bytes, client: TestClient) -> None:
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert client.post(path, content=body, headers=kind).status_code < 500


def test_every_form_with_odd_words_in_every_field_is_answered_and_the_page_still_reads(
    tmp_path: Path,
) -> None:
    """The forms as they stand, each text field filled with each odd word in turn, from one seed."""
    draw = random.Random(20251104)
    page = Browser(page_app(tmp_path))
    planned(page.app)  # type: ignore[arg-type]
    for path in ("/add", "/log/H01", "/log/H09", "/settings", "/pails", "/logs", "/catch-up", "/reminder/1"):
        for _ in range(7):
            forms = [form for form in page.open(path).page.forms if form.method == "post"]
            if not forms:
                break
            form = draw.choice(forms)
            ticked = draw.sample(form.choices, min(len(form.choices), draw.randint(0, 3)))
            sent = [(n, draw.choice(ODD) if n in form.texts else v) for n, v in form.fields] + ticked
            button = draw.choice(list(form.buttons.values()))
            page.send(form.action, [*sent, *([button] if button else [])])
            assert page.status < 500, (form.action, sent)
    for path in (
        "/",
        "/add",
        "/logs",
        "/catch-up",
        "/winter",
        "/pails",
        "/sure",
        "/settings",
        "/calendar",
        "/reminders",
    ):
        assert page.open(path).status == 200
    page.app.state.room.desk._view = None  # type: ignore[attr-defined]
    assert page.open("/").status == 200, "and the morning can still be worked out"
