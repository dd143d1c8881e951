"""Fit the weights of the evidence to labelled trends, and write them down.

    .venv/bin/python tests/validation/fit_weights.py [how many trends]

The penalty is on the squares of the weights; weights are 0 or more, biases free. Where a trend has
two causes, the larger counts for three quarters.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.validation.study import BUILDING, NAMES, Case, cases
from tuning.oscillation.scores import BIAS

RIDGE = 2.0
# A value is near a log-likelihood ratio: what asks for much more says something of the generator.
MOST_WEIGHT = 1.5
MAIN_SHARE = 0.75
TARGET = Path(__file__).parents[2] / "tuning" / "oscillation" / "weights.py"
HEAD = '''"""Weights of the evidence, fitted to {count} labelled trends.

Written by tests/validation/fit_weights.py: not to be edited by hand.
The bias stands under the empty name.
"""

from __future__ import annotations
'''


def fit(found: list[Case], setting: str) -> dict[str, dict[str, float]]:
    """Return the weights that make the labels most likely."""
    layout = {cause: list(found[0].values[setting][cause]) for cause in NAMES}
    arrays = {
        cause: np.array([[case.values[setting][cause][n] for n in names] for case in found])
        for cause, names in layout.items()
    }
    target = np.zeros((len(found), len(NAMES)))
    for i, case in enumerate(found):
        shares = [1.0] if len(case.causes) == 1 else [MAIN_SHARE, 1.0 - MAIN_SHARE]
        for cause, share in zip(case.causes, shares, strict=True):
            target[i, NAMES.index(cause)] = share
    sizes = [1 + len(names) for names in layout.values()]
    starts = np.concatenate([[0], np.cumsum(sizes)])

    def loss(theta):
        logit = np.column_stack(
            [
                theta[starts[k]] + arrays[cause] @ theta[starts[k] + 1 : starts[k + 1]]
                for k, cause in enumerate(NAMES)
            ]
        )
        logit -= logit.max(axis=1, keepdims=True)
        raised = np.exp(logit)
        p = raised / raised.sum(axis=1, keepdims=True)
        value = -np.sum(target * np.log(p + 1e-300))
        slope = np.zeros_like(theta)
        for k, cause in enumerate(NAMES):
            off = p[:, k] - target[:, k]
            slope[starts[k]] = off.sum()
            slope[starts[k] + 1 : starts[k + 1]] = off @ arrays[cause]
        penalty = weights_only * theta
        return value + 0.5 * RIDGE * penalty @ theta, slope + RIDGE * penalty

    weights_only = np.ones(starts[-1])
    weights_only[starts[:-1]] = 0.01
    bounds = [(None, None) if i in starts[:-1] else (0.0, MOST_WEIGHT) for i in range(starts[-1])]
    first = np.where(weights_only == 1.0, 0.3, 0.0)
    best = minimize(loss, first, jac=True, bounds=bounds, method="L-BFGS-B",
                    options={"maxiter": 3000, "maxfun": 5000})  # fmt: skip
    return {
        cause: {
            name: round(float(best.x[starts[k] + j]), 3)
            for j, name in enumerate([BIAS, *layout[cause]])
        }
        for k, cause in enumerate(NAMES)
    }


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else len(BUILDING)
    found = cases(BUILDING[:count])
    text = HEAD.format(count=count)
    # Typed or recorded, a diameter is a diameter: "read off" has the weights of "with".
    for setting in ("with", "without"):
        text += f"\n{setting.upper()}_SCENARIO: dict[str, dict[str, float]] = {{\n"
        for cause, own in fit(found, setting).items():
            text += f'    "{cause}": {{\n'
            text += "".join(f'        "{name}": {value},\n' for name, value in own.items())
            text += "    },\n"
        text += "}\n"
    TARGET.write_text(text, encoding="utf-8")
    print(f"{TARGET.name} written")


if __name__ == "__main__":
    main()
