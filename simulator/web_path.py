"""The web path laid out in the plane: exact where the scenario says so, free where it does not.

A scenario gives span lengths, diameters, and for the load-cell roller the wrap angle and the
direction of the resultant. Those are drawn as they are. How far the web turns at the other rollers,
and on which side it meets the roll, is not known: the layout tries many ways, outward from the
load-cell roller, and keeps the one that has the most air and still is compact.

Geometry: the web pulls a roller along the bisector of its two strands, so with wrap b and bisector
direction g the strands leave it in the directions g ± (90° - b/2).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from simulator.machine import diameter_range
from simulator.scenario import Scenario

# Directions that a free span may take, and wraps that a free roller may have [rad].
_COMPASS = tuple(math.radians(angle) for angle in range(0, 360, 30))
_LEAST_WRAP, _MOST_WRAP = math.radians(44), math.radians(151)
# Ways kept while an arm of the path grows [-]; a machine of three spans is tried out fully.
_KEPT = 24
# Gap that is wanted between bodies, as a share of the mean span [-].
_GAP = 0.25
# What a free span that stands upright costs [-]: people draw webs lying.
_TILT = 0.1

Point = complex  # x + j y [m]


@dataclass(frozen=True)
class Wheel:
    """A roll or roller, walked over from the roll to the nip.

    Attributes:
        centre: x + j y [m].
        radius: [m].
        side: +1 if the walk goes round it to the left (counterclockwise), -1 to the right [-].
    """

    centre: Point
    radius: float
    side: int


@dataclass(frozen=True)
class Strand:
    """A straight, free length of web, from its end nearer the roll.

    Attributes:
        start: x + j y [m].
        end: x + j y [m].
    """

    start: Point
    end: Point

    @property
    def direction(self) -> complex:
        """Unit vector from start to end [-]."""
        return (self.end - self.start) / abs(self.end - self.start)


# Bodies with their places along the web: wheels even, strands odd.
_Chain = list[tuple[int, Wheel | Strand]]


@dataclass(frozen=True)
class WebPath:
    """A layout of the machine in the plane.

    Attributes:
        roll: the roll, at its full diameter.
        rollers: from the roll to the nip.
        spans: from the roll to the nip, one more than rollers.
        nip: the two rollers that pinch the web at line speed.
        load_cell: index of the roller on load cells [-].
        beyond: short ends of web beyond the nip and, for a pull roll, on its far side.
        clearance: least gap between bodies that are not neighbours [m]; below 0 they overlap.
    """

    roll: Wheel
    rollers: tuple[Wheel, ...]
    spans: tuple[Strand, ...]
    nip: tuple[Wheel, Wheel]
    load_cell: int
    beyond: tuple[Strand, ...]
    clearance: float

    def wrap(self, roller: int) -> tuple[float, float]:
        """Return (start, sweep) of the web's contact on a roller [rad], sweep signed.

        Args:
            roller: index, counted from the roll [-].
        """
        wheel, before, after = self.rollers[roller], self.spans[roller], self.spans[roller + 1]
        turn = cmath.phase(after.direction / before.direction) % (2.0 * math.pi)
        sweep = turn if wheel.side > 0 else turn - 2.0 * math.pi
        return cmath.phase(before.end - wheel.centre), sweep


@lru_cache(maxsize=32)
def lay_out(scenario: Scenario) -> WebPath:
    """Return the clearest layout found for a machine's web path.

    Args:
        scenario: the machine.
    """
    cell = next(i for i, roller in enumerate(scenario.roller) if roller.load_cell)
    size = math.fsum(span.length for span in scenario.span) / len(scenario.span)
    found = []
    for side in (1, -1):
        wheel = Wheel(0j, 0.5 * scenario.roller[cell].diameter, side)
        to_roll, to_nip = _strands(scenario, side)
        # Walked outward, an arm towards the roll goes round the load-cell roller the other way.
        back = _Arm((replace(wheel, side=-side),), (), to_roll)
        ahead = _Arm((wheel,), (), to_nip)
        first = ahead.strand(scenario.span[cell + 1].length)
        arms = _roll_arms(scenario, replace(back, behind=((-1, first),)), cell, size)
        # The arm towards the nip then grows around each of the best of these.
        for arm in arms[: max(2, _KEPT // len(scenario.roller))]:
            around = replace(ahead, behind=tuple((-place, body) for place, body in arm.chain()))
            found += [
                (_joined(arm, other, cell), arm.tilt + other.tilt)
                for other in _nip_arms(scenario, around, cell, size)
            ]

    def cost(candidate: tuple[WebPath, float]) -> float:
        path, tilt = candidate
        # Where nothing else decides, the web runs from left to right, as people draw it.
        run = (path.spans[-1].end - path.roll.centre).real
        backward = (run < 0.0) == (scenario.zone == "unwind")
        return _cost(_bodies(path), size) + _TILT * tilt + 0.05 * backward

    return min(found, key=cost)[0]


def _strands(scenario: Scenario, side: int) -> tuple[complex, complex]:
    """Directions in which the strands leave the load-cell roller, towards roll and nip."""
    cell = scenario.load_cell
    half = side * (0.5 * math.pi - 0.5 * cell.wrap_angle)
    return cmath.rect(1.0, cell.bisector_angle + half), cmath.rect(1.0, cell.bisector_angle - half)


@dataclass(frozen=True)
class _Arm:
    """Part of a layout, walked outward from the load-cell roller, which is its first wheel."""

    wheels: tuple[Wheel, ...]
    spans: tuple[Strand, ...]
    heading: complex
    nip: tuple[Wheel, ...] = ()
    tilt: float = 0.0
    # What stands on the other side of the load-cell roller, at places below 0.
    behind: tuple[tuple[int, Wheel | Strand], ...] = ()

    def chain(self) -> _Chain:
        """The arm's bodies with their places, the load-cell roller left out."""
        chain: _Chain = [(2 * i, w) for i, w in enumerate(self.wheels) if i > 0]
        chain += [(2 * i + 1, s) for i, s in enumerate(self.spans)]
        return chain + [(2 * len(self.wheels), w) for w in self.nip]

    def strand(self, length: float) -> Strand:
        last = self.wheels[-1]
        start = last.centre - 1j * last.side * last.radius * self.heading
        return Strand(start, start + length * self.heading)

    def grown(self, length: float, radius: float) -> Iterator[_Arm]:
        """Add a span and a wheel, on both sides, with every heading that it may turn to."""
        span = self.strand(length)
        for side in (1, -1):
            wheel = Wheel(span.end + 1j * side * radius * self.heading, radius, side)
            for angle in _COMPASS:
                heading = cmath.rect(1.0, angle)
                wrap = side * cmath.phase(heading / self.heading) % (2.0 * math.pi)
                if _LEAST_WRAP <= wrap <= _MOST_WRAP:
                    yield replace(
                        self, wheels=(*self.wheels, wheel), spans=(*self.spans, span),
                        heading=heading, tilt=self.tilt + abs(heading.imag),
                    )  # fmt: skip


def _nip_arms(scenario: Scenario, arm: _Arm, cell: int, size: float) -> list[_Arm]:
    arms = [arm]
    for i in range(cell + 1, len(scenario.roller)):
        length, radius = scenario.span[i].length, 0.5 * scenario.roller[i].diameter
        arms = _best([new for old in arms for new in old.grown(length, radius)], size)
    last = scenario.span[-1].length
    radius = min(0.1 * size, 0.3 * last)
    done = []
    for old in arms:
        span = old.strand(last)
        pair = tuple(Wheel(span.end + 1j * s * radius * old.heading, radius, s) for s in (1, -1))
        beyond = Strand(span.end, span.end + 0.3 * size * old.heading)
        done.append(replace(old, spans=(*old.spans, span, beyond), nip=pair))
    return _best(done, size)


def _roll_arms(scenario: Scenario, arm: _Arm, cell: int, size: float) -> list[_Arm]:
    arms = [arm]
    for i in range(cell - 1, -1, -1):
        length, radius = scenario.span[i + 1].length, 0.5 * scenario.roller[i].diameter
        arms = _best([new for old in arms for new in old.grown(length, radius)], size)
    length, radius = scenario.span[0].length, 0.5 * diameter_range(scenario)[1]
    done = []
    for old in arms:
        if scenario.zone == "pull roll":
            for new in old.grown(length, radius):
                done.append(replace(new, spans=(*new.spans, new.strand(0.3 * size + radius))))
        else:
            span = old.strand(length)
            for side in (1, -1):
                roll = Wheel(span.end + 1j * side * radius * old.heading, radius, side)
                done.append(replace(old, wheels=(*old.wheels, roll), spans=(*old.spans, span)))
    return _best(done, size)


def _best(arms: list[_Arm], size: float) -> list[_Arm]:
    def cost(arm: _Arm) -> float:
        chain = [*arm.behind, (0, arm.wheels[0]), *arm.chain()]
        return _cost(chain, size) + _TILT * arm.tilt

    return sorted(arms, key=cost)[:_KEPT]


def _joined(back: _Arm, ahead: _Arm, cell: int) -> WebPath:
    """Make one path of an arm to the roll and an arm to the nip; both begin at the same wheel."""
    wheels = [replace(wheel, side=-wheel.side) for wheel in back.wheels[::-1]]
    spans = [Strand(span.end, span.start) for span in back.spans[::-1]]
    # A pull roll has one more strand, on its far side.
    far = spans[: len(spans) - cell - 1]
    path = WebPath(
        roll=wheels[0],
        rollers=(*wheels[1:], *ahead.wheels[1:]),
        spans=(*spans[len(far) :], *ahead.spans[:-1]),
        nip=(ahead.nip[0], ahead.nip[1]),
        load_cell=cell,
        beyond=(ahead.spans[-1], *far),
        clearance=0.0,
    )
    return replace(path, clearance=float(_gaps(_bodies(path)).min()))


def _bodies(path: WebPath) -> _Chain:
    """Everything in a layout with its place along the web: wheels even, strands odd."""
    places: _Chain = [(2 * i, w) for i, w in enumerate((path.roll, *path.rollers))]
    places += [(2 * i + 1, s) for i, s in enumerate(path.spans)]
    places += [(2 * len(path.spans), w) for w in path.nip]
    ends = (2 * len(path.spans) + 1, -1)
    return places + list(zip(ends, path.beyond, strict=False))


def _gaps(chain: _Chain) -> NDArray[np.float64]:
    """Gaps between all pairs that do not touch by their nature, shape (pairs,) [m].

    Every body is a segment with a thickness; a wheel's segment has no length.
    """
    place = np.array([where for where, _ in chain])
    a = np.array([b.centre if isinstance(b, Wheel) else b.start for _, b in chain])
    b = np.array([b.centre if isinstance(b, Wheel) else b.end for _, b in chain])
    thick = np.array([b.radius if isinstance(b, Wheel) else 0.0 for _, b in chain])
    i, j = np.triu_indices(len(chain), 1)
    apart = np.abs(place[i] - place[j])
    # Neighbours touch; so do two strands that share a wheel, where the web wraps it by 180°.
    free = (apart > 2) | ((apart == 2) & (place[i] % 2 == 0))
    i, j = i[free], j[free]
    if not i.size:
        return np.array([np.inf])
    return np.asarray(_segment_distance(a[i], b[i], a[j], b[j]) - thick[i] - thick[j])


_Points = NDArray[np.complex128]


def _segment_distance(a: _Points, b: _Points, c: _Points, d: _Points) -> NDArray[np.float64]:
    """Distances between segments ab and cd, elementwise [m]; 0 where they cross."""
    ends = [_point_distance(*pair) for pair in ((a, c, d), (b, c, d), (c, a, b), (d, a, b))]
    nearest = np.min(ends, axis=0)

    def turn(p: _Points, q: _Points, r: _Points) -> NDArray[np.float64]:
        return np.asarray(np.imag((q - p).conjugate() * (r - p)))

    cross = (turn(a, b, c) * turn(a, b, d) < 0.0) & (turn(c, d, a) * turn(c, d, b) < 0.0)
    return np.where(cross, 0.0, nearest)


def _point_distance(p: _Points, a: _Points, b: _Points) -> NDArray[np.float64]:
    """Distances from points p to segments ab, elementwise [m]."""
    along = b - a
    square = np.maximum(np.abs(along) ** 2, 1e-300)
    share = np.clip(np.real((p - a) * along.conjugate()) / square, 0.0, 1.0)
    return np.asarray(np.abs(p - a - share * along))


def _cost(chain: _Chain, size: float) -> float:
    """How crowded and how sprawling a layout is [-]; small is good."""
    shortage = np.maximum(1.0 - _gaps(chain) / (_GAP * size), 0.0)
    crowded = float(np.sum(shortage**2) + 10.0 * np.count_nonzero(shortage >= 1.0))
    ends = np.array([b.centre if isinstance(b, Wheel) else b.end for _, b in chain])
    width, height = np.ptp(ends.real), np.ptp(ends.imag)
    # A page is wide.
    return crowded + float(0.1 * width + 0.2 * height) / size
