"""The few errors of this package; each message says what to change."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a scenario.

    Attributes:
        file: name of the file, or of what was read instead.
        key: dotted path as in the file, such as roll.core_diameter or span[2].length, counted
            from 1; empty if the whole file is at fault.
        value: what was given, as text; empty if nothing was.
        allowed: what is allowed there.
    """

    file: str
    key: str
    value: str
    allowed: str

    def __str__(self) -> str:
        parts = [part for part in (self.file, self.key) if part]
        given = f" = {self.value}" if self.value else ""
        # One line whatever the file holds: a name or a key may have line ends of its own.
        return " ".join(f"{': '.join(parts)}{given}: {self.allowed}".splitlines())


class ScenarioError(ValueError):
    """A scenario can't be used; `faults` lists everything that is wrong with it."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class SimulationError(ValueError):
    """A run was asked for that makes no sense or would take too long."""
