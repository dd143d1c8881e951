"""From evidence to scores: a multinomial logit with one weight for each piece of evidence.

    score(cause) = exp(l(cause)) / sum of exp(l),    l(cause) = bias + Σ weight · value

Each value is near a log-likelihood ratio, so a weight of 1 would be Bayes' rule for independent
evidence; evidence is not independent, so the weights are fitted to labelled trends, none of them
negative (tests/validation/fit_weights.py). A logit that fits is calibrated on the trends that it
was fitted to, all causes equally often; tests/validation/report.py asks how it does on others.

On a real machine some trend is like none of those. So a share of all chance, `DOUBT`, is spread
evenly: no score gets above 95 %, and what is wrong is seldom wrong with much confidence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

# cause → name of the evidence → its value [nats] or weight [-]; the bias stands under "".
Values = Mapping[str, Mapping[str, float]]
BIAS = ""
DOUBT = 0.06


def contributions(values: Values, weights: Values) -> dict[str, dict[str, float]]:
    """Return what each piece of evidence adds to its cause [nats], bias left out.

    Args:
        values: of the evidence.
        weights: of the evidence.
    """
    return {
        cause: {name: weights[cause].get(name, 0.0) * value for name, value in own.items()}
        for cause, own in values.items()
    }


def scores(values: Values, weights: Values, *, doubt: float = DOUBT) -> dict[str, float]:
    """Return the score of each cause [-]; together they are 1.

    Args:
        values: of the evidence.
        weights: of the evidence, with the bias.
        doubt: share of the chance that is spread evenly [-].
    """
    added = contributions(values, weights)
    logit = {
        cause: weights[cause].get(BIAS, 0.0) + math.fsum(own.values())
        for cause, own in added.items()
    }
    top = max(logit.values())
    raised = {cause: math.exp(value - top) for cause, value in logit.items()}
    total = math.fsum(raised.values())
    even = doubt / len(raised)
    return {cause: (1.0 - doubt) * value / total + even for cause, value in raised.items()}
