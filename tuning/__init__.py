"""What to do about a machine: identify, design, judge, hand over, report."""

from tuning.design import RollDesign, design_for_roll
from tuning.fit_machine import fit_machine
from tuning.gains import Gains
from tuning.handover import Handover, handover
from tuning.identify import StepFit, fit_model
from tuning.machine_fit import MachineFit
from tuning.margins import Margins, loop_margins
from tuning.oscillation.explain import Explanation, explain_oscillation
from tuning.pretune import Pretune, pretune
from tuning.process_model import ProcessModel
from tuning.rules import RULES, suggest
from tuning.step_test import StepTest, step_test
from tuning.tolerance_results import ToleranceStudy
from tuning.tolerance_study import tolerance_study

__all__ = [
    "RULES",
    "Explanation",
    "Gains",
    "Handover",
    "MachineFit",
    "Margins",
    "Pretune",
    "ProcessModel",
    "RollDesign",
    "StepFit",
    "StepTest",
    "ToleranceStudy",
    "design_for_roll",
    "explain_oscillation",
    "fit_machine",
    "fit_model",
    "handover",
    "loop_margins",
    "pretune",
    "step_test",
    "suggest",
    "tolerance_study",
]
