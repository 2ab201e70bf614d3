"""Dates in words, whatever the system's locale: 14 March 2027, Sunday."""

from __future__ import annotations

import datetime as dt

from planner_core.words.language import say

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def day_words(date: dt.date, *, year: bool = False, weekday: bool = False) -> str:
    """14 March, 14 March 2027 or Sunday 14 March 2027."""
    day = say("{day} {month}", day=date.day, month=say(MONTHS[date.month - 1]))
    head = say("{weekday} {day}", weekday=say(WEEKDAYS[date.weekday()]), day=day) if weekday else day
    return f"{head} {date.year}" if year else head


def span_words(first: dt.date, last: dt.date) -> str:
    """14 to 20 March 2027, saying no month or year twice."""
    if first == last:
        return day_words(first, year=True)
    if first.year != last.year:
        return f"{day_words(first, year=True)} to {day_words(last, year=True)}"
    if first.month != last.month:
        return f"{day_words(first)} to {day_words(last, year=True)}"
    return f"{first.day} to {day_words(last, year=True)}"
