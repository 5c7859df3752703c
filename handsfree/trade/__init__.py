"""Readings in, results and verdicts out: the engineer's sums, with their sources, their spread and their limits.

`work_out(name, given)` computes, `computations()` lists what there is, `trade_limit(id, on)` finds a limit,
`judge(value, limit, spread)` holds a value against it. Nothing here says that an installation is safe.
"""

from handsfree.trade.computations import computations, work_out
from handsfree.trade.limits import judge, trade_limit

__all__ = ["computations", "judge", "trade_limit", "work_out"]
