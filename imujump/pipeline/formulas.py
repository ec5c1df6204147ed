"""Closed formulas of the jump metrics, each with its first-order error propagation.

Plain floats in, plain floats out, SI. A formula raises :class:`ValueError` when it is
asked outside its domain; whether a measurement may be used at all is decided elsewhere.
"""

from __future__ import annotations

import math


def flight_height_m(flight_s: float, gravity_mps2: float) -> float:
    """Rise of the body during a flight that lands as high as it took off.

    Parameters
    ----------
    flight_s : float
        Last toe-off to first landing contact, seconds, 0 or more.
    gravity_mps2 : float
        Local gravity, m/s², more than 0.

    Returns
    -------
    float
        Height g·t²/8, metres.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Notes
    -----
    Free fall, half of the flight up and half down. A body that lands with bent legs is
    lower than at take-off, flies longer and is rated too high: by 26 mm for a centre of
    mass 53 mm lower after a true rise of 0.500 m.

    Examples
    --------
    >>> round(flight_height_m(0.600, 9.80665), 4)
    0.4413
    """
    _require("flight_s", flight_s, positive=False)
    _require("gravity_mps2", gravity_mps2, positive=True)
    return gravity_mps2 * flight_s**2 / 8.0


def flight_height_sigma_m(
    flight_s: float,
    flight_sigma_s: float,
    gravity_mps2: float,
    gravity_sigma_mps2: float = 0.0,
) -> float:
    """Propagate errors into a standard deviation of :func:`flight_height_m`.

    Parameters
    ----------
    flight_s, gravity_mps2 : float
        As in :func:`flight_height_m`.
    flight_sigma_s, gravity_sigma_mps2 : float
        Standard deviations of the two, 0 or more; their errors are independent.

    Returns
    -------
    float
        √[(g·t/4·σ_t)² + (t²/8·σ_g)²], metres.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Examples
    --------
    A timing error of 5 ms at 0.60 s of flight costs 7.4 mm:

    >>> round(flight_height_sigma_m(0.600, 0.005, 9.80665), 4)
    0.0074
    """
    _require("flight_s", flight_s, positive=False)
    _require("flight_sigma_s", flight_sigma_s, positive=False)
    _require("gravity_mps2", gravity_mps2, positive=True)
    _require("gravity_sigma_mps2", gravity_sigma_mps2, positive=False)
    return math.hypot(
        gravity_mps2 * flight_s / 4.0 * flight_sigma_s, flight_s**2 / 8.0 * gravity_sigma_mps2
    )


def velocity_height_m(vertical_mps: float, gravity_mps2: float) -> float:
    """Rise of the body above where it left the ground, from its take-off velocity.

    Parameters
    ----------
    vertical_mps : float
        Upward velocity at toe-off, m/s, 0 or more.
    gravity_mps2 : float
        Local gravity, m/s², more than 0.

    Returns
    -------
    float
        Height v²/(2g), metres.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits; a body that sinks at
        toe-off has no height of flight.

    Examples
    --------
    >>> round(velocity_height_m(3.0, 9.80665), 4)
    0.4589
    """
    _require("vertical_mps", vertical_mps, positive=False)
    _require("gravity_mps2", gravity_mps2, positive=True)
    return vertical_mps**2 / (2.0 * gravity_mps2)


def velocity_height_sigma_m(
    vertical_mps: float,
    vertical_sigma_mps: float,
    gravity_mps2: float,
    gravity_sigma_mps2: float = 0.0,
) -> float:
    """Propagate errors into a standard deviation of :func:`velocity_height_m`.

    Parameters
    ----------
    vertical_mps, gravity_mps2 : float
        As in :func:`velocity_height_m`.
    vertical_sigma_mps, gravity_sigma_mps2 : float
        Standard deviations of the two, 0 or more; their errors are independent.

    Returns
    -------
    float
        √[(v/g·σ_v)² + (v²/2g²·σ_g)²], metres. Too small where σ_v is not small beside v.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Examples
    --------
    >>> round(velocity_height_sigma_m(3.0, 0.1, 9.80665), 4)
    0.0306
    """
    _require("vertical_mps", vertical_mps, positive=False)
    _require("vertical_sigma_mps", vertical_sigma_mps, positive=False)
    _require("gravity_mps2", gravity_mps2, positive=True)
    _require("gravity_sigma_mps2", gravity_sigma_mps2, positive=False)
    return math.hypot(
        vertical_mps / gravity_mps2 * vertical_sigma_mps,
        vertical_mps**2 / (2.0 * gravity_mps2**2) * gravity_sigma_mps2,
    )


def reactive_ratio(flight_s: float, contact_s: float) -> float:
    """Flight time over take-off contact time, without unit.

    Parameters
    ----------
    flight_s : float
        Last toe-off to first landing contact, seconds, 0 or more.
    contact_s : float
        First touchdown to last toe-off of the plant, seconds, more than 0.

    Returns
    -------
    float
        t_f/t_c.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Notes
    -----
    The ratio form of reactive strength. The form height over contact time has another
    unit and another scale; the two must not share a chart or a threshold.

    Examples
    --------
    >>> round(reactive_ratio(0.55, 0.20), 3)
    2.75
    """
    _require("flight_s", flight_s, positive=False)
    _require("contact_s", contact_s, positive=True)
    return flight_s / contact_s


def reactive_ratio_sigma(
    flight_s: float,
    contact_s: float,
    flight_sigma_s: float,
    contact_sigma_s: float,
    correlation: float = 0.0,
) -> float:
    """Propagate errors into a standard deviation of :func:`reactive_ratio`.

    Parameters
    ----------
    flight_s, contact_s : float
        As in :func:`reactive_ratio`.
    flight_sigma_s, contact_sigma_s : float
        Standard deviations of the two, 0 or more.
    correlation : float
        Correlation of the two errors, -1 to 1. See :func:`shared_toe_off_correlation`.

    Returns
    -------
    float
        Standard deviation of the ratio.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Examples
    --------
    >>> round(reactive_ratio_sigma(0.55, 0.20, 0.010, 0.010, correlation=-0.5), 3)
    0.168
    """
    _require("flight_s", flight_s, positive=False)
    _require("contact_s", contact_s, positive=True)
    _require("flight_sigma_s", flight_sigma_s, positive=False)
    _require("contact_sigma_s", contact_sigma_s, positive=False)
    return _quotient_sigma(flight_s, contact_s, flight_sigma_s, contact_sigma_s, correlation)


def shared_toe_off_correlation(
    strike_sigma_s: float, toe_off_sigma_s: float, landing_sigma_s: float
) -> float:
    """Correlation of the errors of flight time and contact time.

    Both end at the same toe-off: one found late shortens the flight and lengthens the
    contact, so the two errors oppose each other.

    Parameters
    ----------
    strike_sigma_s, toe_off_sigma_s, landing_sigma_s : float
        Standard deviations of the three instants, 0 or more, errors independent; flight
        and contact must each have some error.

    Returns
    -------
    float
        -σ_o²/√[(σ_s² + σ_o²)(σ_o² + σ_l²)], between -1 and 0.

    Raises
    ------
    ValueError
        If an argument is not finite or negative, or flight or contact has no error.

    Examples
    --------
    >>> round(shared_toe_off_correlation(0.007, 0.007, 0.007), 3)
    -0.5
    """
    _require("strike_sigma_s", strike_sigma_s, positive=False)
    _require("toe_off_sigma_s", toe_off_sigma_s, positive=False)
    _require("landing_sigma_s", landing_sigma_s, positive=False)
    flight_sigma_s = math.hypot(toe_off_sigma_s, landing_sigma_s)
    contact_sigma_s = math.hypot(strike_sigma_s, toe_off_sigma_s)
    if flight_sigma_s == 0.0 or contact_sigma_s == 0.0:
        raise ValueError(
            "toe_off_sigma_s is 0 with strike_sigma_s or landing_sigma_s 0, "
            "must leave both intervals an error above 0"
        )
    return -((toe_off_sigma_s / flight_sigma_s) * (toe_off_sigma_s / contact_sigma_s))


def last_step_ratio(last_m: float, penultimate_m: float) -> float:
    """Length of the last step over that of the penultimate, without unit.

    Parameters
    ----------
    last_m : float
        Length of the step that ends at the plant's first contact, metres, 0 or more.
    penultimate_m : float
        Length of the step before it, metres, more than 0.

    Returns
    -------
    float
        Below 1 when the last step is the shorter.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Examples
    --------
    >>> round(last_step_ratio(2.10, 2.35), 3)
    0.894
    """
    _require("last_m", last_m, positive=False)
    _require("penultimate_m", penultimate_m, positive=True)
    return last_m / penultimate_m


def last_step_ratio_sigma(
    last_m: float,
    penultimate_m: float,
    last_sigma_m: float,
    penultimate_sigma_m: float,
    correlation: float = 0.0,
) -> float:
    """Propagate errors into a standard deviation of :func:`last_step_ratio`.

    Parameters
    ----------
    last_m, penultimate_m : float
        As in :func:`last_step_ratio`.
    last_sigma_m, penultimate_sigma_m : float
        Standard deviations of the two, 0 or more.
    correlation : float
        Correlation of the two errors, -1 to 1: positive for an error of scale or speed
        common to both steps, negative for an error of the footfall between them.

    Returns
    -------
    float
        Standard deviation of the ratio.

    Raises
    ------
    ValueError
        If an argument is not finite or lies outside its limits.

    Examples
    --------
    >>> round(last_step_ratio_sigma(2.10, 2.35, 0.05, 0.05), 3)
    0.029
    """
    _require("last_m", last_m, positive=False)
    _require("penultimate_m", penultimate_m, positive=True)
    _require("last_sigma_m", last_sigma_m, positive=False)
    _require("penultimate_sigma_m", penultimate_sigma_m, positive=False)
    return _quotient_sigma(last_m, penultimate_m, last_sigma_m, penultimate_sigma_m, correlation)


def _quotient_sigma(
    top: float, bottom: float, top_sigma: float, bottom_sigma: float, correlation: float
) -> float:
    """First-order standard deviation of top/bottom."""
    if not -1.0 <= correlation <= 1.0:
        raise ValueError(f"correlation is {correlation}, must lie within -1 and 1")
    a = top_sigma / bottom
    b = top / bottom**2 * bottom_sigma
    # Rounding may leave a tiny negative sum when the errors cancel fully.
    return math.sqrt(max(0.0, a * a + b * b - 2.0 * correlation * a * b))


def _require(name: str, value: float, *, positive: bool) -> None:
    """Raise unless ``value`` is finite and above (``positive``) or not below 0."""
    if not math.isfinite(value):
        raise ValueError(f"{name} is {value}, must be a finite number")
    if value < 0.0 or (positive and value == 0.0):
        raise ValueError(f"{name} is {value}, must be {'above' if positive else 'at least'} 0")
