"""The copy of the plan that a visit's folder keeps: the plan, and the hash that shows it is the one the visit followed."""

from __future__ import annotations

import hashlib
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.plans import load_plan
from handsfree.plans.plan import Plan
from handsfree.record.folder import PLAN


def read_kept_plan(path: Path) -> tuple[Plan | None, str]:
    """The plan kept in a visit's folder; None with a remark when it cannot be used."""
    kept = path / PLAN
    if not kept.is_file():
        return None, f"the folder holds no {PLAN}: items are named by their ids"
    try:
        return load_plan(kept), ""
    except BadInput as error:
        return None, f"{PLAN} cannot be used ({error.message}): items are named by their ids"


def plan_hash(path: Path) -> str:
    """sha256 of the plan kept in a visit's folder; empty when there is none."""
    try:
        return hashlib.sha256((path / PLAN).read_bytes()).hexdigest()
    except OSError:
        return ""
