"""The restocking plan, for reports: what to bring where, what it is expected to do, and what would do more.

This is the door. The parts: ``restock_terms`` (words), ``restock_plan`` (the plan), ``restock_value`` (what one more
would bring, comparisons), ``restock_even`` (fair shares), ``restock_exact`` (shared budget and vehicle),
``restock_lines`` and ``restock_checks`` (what is asked with), ``restock_loss`` (requests unmet), ``restock_score``.
"""

from tracker.measures.restock_even import equal_run_out, max_min
from tracker.measures.restock_plan import plan, plans
from tracker.measures.restock_score import Plan, Used
from tracker.measures.restock_terms import (
    AIM_WORDS,
    ENOUGH_BELOW,
    Aim,
    InfeasiblePlan,
    Limited,
    Limits,
    Method,
    Reason,
    Shortfall,
)
from tracker.measures.restock_value import at_risk, flat, habit, worth

__all__ = [
    "AIM_WORDS",
    "ENOUGH_BELOW",
    "Aim",
    "InfeasiblePlan",
    "Limited",
    "Limits",
    "Method",
    "Plan",
    "Reason",
    "Shortfall",
    "Used",
    "at_risk",
    "equal_run_out",
    "flat",
    "habit",
    "max_min",
    "plan",
    "plans",
    "worth",
]
