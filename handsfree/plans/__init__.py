"""Plans and jobs: TOML in, frozen data out, every complaint with its line."""

from handsfree.plans.job import Job, example_job, job_from_text, load_job
from handsfree.plans.plan import Plan, expectation_of
from handsfree.plans.read import load_plan, plan_from_text, plan_names

__all__ = [
    "Job",
    "Plan",
    "example_job",
    "expectation_of",
    "job_from_text",
    "load_job",
    "load_plan",
    "plan_from_text",
    "plan_names",
]
