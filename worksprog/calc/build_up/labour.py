"""Man-days, duration and capability, as construction troops are taught to plan them."""

from __future__ import annotations

STANDARD_DAY_H = 8.0  # man-days are of 8 h, whatever the working day is


def _need_positive(value: float, what: str) -> None:
    if not value > 0:
        raise ValueError(f"{what} must be more than 0, not {value:g}.")


def man_days(
    *, quantity: float, unit_size: float, man_hours_per_unit: float, delay_factor: float = 1.0
) -> float:
    """Man-days of 8 h: quantity / unit size x man-hours per unit / 8 x delay factor."""
    _need_positive(unit_size, "The unit size")
    _need_positive(delay_factor, "The delay factor")
    return quantity / unit_size * man_hours_per_unit / STANDARD_DAY_H * delay_factor


def duration_days(
    *, man_days: float, crew: float, availability: float, workday_h: float = STANDARD_DAY_H
) -> float:
    """Working days for a crew: man-days / crew / availability / (working day / 8).

    ``availability``: the share of its time that the crew is on the job, 0 to 1.
    """
    _need_positive(crew, "The crew")
    _need_positive(workday_h, "The working day")
    if not 0 < availability <= 1:
        raise ValueError(f"Availability lies between 0 and 1, not at {availability:g}.")
    return man_days / crew / availability / (workday_h / STANDARD_DAY_H)


def capability_man_days(
    *, crew: float, days: float, availability: float, workday_h: float = STANDARD_DAY_H
) -> float:
    """Man-days of 8 h a crew gives in so many days: crew x days x working day / 8 x availability."""
    _need_positive(workday_h, "The working day")
    if not 0 < availability <= 1:
        raise ValueError(f"Availability lies between 0 and 1, not at {availability:g}.")
    return crew * days * (workday_h / STANDARD_DAY_H) * availability
