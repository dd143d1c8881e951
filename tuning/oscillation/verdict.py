"""From scores to an answer in words."""

from __future__ import annotations

# A cause is named from this score on; below it the answer is that the record can't tell [-].
SURE_ENOUGH = 0.5
