"""All drills, in the order in which one learns them."""

from __future__ import annotations

from tuning.practice import (
    drills_events,
    drills_free,
    drills_handover,
    drills_manual,
    drills_trouble,
)
from tuning.practice.drill import Drill

DRILLS: dict[str, Drill] = {
    drill.key: drill
    for drill in (
        drills_manual.OUTPUT_FULL,
        drills_manual.OUTPUT_CORE,
        drills_manual.CRAWL_TO_SPEED,
        drills_handover.BUMPLESS,
        drills_handover.SETPOINT_OFF,
        drills_handover.TRACKING_OFF,
        drills_handover.AT_CRAWL,
        drills_handover.BRING_UP,
        drills_trouble.RINGING,
        drills_events.SPLICE,
        drills_events.FAST_STOP,
        drills_events.WEB_BREAK,
        drills_trouble.DRIFTED_ZERO,
        drills_trouble.STICKING,
        drills_free.FREE_RUN,
    )
}
