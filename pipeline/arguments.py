"""What every public function of the statistics may be handed: one check, by each argument's declared kind and name.

A function's own rules (how many readings, which side of a threshold) stay with it.
"""

from __future__ import annotations

import dataclasses
import functools
import inspect
import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from numbers import Real
from typing import Any, Literal, ParamSpec, TypeVar, get_args, get_origin

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import Complaint, MethodRefusal, ReelproofError

P = ParamSpec("P")
R = TypeVar("R")
# Shares strictly between 0 and 1, and arguments that are one row and never a table.
SHARES = {"confidence", "alpha"}
ROWS = {
    "deficits",
    "counts",
    "at_m",
    "known_m",
    "gaps_m",
    "spacings",
    "until_m",
    "reel_means",
    "reel_sds",
    "bad",
}
# Figures a method refuses in words of its own where they are not finite.
OWN_WORDS = {
    "limit", "lower_limit", "upper_limit", "threshold", "n_for_mean", "n_for_variance", "known_m", "reel_m",
    "index", "index_low", "index_high", "lag_one", "margin_mm", "observed_sd_mm", "noise_sd_mm",
    "small_scale_sd_mm", "n_observed", "n_noise", "n_small_scale",
}  # fmt: skip

# Figures above 0, figures from 0, correlations and weights between limits of their own: whatever method asks for them.
ABOVE_ZERO = {
    "arl0", "arl", "width", "sd", "sigma", "scale", "period_m", "period_s", "points_per_day", "false_alarms", "days",
    "correlation_m", "freedom", "mean_gap_m", "times", "run_m", "circumference_m", "readings_per_m", "claimed", "true",
    "trials", "averages", "known_1", "known_2", "length_m", "penalty", "longest_m",
}  # fmt: skip
FROM_ZERO = {
    "electrode_m", "dead_time_s", "position_sd_m", "tolerance_pct", "amplitude", "between_sd", "period_sd_m",
    "covered_m", "rate_1_per_km", "rate_2_per_km", "drop_factor", "shortest_m", "passings_per_m", "window_m",
}  # fmt: skip
UNIT_INTERVAL = {"share", "chance", "theta", "p_value", "share_below", "q", "weight"}
# Figures that may be without end: a limit that there is not.
ENDLESS = {"reach_m"}
# Figures of an answer or of an element that may be without end.
MAY_HAVE_NO_END = {"estimate", "low", "high"}
WRONG_SIDE = {"low": math.inf, "high": -math.inf}


def checked(function: Callable[P, R]) -> Callable[P, R]:
    """The function, its arguments checked first.

    Raises:
        MethodRefusal: by the function made, for an argument no method can use.
    """
    signature = inspect.signature(function)
    # One that can refuse has words of its own for readings and limits that are unknown or without end.
    own_words = "Refused" in str(signature.return_annotation)

    @functools.wraps(function)
    def checking(*given: P.args, **named: P.kwargs) -> R:
        kinds = kinds_of(function)
        try:
            bound = signature.bind(*given, **named)
        except TypeError:
            return function(*given, **named)
        for name, value in bound.arguments.items():
            check(name, value, kinds.get(name, Any), name)
        # The method's own words come first; what it would have made a number of is caught afterwards.
        try:
            found = function(*given, **named)
        except ReelproofError:
            raise
        except Exception:
            _strictly(bound.arguments, kinds, own_words)
            raise
        if "Refused" not in type(found).__name__:
            _strictly(bound.arguments, kinds, own_words)
        return found

    return checking


@functools.cache
def kinds_of(function: Callable[..., Any]) -> dict[str, Any]:
    """The declared kind of each argument of a function."""
    return typing.get_type_hints(function)


def check(name: str, value: Any, kind: Any, where: str) -> None:
    """Refuse a value that no method can use for an argument of this name and kind.

    Args:
        name: the argument.
        value: what was handed in.
        kind: its declared kind.
        where: what the complaint calls it.

    Raises:
        MethodRefusal: it cannot be used.
    """
    kinds = _members(kind)
    if value is None and type(None) in kinds:
        return
    if words := _words(kind):
        if value not in words:
            raise MethodRefusal(
                Complaint(where, f"{value!r} is not known", f"Give one of: {', '.join(map(str, words))}")
            )
    elif is_row(kind):
        # What is worked with in our own arrays may be a table of many samples.
        _row("" if get_origin(kind) is np.ndarray else name, value, where)
    elif float in kinds and isinstance(value, Mapping) and any(get_origin(one) is Mapping for one in kinds):
        # A figure for each of several things, where one figure might stand for all of them.
        for key, one in value.items():
            _figure(name, one, f"{where} of {key}", whole=False)
    elif float in kinds or int in kinds:
        _figure(name, value, where, whole=float not in kinds)
    elif kind is str and not isinstance(value, str):
        raise MethodRefusal(Complaint(where, f"{value!r} is no word", "Give a word"))
    elif bool in kinds and not isinstance(value, bool | np.bool_):
        raise MethodRefusal(Complaint(where, f"{value!r} is neither true nor false", "Give true or false"))
    else:
        for key, one in _parts(value, kind):
            if isinstance(value, Mapping) or get_args(kind)[0] is float:
                _figure_or_row(name, one, f"{where} {key}")
            else:
                _row(name, one, f"{where} {key}")


@functools.cache
def _words(kind: Any) -> tuple[Any, ...]:
    return tuple(one for of in _members(kind) if get_origin(of) is Literal for one in get_args(of))


@functools.cache
def _members(kind: Any) -> tuple[Any, ...]:
    return get_args(kind) if get_origin(kind) in {types.UnionType, typing.Union} else (kind,)


@functools.cache
def _of_rows() -> frozenset[Any]:
    return frozenset(get_args(ArrayLike))


@functools.cache
def is_row(kind: Any) -> bool:
    """Whether an argument of this kind is a row or table of numbers.

    Args:
        kind: its declared kind.
    """
    if kind == ArrayLike or get_origin(kind) is np.ndarray:
        return True
    return get_origin(kind) is typing.Union and frozenset(get_args(kind)) - {type(None)} == _of_rows()


def _parts(value: Any, kind: Any) -> list[tuple[Any, Any]]:
    """The rows or figures of an argument that holds several, each with its number or name."""
    origin, of = get_origin(kind), get_args(kind)
    if origin is Sequence and of and (of[0] is float or is_row(of[0])):
        if isinstance(value, str | bytes) or not hasattr(value, "__len__"):
            raise MethodRefusal(Complaint("rows", f"{value!r:.40} is no list", "Give a list of numbers"))
        return list(enumerate(value, start=1))
    if (
        origin is Mapping
        and len(of) == 2
        and (of[1] is float or is_row(of[1]))
        and isinstance(value, Mapping)
    ):
        return list(value.items())
    return []


def _figure_or_row(name: str, value: Any, where: str) -> None:
    if np.ndim(value) > 0:
        _row(name, value, where)
    else:
        _figure(name, value, where, whole=False)


def _row(name: str, value: Any, where: str) -> None:
    try:
        row = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise MethodRefusal(
            Complaint(where, "holds something that is no number", "Give numbers only")
        ) from None
    if row.ndim > 1 and name in ROWS:
        raise MethodRefusal(
            Complaint(where, f"has {row.ndim} dimensions", "Give one row of numbers, one for each item")
        )


def _figure(name: str, value: Any, where: str, whole: bool) -> None:
    if np.ndim(value) > 0:
        return
    if isinstance(value, str | bytes) or not isinstance(value, Real | np.generic):
        raise MethodRefusal(Complaint(where, f"{value!r} is no number", "Give a number"))
    figure = float(value)
    if math.isnan(figure) and name not in OWN_WORDS:
        raise MethodRefusal(Complaint(where, "not-a-number was given", "Give a finite number"))
    if name in SHARES and not 0.0 < figure < 1.0:
        raise MethodRefusal(
            Complaint(where, f"{figure:g} was given", "Give a share between 0 and 1, such as 0.95 for 95 %")
        )
    if whole and (not math.isfinite(figure) or figure != math.floor(figure)):
        raise MethodRefusal(Complaint(where, f"{figure:g} is no whole number", "Give a whole number"))


def _strictly(arguments: Mapping[str, Any], kinds: Mapping[str, Any], own_words: bool) -> None:
    """Refuse what a method made a number of although it is unknown, without end or out of all range."""
    for name, value in arguments.items():
        kind = kinds.get(name, Any)
        of = _members(kind)
        if value is None:
            continue
        if is_row(kind):
            _known_and_finite(np.asarray(value, dtype=np.float64), name)
        elif isinstance(value, Real) and (float in of or int in of):
            # A length that may be left out stands beside the figure and is not worked with.
            beside = name == "known_m" and type(None) in of
            _in_range(name, float(value), own_words and name in OWN_WORDS and not beside)
        elif dataclasses.is_dataclass(value):
            _record_known(value, name)
        else:
            for key, one in _parts(value, kind):
                _known_and_finite(np.asarray(one, dtype=np.float64), f"{name} {key}")


def _record_known(record: Any, where: str) -> None:
    """Refuse a record handed in with a figure that is unknown, or without end where it is not an answer's."""
    for one in dataclasses.fields(record):
        figure = getattr(record, one.name)
        if not isinstance(figure, Real) or math.isfinite(figure):
            continue
        # The interval of an answer may have no end on its own side; a ratio over nothing has none either.
        if math.isnan(figure) or one.name not in MAY_HAVE_NO_END or figure == WRONG_SIDE.get(one.name):
            raise MethodRefusal(
                Complaint(f"{where}: {one.name}", f"{figure:g} was given", "Give a finite number")
            )


def _known_and_finite(row: np.ndarray[Any, Any], where: str) -> None:
    if np.isinf(row).any():
        number = int(np.flatnonzero(np.isinf(row))[0]) + 1
        raise MethodRefusal(
            Complaint(
                where,
                f"value {number} of {row.size} is infinite",
                "Values are finite numbers, or NaN where unknown; flag this one and ask again",
            )
        )
    if row.size and np.isnan(row).all():
        raise MethodRefusal(Complaint(where, "no value is known", "Give at least one known value"))


def _in_range(name: str, figure: float, exempt: bool) -> None:
    """Refuse a figure that no method can use by its name."""
    asked = None
    if not exempt and (math.isnan(figure) or (math.isinf(figure) and name not in ENDLESS)):
        asked = "Give a finite number"
    elif name in ABOVE_ZERO and figure <= 0.0:
        asked = "Give a number above 0"
    elif name in FROM_ZERO and figure < 0.0:
        asked = "Give a number from 0"
    elif name in UNIT_INTERVAL and not 0.0 <= figure <= 1.0:
        asked = "Give a share from 0 to 1"
    elif name in {"phi", "lag_one"} and not -1.0 < figure < 1.0:
        asked = "Give a correlation between -1 and 1"
    if asked:
        raise MethodRefusal(Complaint(name, f"{figure:g} was given", asked))
