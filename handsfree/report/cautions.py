"""What every report says about itself and about danger, in the same words on page and paper."""

from __future__ import annotations

from handsfree.record.visit import VisitRecord

NOT_SAFE = (
    "This record shows what was measured, said and worked out. It does not state that the installation is safe: "
    "that judgement is the engineer’s."
)

CAUTIONS = (
    "Each measured value was read back, and saved only on an explicit yes; how it was confirmed stands beside it. "
    "Nothing was saved on silence.",
    "“Within” and “outside” hold one value against one limit. They say nothing about the installation as a whole.",
    "The maker’s instructions come first, then the standards and law in force where the boiler is; work on gas is for "
    "those who are competent and registered to do it.",
    # Emergency steps and number: the public advice of the gas emergency service of Great Britain.
    "If you smell gas: turn the gas off at the emergency control, touch no switches, no flames, open doors and "
    "windows, leave, and ring the gas emergency number: 0800 111 999 for natural gas in Great Britain; for LPG the "
    "supplier’s number, on the vessel or cylinder.",
    "If a carbon monoxide alarm sounds, or people feel unwell near the boiler: switch it off if that is quick, go "
    "outside, ring the same number, and get medical help.",
)


def state_of(record: VisitRecord) -> str:
    """Whether the visit was ended, and whether everything that must be answered was."""
    if not record.finished:
        return "The visit has not been ended."
    if record.complete:
        return "Every item that must be answered was answered."
    return "The visit was ended with items open: it is not complete."
