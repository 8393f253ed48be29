"""Days as the language that is spoken writes them."""

from __future__ import annotations

from datetime import date

from trialkit.language import ENGLISH, language


def day_and_month(day: date) -> str:
    """Return a day without its year.

    Parameters
    ----------
    day
        The day.

    Examples
    --------
    >>> from datetime import date
    >>> from trialkit.days import day_and_month
    >>> day_and_month(date(2024, 9, 5))
    '05 September'
    """
    return _written(day, "%d %B", "MMMMd")


def plain_day(day: date) -> str:
    """Return a day without its year and without a nought before it.

    Parameters
    ----------
    day
        The day.

    Examples
    --------
    >>> from datetime import date
    >>> from trialkit.days import plain_day
    >>> plain_day(date(2024, 9, 5))
    '5 September'
    """
    return _written(day, f"{day.day} %B", "MMMMd")


def whole_date(day: date) -> str:
    """Return a day with its year.

    Parameters
    ----------
    day
        The day.

    Examples
    --------
    >>> from datetime import date
    >>> from trialkit.days import whole_date
    >>> whole_date(date(2024, 9, 5))
    '05 September 2024'
    """
    return _written(day, "%d %B %Y", "yMMMMd")


def short_day(day: date) -> str:
    """Return a day without its year, the month cut short, for an axis.

    Parameters
    ----------
    day
        The day.

    Examples
    --------
    >>> from datetime import date
    >>> from trialkit.days import short_day
    >>> short_day(date(2024, 9, 5))
    '05 Sep'
    """
    return _written(day, "%d %b", "MMMd")


def _written(day: date, english: str, parts: str) -> str:
    """Return a day by its pattern in English, else with the parts that the language orders."""
    spoken = language().code
    if spoken == ENGLISH:
        return f"{day:{english}}"
    from babel.dates import format_skeleton

    written: str = format_skeleton(parts, day, locale=spoken.replace("-", "_"))
    return written
