"""How often the explanation is right, and whether its scores are the chances they claim to be.

    .venv/bin/python tests/validation/report.py [how many trends]

Prints for trends that no weight was fitted to: shares right, confidently wrong, false alarms, the
confusion matrix and the reliability curve, in three settings. DEVELOPERS.md keeps
what it printed. The answer is the verdict: "cannot tell" where no score reaches
`SURE_ENOUGH`; a false alarm is a cause named for a quiet trend.
"""

import itertools
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.validation.study import NAMES, REPORTING, SETTINGS, Case, cases
from tuning.oscillation import weights
from tuning.oscillation.causes import CANNOT_TELL, NONE
from tuning.oscillation.explain import SURE_ENOUGH, verdict_of
from tuning.oscillation.scores import scores

CONFIDENT = 0.8
BINS = (0.0, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0)
WEIGHTS = {
    "read off": weights.WITH_SCENARIO,
    "with": weights.WITH_SCENARIO,
    "without": weights.WITHOUT_SCENARIO,
}
TITLES = {
    "read off": "with the scenario, and diameter and speed read off the machine if not recorded",
    "with": "with the scenario, nothing but what is recorded",
    "without": "without a scenario",
}


def judged(found: list[Case], setting: str, table=None) -> list[tuple[Case, str, float]]:
    """Return each case with the verdict and the highest score."""
    rows = []
    for case in found:
        own = scores(case.values[setting], table or WEIGHTS[setting])
        rows.append((case, verdict_of(own), max(own.values())))
    return rows


def shares(rows) -> str:
    """Return the figures that the project aims at."""
    right = np.array([top in case.causes for case, top, _ in rows])
    score = np.array([s for *_, s in rows])
    quiet = np.array([case.causes == (NONE,) for case, *_ in rows])
    called = np.array([top == NONE for _, top, _ in rows])
    alarm = np.array([top not in (NONE, CANNOT_TELL) for _, top, _ in rows])
    unsure = score < SURE_ENOUGH
    named = ~unsure & np.array([top != CANNOT_TELL for _, top, _ in rows])
    return (
        f"| {len(rows)} | {100 * right.mean():.1f} % | {100 * right[named].mean():.1f} % | "
        f"{100 * np.mean(~right & (score > CONFIDENT)):.2f} % | "
        f"{100 * alarm[quiet].mean():.1f} % | {100 * quiet[called].mean():.1f} % | "
        f"{100 * unsure.mean():.1f} % |"
    )


def confusion(rows) -> str:
    """Return the confusion matrix: a row for each true cause, in % of its trends."""
    lines = [
        "| true cause (trends) | " + " | ".join(NAMES) + " |",
        "|---" * (len(NAMES) + 1) + "|",
    ]
    for name in NAMES:
        own = [top for case, top, _ in rows if case.causes[0] == name]
        cells = [100.0 * own.count(other) / max(len(own), 1) for other in NAMES]
        text = " | ".join(f"{cell:.0f}" if cell >= 0.5 else "" for cell in cells)
        lines.append(f"| {name} ({len(own)}) | {text} |")
    return "\n".join(lines)


def reliability(rows) -> str:
    """Return mean score and share right in bins of the top score."""
    lines = ["| top score | trends | mean score | right |", "|---|---|---|---|"]
    score = np.array([s for *_, s in rows])
    right = np.array([top in case.causes for case, top, _ in rows])
    for low, high in itertools.pairwise(BINS):
        own = (score > low) & (score <= high)
        if own.any():
            lines.append(
                f"| {low:g} to {high:g} | {own.sum()} | {score[own].mean():.2f} | "
                f"{right[own].mean():.2f} |"
            )
    return "\n".join(lines)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else len(REPORTING)
    found = cases(REPORTING[:count])
    for setting in SETTINGS:
        rows = judged(found, setting)
        print(f"\n{TITLES[setting][:1].upper()}{TITLES[setting][1:]}\n")
        print(
            "| trends | answer right | right where a cause is named | wrong with a score above "
            f"{CONFIDENT} | false alarms on quiet trends | quiet among those called quiet | "
            f"no score above {SURE_ENOUGH} |"
        )
        print("|---" * 7 + "|")
        print(shares(rows), "\n")
        print(confusion(rows), "\n")
        print(reliability(rows))


if __name__ == "__main__":
    main()
