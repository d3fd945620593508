"""From the morning's briefing and the reminders to the notices that a person gets. Pure.

Quiet by design: reminders ride in the notices; alone ring only a wet coat in
danger, the pail, and a coat that is wet while no fresh forecast comes. What was
told stands until what is to be done changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from scheduler.reminders.outgoing import ToldNotice, pauses
from scheduler.reminders.wanted import Wanted
from scheduler.settings import NoticeTimes
from scheduler.views.notice_dark import before_dark, blind, can_leave, danger, evening, pail, pail_reminders
from scheduler.views.notice_day import morning_notice
from scheduler.views.notice_said import Notice, Occasion
from scheduler.views.today import Briefing
from scheduler.views.wording import Wording
from scheduler.yard.reminder_row import ReminderRow

__all__ = ["Notice", "notices"]


def notices(
    b: Briefing,
    w: Wording,
    times: NoticeTimes,
    *,
    items: Sequence[Wanted] = (),
    rows: Iterable[ReminderRow] = (),
    told: Iterable[ToldNotice] = (),
    linked: bool = False,
) -> list[Notice]:
    """The notices that this moment calls for, those not yet due among them.

    Asked again at any later moment of the day it gives the same keys; a notice
    that was told comes back only when its action has changed.

    Parameters
    ----------
    items
        The reminders wanted now.
    rows
        The reminders that are kept: which were told, ended or put off.
    told
        Notices that were put in the last weeks.
    linked
        Whether a link goes with every notice, which takes a line.
    """
    o = Occasion(b, w, times, items, {row.key: row for row in rows}, {one.key: one for one in told}, linked)
    dark = before_dark(o)
    if dark is not None and (o.away or not can_leave(o, dark)):
        dark = None
    # The pail rides in the before-dark notice; where there is none, it rings alone.
    rides = dark is not None and "pail" in dark.action.split("|")
    alone = [*pail_reminders(o), None if rides else pail(o)]
    others = () if o.away else (danger(o), blind(o), morning_notice(o), dark, evening(o))
    found = [one for one in (*others, *alone) if one is not None and not (o.away and pauses(one.kind))]
    return [one for one in found if can_leave(o, one)]
