"""Past days of the yard's place from an archive of the column family, asked once and kept. An edge.

Thirty years are one large question, so the answer is kept for long; the last
days of an archive come late anyway, and those the yard has from its forecasts.
"""

from __future__ import annotations

import gzip
import json
import zlib
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode, urlsplit, urlunsplit

from scheduler.settings import ForecastSource, Position, endpoints
from scheduler.weather.fetch_ask import ask
from scheduler.weather.fetch_errors import FetchError
from scheduler.weather.fetch_files import SIZE_LIMIT, unpacked, write_whole
from scheduler.weather.fetch_when import place_key
from scheduler.weather.fetch_wire import Manners, same_host
from scheduler.weather.history import DailyRecord
from scheduler.weather.history_read import archive_params, read_daily_answer
from scheduler.weather.series import WeatherError

if TYPE_CHECKING:
    from requests import Session

__all__ = ["archive_url", "past_days"]

FILE = "history.json.gz"
OLD = timedelta(days=60)  # asked again after so long
LATE = timedelta(days=7)  # the archive's last days are not there yet
LEAP = 366


@dataclass(frozen=True, slots=True)
class _Kept:
    record: DailyRecord
    asked: datetime


def archive_url(source: ForecastSource) -> str | None:
    """The archive to ask: the yard file's, else the one that belongs to a service known here."""
    return source.archive or _known_archive(source)


def _known_archive(source: ForecastSource) -> str | None:
    host = urlsplit(source.url or "").hostname
    return next((one.archive for one in endpoints().values() if urlsplit(one.url).hostname == host), None)


def past_days(
    source: ForecastSource,
    place: Position,
    folder: Path,
    now: datetime,
    years: int,
    *,
    session: Session | None = None,
    manners: Manners | None = None,
) -> tuple[DailyRecord, str | None]:
    """Days of the last ``years`` years at a place, and a sentence where an older answer is used.

    Raises
    ------
    FetchError
        When there is no archive to ask, or neither a new nor a kept answer.
    WeatherError
        When the answer is no record of days.
    """
    kept = _read(folder, place)
    if kept is not None and now - kept.asked < OLD:
        return kept.record, None
    url = archive_url(source)
    if url is None:
        if kept is not None:
            return kept.record, None
        raise FetchError(
            "No archive of past weather is named. Write its address in yard.toml: [forecast] archive = …, "
            "or give a file: --history DAILY.csv"
        )
    try:
        body = ask(_question(source, url, now, years), place, now=now, session=session, manners=manners).body
        record = _record(body)
    except WeatherError as trouble:
        if kept is None:
            raise
        return kept.record, f"{trouble} The record asked for on {kept.asked:%Y-%m-%d} is used."
    _write(folder, place, body, now)
    return record, None


def _question(source: ForecastSource, url: str, now: datetime, years: int) -> ForecastSource:
    last = (now - LATE).date()
    first = last - timedelta(days=LEAP * (years + 1))
    parts = urlsplit(url)
    query = "&".join(filter(None, [parts.query, urlencode(archive_params(first, last), safe=",")]))
    key = {} if _same_key(source, url) else {"key_env": None, "key_file": None}
    changes = {"url": urlunsplit(parts._replace(query=query)), "family": "columns", "second": None} | key
    return source.model_copy(update=changes)


def _same_key(source: ForecastSource, url: str) -> bool:
    """Whether the forecast's key may go to the archive: on the same host, or known to be one provider's."""
    return same_host(source.url or "", url) or url == _known_archive(source)


def _record(body: bytes) -> DailyRecord:
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        raise WeatherError("The archive's answer is cut off or damaged. Ask it again later.") from None
    return read_daily_answer(data)


# ------------------------------------------------------------------ the file


def _read(folder: Path, place: Position) -> _Kept | None:
    """The kept answer of this place, or None."""
    with suppress(OSError, ValueError, KeyError, TypeError, EOFError, OverflowError, zlib.error):
        data = json.loads(unpacked([(folder / FILE).read_bytes()], 2 * SIZE_LIMIT, packed=True))
        if data["place"] == place_key(place):
            return _Kept(_record(data["body"].encode()), datetime.fromisoformat(data["asked"]))
    return None


def _write(folder: Path, place: Position, body: bytes, now: datetime) -> None:
    about = {
        "place": place_key(place),
        "asked": now.astimezone(UTC).isoformat(),
        "body": body.decode("utf-8", "replace"),
    }
    with suppress(OSError):  # asked again next time
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / FILE, gzip.compress(json.dumps(about).encode(), mtime=0))
