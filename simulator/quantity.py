"""A physical value of a scenario: its SI unit, its limits and what it means.

The annotation of a section's attribute; pydantic validates with it, forms and messages read it.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Annotated, Any, get_args, get_type_hints

from pydantic import ConfigDict, Field, ValidationInfo
from pydantic_core import CoreSchema, core_schema

from simulator.units import examples, parse_quantity, readable

SETTINGS = ConfigDict(extra="forbid")
FROM_FILE = {"from_file": True}


@dataclasses.dataclass(frozen=True)
class Quantity:
    """A physical value: its SI unit, its limits and what it means, for validation and for forms.

    Attributes:
        unit: SI unit, "%" or "%/s" for what is in per cent, "" for a plain number.
        low: least value allowed [unit].
        high: largest value allowed [unit].
        meaning: one plain line.
        above: whether the value must be above `low`, not just equal to it.
    """

    unit: str
    low: float
    high: float
    meaning: str
    above: bool = False

    @property
    def allowed(self) -> str:
        """The limits in words."""
        low, high = readable(self.low, self.unit), readable(self.high, self.unit)
        if self.above:
            return f"must be above {low} and at most {high}"
        return f"must lie between {low} and {high}"

    def _read(self, value: Any, info: ValidationInfo) -> float:
        if isinstance(value, str) and self.unit:
            number = parse_quantity(value, self.unit)
        elif self.unit and info.context and info.context.get("from_file"):
            raise ValueError(f"must be text with a unit ({examples(self.unit)})")
        elif isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"must be a number{f' in {self.unit}' if self.unit else ''}")
        else:
            number = float(value) if abs(value) < 1e300 else math.inf
        low_enough = number > self.low if self.above else number >= self.low
        if not (low_enough and number <= self.high):
            raise ValueError(self.allowed)
        return number

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Tell pydantic to read the value with `_read`."""
        return core_schema.with_info_plain_validator_function(self._read)


Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, Field(strict=True, max_length=500)]


def quantities(section: type) -> dict[str, Quantity]:
    """Return the physical values of a section by key, with unit, limits and meaning."""
    found = {}
    for name, hint in get_type_hints(section, include_extras=True).items():
        options = (hint, *get_args(hint))
        for option in options:
            for extra in getattr(option, "__metadata__", ()):
                if isinstance(extra, Quantity):
                    found[name] = extra
    return found
