"""Care plans: agreed once, then the program books each visit when the deck is ready and tells the
client in time to say no."""

from reminders.care_plans.agreeing import (
    CarePlanError,
    CarePlanTerms,
    end_care_plan,
    refuse_plan_visit,
    resume_care_plan,
    start_care_plan,
)
from reminders.care_plans.proposing import propose_plan_visits

__all__ = [
    "CarePlanError",
    "CarePlanTerms",
    "end_care_plan",
    "propose_plan_visits",
    "refuse_plan_visit",
    "resume_care_plan",
    "start_care_plan",
]
