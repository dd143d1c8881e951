"""What the work puts on a load cell, and what cells of one rating can tell of the tension.

As load on the cell that has most of it (web that runs off the middle by a share f of the distance
between the ends loads the nearer end with 1/2 + f of its part, lever law; the cells of one end
share alike, and a single cell carries the whole roller, as on a cantilever):

    in work          shock factor k: the worst of k (w + F), k F + w, k w   against its rating
    pulled suddenly  w + 2 F: a load put on at once swings to twice itself  against its overload
    web breaks       w - F: the roller springs back by as much
    web jams         w + F at the tension that breaks the web
    knock            w + sqrt(w² + 2 k m g h): the roller let down from h onto cells of stiffness k

(The last four follow from energy on an undamped spring, in any textbook of strength of materials;
F is the web's part along the sensing axis, w the weight's.) What a cell can tell of tension:

    step             measured scale / 2^bits, or the reading's own step if that is coarser
    noise            what the reading has; the amplifier's part grows with the rating
    smallest change  that is seen at a glance: the step, or 6.6 rms, which holds 99.9 % of noise
    zero by heat     shares of the rating, as tension; so is the combined error
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.cell_forces import (
    STANDARD_GRAVITY,
    forces_on,
    load_per_tension,
    tension_per_rated_share,
)
from simulator.data_sheet import cell_signal, data_sheet, reading_step
from simulator.scenario import Scenario
from simulator.sensing_and_control import DataSheet

BARE, RUNNING, IN_WORK = "nothing on the roller", "running tension", "highest tension in work"
PULLED, BROKEN = "web pulled suddenly", "web breaks, roller springs back"
# Rare, and seldom borne by any cell of a useful size: stops are the answer, not a larger cell.
JAM = "web jams and pulls to its breaking tension"
# Peak to peak over rms of normal noise: 99.9 % lie within.
PEAK_TO_PEAK = 6.6


@dataclass(frozen=True)
class LoadCase:
    """What one event puts on the cell that has most of it.

    Attributes:
        name: of the event.
        tension: of the web in it [N]; nan where it needs none.
        load: on the cell, in the sense in which the web pulls [N].
        allowed: what it is held against, in shares of the rating [-]: 1 in work, the overload else.
    """

    name: str
    tension: float
    load: float
    allowed: float


@dataclass(frozen=True)
class RatingChoice:
    """What cells of one rating would bear and tell.

    Attributes:
        rated_load: of each cell [N].
        web_share_least: the web's part at the least tension, of the rating [%].
        web_share: the same at running tension [%].
        load_share: load in work at the highest tension, no shock, of the rating [%].
        signal: change of a cell's signal from no web to running tension [V].
        step: of the reading, in tension [N].
        noise: of the reading, rms, in tension [N].
        smallest_change: of the tension that is seen at a glance [N].
        zero_by_heat: how far heat moves the zero, in tension [N]; nan where the sheet is silent.
        error: combined error of the cells, in tension [N]; nan where the sheet is silent.
        own_frequency: at which the roller swings on its cells [Hz]; nan where the sheet is silent.
        too_much: names of the events that it does not bear.
    """

    rated_load: float
    web_share_least: float
    web_share: float
    load_share: float
    signal: float
    step: float
    noise: float
    smallest_change: float
    zero_by_heat: float
    error: float
    own_frequency: float
    too_much: tuple[str, ...]

    @property
    def bears_work(self) -> bool:
        """Whether it bears the highest tension with its shocks, put on and taken off at once."""
        return not {BARE, RUNNING, IN_WORK, PULLED, BROKEN} & set(self.too_much)

    @property
    def needs_stops(self) -> bool:
        """Whether stops must take the load off it in a jam."""
        return JAM in self.too_much


@dataclass(frozen=True)
class CellDuty:
    """The work that cells of any rating would have on one machine.

    Attributes:
        scenario: the machine.
        least: lowest tension that is to be measured [N].
        highest: highest tension that is to be measured [N].
        shock_factor: on the load in work [-].
        web_off_middle: how far the web runs off the middle, of the distance between the ends [-].
        knock_height: from which the roller may be let down onto its cells [m].
        warmer_by: change of temperature that moves the zero [K].
    """

    scenario: Scenario
    least: float
    highest: float
    shock_factor: float
    web_off_middle: float
    knock_height: float
    warmer_by: float

    @property
    def sheet(self) -> DataSheet:
        """The data sheet; usual values where the machine's file has none."""
        return data_sheet(self.scenario)

    def _on_one(self, web: float, weight: float) -> float:
        """Load on the cell that has most of it, of the web's and the weight's part [N]."""
        cells = self.scenario.load_cell.cells
        share = 1.0 if cells == 1 else (1.0 + 2.0 * self.web_off_middle) / cells
        return share * web + weight / cells

    def cases(self, rating: float) -> tuple[LoadCase, ...]:
        """Return what the work puts on a cell.

        Args:
            rating: of each cell; stiffer cells take a knock harder [N].
        """
        cell, sheet = self.scenario.load_cell, self.sheet
        per, weight = load_per_tension(cell), forces_on(cell, 0.0).weight_load
        bears = 0.01 * sheet.overload

        def case(name: str, tension: float, times: float, allowed: float = bears) -> LoadCase:
            return LoadCase(name, tension, self._on_one(times * per * tension, weight), allowed)

        k, bare = self.shock_factor, self._on_one(0.0, weight)
        # Where weight and web oppose, a shock of the web alone, or the bare roller, may be worse.
        full = self._on_one(per * self.highest, weight)
        shaken = self._on_one(k * per * self.highest, weight)
        work = max(k * full, shaken, k * bare, key=abs)
        found = [
            LoadCase(BARE, math.nan, bare, 1.0),
            case(RUNNING, self.scenario.run.tension, 1.0, allowed=1.0),
            LoadCase(IN_WORK, self.highest, work, 1.0),
            case(PULLED, self.highest, 2.0),
            case(BROKEN, self.highest, -1.0),
        ]
        breaking = self.scenario.web.breaking_tension
        if breaking is not None:
            found.append(case(JAM, breaking, 1.0))
        if sheet.deflection is not None and self.knock_height > 0.0:
            energy = cell.roller_mass * STANDARD_GRAVITY * self.knock_height
            peak = abs(weight) + math.sqrt(weight**2 + 2.0 * self._stiffness(rating) * energy)
            name = f"knock, as let down from {1e3 * self.knock_height:.3g} mm"
            found.append(LoadCase(name, math.nan, peak / cell.cells, bears))
        return tuple(found)

    def choice(self, rating: float) -> RatingChoice:
        """Return what cells of a rating would bear and tell.

        Args:
            rating: of each cell [N].
        """
        s, sheet = self.scenario, self.sheet
        cell = s.load_cell
        per = load_per_tension(cell)
        # Tension that the whole rating stands for.
        span = tension_per_rated_share(cell) * rating / cell.rated_load
        signal, step = self._signal(rating), reading_step(s)
        noise = math.hypot(self._other_noise(), sheet.amplifier_noise / signal)
        weight = forces_on(cell, 0.0).weight_load
        full = self._on_one(per * self.highest, weight)
        frequency = math.nan
        if sheet.deflection is not None and cell.roller_mass > 0.0:
            frequency = math.sqrt(self._stiffness(rating) / cell.roller_mass) / (2.0 * math.pi)
        return RatingChoice(
            rated_load=rating,
            web_share_least=100.0 * self._on_one(per * self.least, 0.0) / rating,
            web_share=100.0 * self._on_one(per * s.run.tension, 0.0) / rating,
            load_share=100.0 * full / rating,
            signal=signal * s.run.tension,
            step=step,
            noise=noise,
            smallest_change=max(step, PEAK_TO_PEAK * noise),
            zero_by_heat=_of_rating(sheet.zero_temperature, span) * self.warmer_by,
            error=_of_rating(sheet.combined_error, span),
            own_frequency=frequency,
            too_much=tuple(
                case.name for case in self.cases(rating) if abs(case.load) > case.allowed * rating
            ),
        )

    def _other_noise(self) -> float:
        """Noise of the reading that does not come from the amplifier [N]."""
        cell = self.scenario.load_cell
        amplifier = self.sheet.amplifier_noise / self._signal(cell.rated_load)
        return math.sqrt(max(cell.noise**2 - amplifier**2, 0.0))

    def _signal(self, rating: float) -> float:
        """Signal of a cell of a rating for each newton of tension [V/N]."""
        cell = self.scenario.load_cell
        return 1e-3 * cell_signal(self.sheet, load_per_tension(cell) / cell.cells, rating)

    def _stiffness(self, rating: float) -> float:
        """Stiffness of all cells together [N/m]; inf where the sheet is silent."""
        given = self.sheet.deflection
        return math.inf if given is None else self.scenario.load_cell.cells * rating / given


def _of_rating(share: float | None, span: float) -> float:
    return math.nan if share is None else 0.01 * share * span
