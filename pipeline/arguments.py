"""What every public function of the statistics may be handed: one check, by each argument's declared kind and name.

A function's own rules (how many readings, which side of a threshold) stay with it.
"""

from __future__ import annotations

import functools
import inspect
import math
import types
import typing
from collections.abc import Callable, Mapping
from numbers import Real
from typing import Any, Literal, ParamSpec, TypeVar, get_args, get_origin

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import Complaint, MethodRefusal

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


def checked(function: Callable[P, R]) -> Callable[P, R]:
    """The function, its arguments checked first.

    Raises:
        MethodRefusal: by the function made, for an argument no method can use.
    """
    signature = inspect.signature(function)

    @functools.wraps(function)
    def checking(*given: P.args, **named: P.kwargs) -> R:
        kinds = kinds_of(function)
        try:
            bound = signature.bind(*given, **named)
        except TypeError:
            return function(*given, **named)
        for name, value in bound.arguments.items():
            check(name, value, kinds.get(name, Any), name)
        return function(*given, **named)

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
    kinds = get_args(kind) if get_origin(kind) in {types.UnionType, typing.Union} else (kind,)
    if value is None and type(None) in kinds:
        return
    words = [one for kind_of in kinds if get_origin(kind_of) is Literal for one in get_args(kind_of)]
    if words:
        if value not in words:
            raise MethodRefusal(
                Complaint(where, f"{value!r} is not known", f"Give one of: {', '.join(map(str, words))}")
            )
    elif kind == ArrayLike:
        _row(name, value, where)
    elif isinstance(value, Mapping) and any(get_origin(one) is Mapping for one in kinds):
        # A figure for each of several things, where one figure might stand for all of them.
        for key, one in value.items():
            if float in kinds:
                _figure(name, one, f"{where} of {key}", whole=False)
    elif float in kinds or int in kinds:
        _figure(name, value, where, whole=float not in kinds)


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
