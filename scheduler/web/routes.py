"""Every address of the page: what is read, what is posted, and what is said when something is wrong."""

from __future__ import annotations

import logging
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import reduce
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from scheduler.commands.common import Fail, Session
from scheduler.views.words import Words, words_in
from scheduler.web import acts, pages
from scheduler.web.acts import Doubt, Outcome
from scheduler.web.desk import Desk
from scheduler.web.feedout import Feeds
from scheduler.web.forms import Form, FormError, Said, back_to, new_once, read_form
from scheduler.web.guard import COOKIE
from scheduler.web.keys import change_feed, keys_of, same
from scheduler.wood.species import show_name
from scheduler.yard.tags import find_log

__all__ = ["ROUTES", "Room", "problem"]

_LOG = logging.getLogger(__name__)
Handler = Callable[[Request], Awaitable[Response]]
LOOK, LOOKS = "coatcast-look", ("phone", "sun", "dark")
COMMAND = re.compile(r"(?:^|(?<=\.) )[^.]*\bcoatcast .*$", re.DOTALL)


@dataclass(slots=True)
class Room:
    """What every route finds."""

    desk: Desk
    templates: Environment
    style: str
    said: Said
    file: Path
    lan: bool
    health: Callable[[], dict[str, Any]] | None
    feeds: Feeds = field(default_factory=Feeds)

    @property
    def words(self) -> Words:
        """The words of the yard's language."""
        return words_in(self.desk.yard().yard.language)

    def render(self, name: str, request: Request, status: int = 200, **values: Any) -> Response:
        """A page of a template; its form marks and the sentence to show are the same for all."""
        keys, once = keys_of(self.file), new_once()
        found = self.said.find(request.query_params.get("said"))
        look, words = request.cookies.get(LOOK, ""), self.words
        shared = {
            "style": Markup(self.style),
            "said": found,
            "path": request.url.path,
            "yard_name": self.desk.yard().yard.name,
            "trouble": self.desk.trouble,
            "language": words.language,
            "look": look if look in LOOKS else "",
            "wrong": None,
            "word": words.say,
            "marks": lambda back: Markup(
                '<input type="hidden" name="stamp" value="{}"><input type="hidden" name="once" value="{}">'
                '<input type="hidden" name="back" value="{}">'
            ).format(keys.stamp, once, back),
        }
        html = self.templates.get_template(name).render({**shared, **values})
        return HTMLResponse(html, status_code=status)


def room_of(request: Request) -> Room:
    room: Room = request.app.state.room
    return room


def plain(said: str) -> str:
    """A sentence without its advice for the command line: the page has buttons for that."""
    return COMMAND.sub("", said).strip() or said


def _told(room: Room, error: BaseException) -> str:
    """What an error says, in the yard's language where it is known."""
    lines = [room.words.told(line) for line in str(error).splitlines()]
    return plain("\n".join(lines)) or type(error).__name__


def _wrong(room: Room, request: Request, status: int, title: str, text: str, back: str = "/") -> Response:
    """The page that says what is wrong."""
    return room.render("wrong.html", request, status, title=room.words[title], text=text, back=back)


# ------------------------------------------------------------------ reading


def page(make: Callable[[Room, Request], Response]) -> Handler:
    """A page that is read; what is wrong is said on a page of its own."""

    async def handler(request: Request) -> Response:
        room = room_of(request)

        def work() -> Response:
            try:
                return make(room, request)
            except (Fail, ValueError) as error:
                return _wrong(room, request, 404, "wrong.not_found", _told(room, error))
            except (OSError, RuntimeError) as error:
                _LOG.warning("%s: %s", request.url.path, error)
                return _wrong(room, request, 503, "wrong.not_now", _told(room, error))
            except Exception:
                return _broken(room, request)

        return await run_in_threadpool(work)

    return handler


def _broken(room: Room, request: Request) -> Response:
    """A fault of ours: told, written down, and what was noted before is kept."""
    _LOG.exception("%s broke down", request.url.path)
    return _wrong(room, request, 500, "wrong.broke_down", room.words["wrong.broken"])


def first(room: Room, request: Request) -> Response:
    """The first screen."""
    return room.render("first.html", request, **pages.first_values(room.desk))


def add_page(room: Room, request: Request) -> Response:
    """Add a log."""
    return room.render("add.html", request, **pages.add_values(room.desk), given={}, which=())


def logs(room: Room, request: Request) -> Response:
    """All ends."""
    return room.render("logs.html", request, **pages.logs_values(room.desk, request.query_params))


def one_log(room: Room, request: Request) -> Response:
    """A log's page."""
    tag, everything = request.path_params["tag"], "all" in request.query_params
    return room.render("log.html", request, **pages.log_values(room.desk, tag, everything))


def catch_up(room: Room, request: Request) -> Response:
    """Catch up with the wall sheet."""
    return room.render("catchup.html", request, **pages.catch_up_values(room.desk, request.query_params))


def one_reminder(room: Room, request: Request) -> Response:
    """A reminder's page: reading it changes nothing, its buttons post."""
    number = request.path_params["number"]
    return room.render("reminder.html", request, **pages.reminder_values(room.desk, number))


def simple(name: str, values: Callable[[Desk], dict[str, Any]]) -> Callable[[Room, Request], Response]:
    """A page that needs nothing of its address."""
    return lambda room, request: room.render(name, request, **values(room.desk))


def calendar_page(room: Room, request: Request) -> Response:
    """The calendar as an agenda, and the feed's address."""
    base = f"{request.url.scheme}://{request.headers.get('host', 'localhost')}"
    feed = f"{base}/feed/{keys_of(room.file).feed}.ics"
    return room.render("calendar.html", request, **pages.calendar_values(room.desk), feed=feed, lan=room.lan)


# ------------------------------------------------------------------ posting


def post(do: Callable[[Room, Session, Form], Outcome], again: str | None = None) -> Handler:
    """A form that is taken once; the answer stands on the page that it leads back to."""

    async def handler(request: Request) -> Response:
        room = room_of(request)
        try:
            form = await read_form(request)
        except FormError as error:
            return PlainTextResponse(f"{error}\n", status_code=415)
        if not same(form.get("stamp", ""), keys_of(room.file).stamp):
            return PlainTextResponse(f"{room.words['wrong.not_this_page']}\n", status_code=403)
        return await run_in_threadpool(_taken, room, request, form, do, again)

    return handler


def _taken(
    room: Room, request: Request, form: Form, do: Callable[[Room, Session, Form], Outcome], again: str | None
) -> Response:
    def act() -> str:
        outcome = do(room, room.desk.here(), form)
        target = back_to(form)
        if target.startswith("/log/") and outcome.tag is None and form.text("new_tag"):
            target = f"/log/{quote(form['new_tag'].strip(), safe='')}"
        return f"{target}?said={room.said.keep(plain(outcome.said), outcome.batch, outcome.plain)}"

    try:
        return RedirectResponse(room.desk.once(form.once, act), status_code=303)
    except Doubt as doubt:
        return _asked(room, request, form, doubt)
    except (Fail, ValueError) as error:
        if again == "add":
            values, wrong = pages.add_values(room.desk), _told(room, error)
            return room.render("add.html", request, 422, **values, given=form, which=(), wrong=wrong)
        return _wrong(room, request, 422, "wrong.nothing_noted", _told(room, error), back_to(form))
    except (OSError, RuntimeError) as error:
        _LOG.warning("%s: %s", request.url.path, error)
        return _wrong(room, request, 503, "wrong.nothing_noted", _told(room, error))
    except Exception:
        return _broken(room, request)


def _asked(room: Room, request: Request, form: Form, doubt: Doubt) -> Response:
    language = room.desk.yard().yard.language
    which = [(one.botanical, show_name(one, language)) for one in doubt.candidates]
    wrong = room.words.say("wrong.two_woods", said=doubt.said)
    if request.url.path != "/add":
        either = (f"{name} ({botanical})" for botanical, name in which)
        names = reduce(lambda some, last: room.words.say("wrong.or", some=some, last=last), either)
        text = room.words.say("wrong.write_it_as", doubt=wrong, names=names)
        return _wrong(room, request, 422, "wrong.which_wood", text, back_to(form))
    values = pages.add_values(room.desk)
    return room.render("add.html", request, 422, **values, given=form, which=which, wrong=wrong)


def _add(room: Room, here: Session, form: Form) -> Outcome:
    return acts.add_log(here, form, room.desk.book().register.words)


def _change(room: Room, here: Session, form: Form) -> Outcome:
    register = room.desk.book().register
    log = find_log(register, form.get("tag", ""))
    outcome = acts.change_log(here, log.tag, form, register.words)
    return replace(outcome, tag=None)


def _new_feed(room: Room, _here: Session, _form: Form) -> Outcome:
    change_feed(room.file)
    room.feeds.clear()
    return Outcome(room.words["answer.new_feed"])


def _set(room: Room, here: Session, form: Form) -> Outcome:
    return acts.set_one(here, form)


def of(act: Callable[[Session, Form], Outcome]) -> Callable[[Room, Session, Form], Outcome]:
    """An act that needs no room."""
    return lambda _room, here, form: act(here, form)


# ------------------------------------------------------------------ the feed, the way in, health


async def feed(request: Request) -> Response:
    """``/feed/SECRET.ics``."""
    room = room_of(request)
    if not same(request.path_params["secret"], keys_of(room.file).feed):
        return PlainTextResponse("There is no calendar here.\n", status_code=404)
    return await room.feeds.answer(request, room.desk)


async def way_in(request: Request) -> Response:
    """``/in/SECRET``: the address that is printed; leaves a cookie and leads to the first screen."""
    room = room_of(request)
    keys = keys_of(room.file)
    if not same(request.path_params["secret"], keys.page):
        return PlainTextResponse("There is nothing here.\n", status_code=404)
    target = request.query_params.get("to", "/")
    ours = target.startswith(("/log/", "/reminder/")) and "//" not in target and "\\" not in target
    answer = RedirectResponse(target if ours else "/", 303)
    # Lax, not strict: a link in a message must open the page. No reading changes anything.
    answer.set_cookie(
        COOKIE, keys.pass_word, max_age=400 * 86400, httponly=True, samesite="lax",
        secure=request.url.scheme == "https",
    )  # fmt: skip
    return answer


async def screen(request: Request) -> Response:
    """``/screen``: how this phone wants the page; kept by the phone itself."""
    try:
        form = await read_form(request)
    except FormError as error:
        return PlainTextResponse(f"{error}\n", status_code=415)
    answer = RedirectResponse(back_to(form), 303)
    if form.get("look") in LOOKS:
        answer.set_cookie(LOOK, form["look"], max_age=400 * 86400, httponly=True, samesite="lax")
    return answer


async def health(request: Request) -> Response:
    """``/health``: whether the page works, and what the service beside it says."""
    room = room_of(request)

    def look() -> dict[str, Any]:
        out: dict[str, Any] = {"ok": True, "page": True}
        try:
            out["entries"] = room.desk.book().version
        except (OSError, RuntimeError, ValueError):
            out |= {"ok": False, "trouble": "the store cannot be read"}
        if room.desk.trouble is not None:
            out |= {"ok": False, "trouble": "the changed yard file is not used"}
        if room.health is not None:
            more = room.health()
            out = {**out, **more, "ok": out["ok"] and bool(more.get("ok"))}
        return out

    found = await run_in_threadpool(look)
    return JSONResponse(found, status_code=200 if found["ok"] else 503)


async def problem(request: Request, error: Exception) -> Response:
    """A wrong address, or a fault of ours: one sentence, no traceback."""
    status = error.status_code if isinstance(error, HTTPException) else 500
    if status == 500:
        _LOG.error("%s broke down: %s", request.url.path, type(error).__name__)
    keys = {404: "wrong.no_page", 405: "wrong.no_method", 500: "wrong.broken"}
    key = keys.get(status, "wrong.did_not_work")
    headers: Mapping[str, str] | None = error.headers if isinstance(error, HTTPException) else None
    try:
        room = room_of(request)
        page_ = _wrong(room, request, status, "wrong.nothing_here", room.words[key])
    except Exception:
        return PlainTextResponse(f"{words_in('en')[key]}\n", status_code=status)
    page_.headers.update(headers or {})
    return page_


READ = {
    "/": first,
    "/add": add_page,
    "/logs": logs,
    "/log/{tag:path}": one_log,
    "/catch-up": catch_up,
    "/reminders": simple("reminders.html", pages.reminders_values),
    "/reminder/{number}": one_reminder,
    "/winter": simple("winter.html", pages.winter_values),
    "/pails": simple("pails.html", pages.pails_values),
    "/sure": simple("sure.html", pages.sure_values),
    "/settings": simple("settings.html", pages.settings_values),
    "/more": simple("more.html", pages.more_values),
    "/calendar": calendar_page,
}
POSTED = {
    "/add": post(_add, "add"),
    "/note": post(of(acts.note_many)),
    "/mend": post(of(acts.mend)),
    "/undo": post(of(acts.take_back)),
    "/catch-up": post(of(acts.catch_up)),
    "/change": post(_change),
    "/answer": post(of(acts.answer)),
    "/remind": post(lambda room, here, form: acts.remind(room.desk, here, form)),
    "/pail": post(of(acts.pail)),
    "/away": post(of(acts.rest)),
    "/settings": post(_set),
    "/feed/new": post(_new_feed),
}
ROUTES = [
    *(Route(path, page(make), methods=["GET"]) for path, make in READ.items() if path not in POSTED),
    *(Route(path, do, methods=["POST"]) for path, do in POSTED.items() if path not in READ),
    Route("/feed/{secret}.ics", feed, methods=["GET"]),
    Route("/in/{secret}", way_in, methods=["GET"]),
    Route("/health", health, methods=["GET"]),
    Route("/screen", screen, methods=["POST"]),
]


def _both(path: str) -> Handler:
    reads, posts = page(READ[path]), POSTED[path]

    async def handler(request: Request) -> Response:
        return await (posts if request.method == "POST" else reads)(request)

    return handler


ROUTES += [Route(path, _both(path), methods=["GET", "POST"]) for path in READ if path in POSTED]
