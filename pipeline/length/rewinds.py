"""Where did this metre of a shipped length come from? Rewinding, splitting and joining, walked both ways.

Wire is paid off from the outer end, so a rewound length runs the other way round; rewound twice it runs the
first way again. A length on a package is a list of spans of line logs, from the core outwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.errors import Complaint, SheetError
from pipeline.length.reels import PlacedReel

_SHORTEST_M = 1e-6


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a run's wire, in the order it lies from the core outwards.

    Args:
        run: the run that made it.
        reel: the master reel it was first wound on.
        from_m: wire coordinate at its inner end [m].
        to_m: wire coordinate at its outer end [m]; below `from_m` where the wire runs the other way round.
    """

    run: str
    reel: str
    from_m: float
    to_m: float

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return abs(self.to_m - self.from_m)

    def turned(self) -> Span:
        """The same wire wound the other way round."""
        return Span(self.run, self.reel, self.to_m, self.from_m)

    def split(self, inner_m: float) -> tuple[Span, Span]:
        """Its inner part of length `inner_m` [m] and the rest."""
        way = 1.0 if self.to_m >= self.from_m else -1.0
        middle = self.from_m + way * inner_m
        return (
            Span(self.run, self.reel, self.from_m, middle),
            Span(self.run, self.reel, middle, self.to_m),
        )


@dataclass(frozen=True, slots=True)
class WirePlace:
    """A point of a run's wire: the run, its master reel, and the wire coordinate [m]."""

    run: str
    reel: str
    wire_m: float


@dataclass(frozen=True, slots=True)
class Package:
    """Wire on a reel, coil or drum.

    Args:
        id: the package.
        spans: what is wound on it, from the core outwards; two spans that do not continue each other are
            joined by a splice.
    """

    id: str
    spans: tuple[Span, ...]

    @property
    def length_m(self) -> float:
        """Length of wire on it [m]."""
        return sum(span.length_m for span in self.spans)

    def at_outer_m(self, from_outer_m: float) -> WirePlace:
        """The wire `from_outer_m` [m] from its outer end, as it is paid off."""
        return self.at_core_m(self.length_m - from_outer_m)

    def at_core_m(self, from_core_m: float) -> WirePlace:
        """The wire `from_core_m` [m] from its inner end.

        Raises:
            SheetError: there is no such length on the package.
        """
        if not -_SHORTEST_M <= from_core_m <= self.length_m + _SHORTEST_M:
            raise SheetError(
                Complaint(
                    f"package {self.id}",
                    f"there is no wire {from_core_m:.1f} m from its core",
                    f"It holds {self.length_m:.1f} m",
                )
            )
        left = max(from_core_m, 0.0)
        for span in self.spans[:-1]:
            if left <= span.length_m:
                break
            left -= span.length_m
        else:
            span = self.spans[-1]
        way = 1.0 if span.to_m >= span.from_m else -1.0
        return WirePlace(span.run, span.reel, span.from_m + way * min(left, span.length_m))

    def places_of(self, run: str, wire_m: float) -> tuple[float, ...]:
        """Distances from its outer end [m] at which the wire `wire_m` [m] of `run` lies; none if not here."""
        found, inner = [], 0.0
        for span in self.spans:
            low, high = min(span.from_m, span.to_m), max(span.from_m, span.to_m)
            if span.run == run and low - _SHORTEST_M <= wire_m <= high + _SHORTEST_M:
                found.append(self.length_m - (inner + abs(wire_m - span.from_m)))
            inner += span.length_m
        return tuple(found)

    @property
    def splices_m(self) -> tuple[float, ...]:
        """Distances from the outer end of the joints between lengths that were not made as one [m]."""
        joints, inner = [], 0.0
        for before, after in zip(self.spans[:-1], self.spans[1:], strict=True):
            inner += before.length_m
            if before.run != after.run or abs(before.to_m - after.from_m) > _SHORTEST_M:
                joints.append(self.length_m - inner)
        return tuple(joints)


def master_package(run: str, reel: str, from_m: float, to_m: float) -> Package:
    """A master reel as the line wound it: its first metre at the core.

    Args:
        run: the run.
        reel: the reel.
        from_m: first metre of its wire [m].
        to_m: last metre [m].
    """
    return Package(reel, (Span(run, reel, from_m, to_m),))


def rewind(
    source: Package, take_m: float, onto: str, start: Package | None = None
) -> tuple[Package, Package]:
    """Wind `take_m` from the outer end of `source` onto another package.

    Args:
        source: the package paid off.
        take_m: length taken [m]; all of it, to the millimetre, leaves the source empty.
        onto: id of the package wound.
        start: what lies on that package already; the new wire is spliced on outside it.

    Returns:
        What is left of the source, and the package wound.

    Raises:
        SheetError: the source does not hold that much.
    """
    if take_m <= 0 or take_m > source.length_m + 1e-3:
        raise SheetError(
            Complaint(
                f"package {source.id}",
                f"{take_m:.1f} m are to be taken from it",
                f"It holds {source.length_m:.1f} m; take more than 0 and no more than that",
            )
        )
    left, taken = min(take_m, source.length_m), []
    spans = list(source.spans)
    while spans and left > _SHORTEST_M:
        outer = spans.pop()
        if outer.length_m <= left + _SHORTEST_M:
            taken.append(outer.turned())
            left -= outer.length_m
        else:
            inner, part = outer.split(outer.length_m - left)
            taken.append(part.turned())
            spans.append(inner)
            left = 0.0
    already = start.spans if start is not None else ()
    return Package(source.id, tuple(spans)), Package(onto, _joined((*already, *taken)))


def _joined(spans: tuple[Span, ...]) -> tuple[Span, ...]:
    """Spans that continue each other made one."""
    whole: list[Span] = []
    for span in spans:
        last = whole[-1] if whole else None
        if last is not None and (last.run, last.reel) == (span.run, span.reel):
            one_way = (last.to_m - last.from_m) * (span.to_m - span.from_m) > 0
            if one_way and abs(last.to_m - span.from_m) <= _SHORTEST_M:
                whole[-1] = Span(last.run, last.reel, last.from_m, span.to_m)
                continue
        whole.append(span)
    return tuple(whole)


def where_is(packages: tuple[Package, ...], place: WirePlace) -> tuple[tuple[str, float], ...]:
    """Packages that hold a point of a run's wire, each with its distance from the outer end [m].

    Args:
        packages: packages to look through.
        place: the point, as on the master reel or the line log.
    """
    return tuple((one.id, at) for one in packages for at in one.places_of(place.run, place.wire_m))


@dataclass(frozen=True, slots=True)
class Rewind:
    """One rewinding of a plant, as written down: a length from one package wound onto another.

    Args:
        source: the package paid off.
        take_m: length taken from its outer end [m]; None for all that is left.
        onto: the package wound; wire that lies on it already is spliced to the new.
    """

    source: str
    take_m: float | None
    onto: str


def packages_after(
    run: str, reels: Sequence[PlacedReel], rewinds: Sequence[Rewind] = ()
) -> tuple[Package, ...]:
    """What lies on every package once a run's master reels were rewound, cut and joined as written down.

    Args:
        run: the run.
        reels: its reels as placed on the wire.
        rewinds: what was done with them, in the order it was done.

    Returns:
        The packages that hold wire, masters first; `where_is` and `Package.at_outer_m` walk between them and the
        run's wire.

    Raises:
        SheetError: a rewinding takes from a package that holds nothing, winds one onto itself, or takes too much.
    """
    shelf = {one.id: master_package(run, one.id, one.from_m, one.to_m) for one in reels}
    for number, step in enumerate(rewinds, start=1):
        source = shelf.get(step.source)
        if source is None or not source.spans or step.source == step.onto:
            held = ", ".join(name for name, one in shelf.items() if one.spans)
            found = "it is wound onto itself" if step.source == step.onto else "it holds no wire"
            raise SheetError(
                Complaint(
                    f"rewinding {number}, package {step.source}",
                    found,
                    f"These hold wire then: {held}; check the order of the rewindings and the numbers",
                )
            )
        take_m = source.length_m if step.take_m is None else step.take_m
        shelf[step.source], shelf[step.onto] = rewind(source, take_m, step.onto, shelf.get(step.onto))
    return tuple(one for one in shelf.values() if one.spans)
