"""What can go wrong between this program and a service: for good, or for a while."""

from __future__ import annotations

from datetime import datetime

from scheduler.weather.series import WeatherError

__all__ = ["MEND_URL", "FetchError", "Passing"]

MEND_URL = "Mend the address in yard.toml under [forecast]."


class FetchError(WeatherError):
    """No answer could be had.

    Attributes
    ----------
    retry_at
        When the service may be asked again, where that is known; aware.
    status
        What it answered with (HTTP), where it answered at all.
    hold
        True where ``retry_at`` is the service's own wish, to be remembered by every process.
    """

    def __init__(
        self, text: str, retry_at: datetime | None = None, *, status: int | None = None, hold: bool = False
    ) -> None:
        super().__init__(text)
        self.retry_at = retry_at
        self.status = status
        self.hold = hold


class Passing(Exception):  # noqa: N818 - not an error yet: another try may do
    """Trouble that may pass.

    ``wait`` is how long the service wants to be left alone (s), ``hold`` whether the next process
    is to know of it.
    """

    def __init__(
        self,
        text: str,
        wait: float | None = None,
        *,
        status: int | None = None,
        hold: bool = False,
    ) -> None:
        super().__init__(text)
        self.wait = wait
        self.status = status
        self.hold = hold
