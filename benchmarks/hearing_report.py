"""Counts in, what is printed and drawn out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from benchmarks.hearing_counts import (
    STAKES,
    confusion_table,
    heard_as,
    joint_errors,
    single,
    speed,
    stakes,
    tallies,
    trade_off,
    wilson,
)
from benchmarks.hearing_trials import Trial
from handsfree.listeners.agreement import Gates, agree


def report(trials: Sequence[Trial], gates: Gates) -> dict[str, Any]:
    """Everything that is printed and written, as plain data."""
    rows = []
    for (part, condition, who), tally in sorted(tallies(trials, gates).items()):
        low, high = wilson(tally.wrong, tally.total)
        row = {"part": part, "condition": condition, "listener": who, "clips": tally.total}
        row |= {"right": tally.right, "refused": tally.refused, "wrong": tally.wrong}
        rows.append({**row, "wrong_low": round(low, 4), "wrong_high": round(high, 4)})
    return {
        "table": rows,
        "stakes": stakes(trials, gates),
        "joint": joint_errors(trials),
        "confusions": confusion_table(trials, gates),
        "trade_off": trade_off(trials, gates),
        "speed": speed(trials),
    }


def _lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Rows of one kind as a table."""
    if not rows:
        return []
    names = list(rows[0])
    wide = {n: max(len(n), *(len(str(r[n])) for r in rows)) for n in names}
    first = "  ".join(n.ljust(wide[n]) if isinstance(rows[0][n], str) else n.rjust(wide[n]) for n in names)
    body = [
        "  ".join(str(r[n]).ljust(wide[n]) if isinstance(r[n], str) else str(r[n]).rjust(wide[n]) for n in names)
        for r in rows
    ]
    return [first, *body]


def printed(result: Mapping[str, Any]) -> str:
    """The tables, for a terminal."""
    titles = {
        "table": "Right, refused, silently wrong; 95 % bounds of wrong",
        "stakes": f"Together, by what was at stake ({', '.join(STAKES)}); wrong_high: upper 95 % bound of all wrong",
        "joint": "Both neural listeners hold the same wrong value likeliest, before any gate",
        "confusions": "Confusions: utterances that could be confused so, and wrong ones",
        "trade_off": "Trade-off: the gates made stricter by a factor (0: no gates but agreement)",
    }
    parts = ["\n".join([title, *_lines(result[name])]) for name, title in titles.items()]
    parts.append("Speed\n" + "\n".join(f"{k}: {v}" for k, v in result["speed"].items()))
    return "\n\n".join(parts)


def not_right(trials: Sequence[Trial], gates: Gates, refused: int) -> str:
    """Every wrong clip, and so many of the refused ones, with what each listener made of it."""
    lines = []
    for trial in trials:
        agreed = agree(trial.opinions, gates)
        found = heard_as(agreed.outcome, trial.truth)
        if found == "right" or (not found.startswith("wrong") and refused <= 0):
            continue
        refused -= not found.startswith("wrong")
        heard = [
            f"{o.listener}: {o.values[0].words if o.values and not o.refused else '-'!r} margin {o.margin:.1f} "
            f"ratio {o.free_ratio:.1f} free {o.free_words!r} {single(o) == trial.truth}"
            for o in trial.opinions
        ]
        head = f"{found} {trial.path} {trial.condition} {trial.expect} {trial.transcript!r}: {agreed.reason}"
        lines.append("\n    ".join([head, *heard]))
    return "\n".join(lines)


# ----------------------------------------------------------------------------------------------- drawing

WIDTH, HEIGHT, EDGE = 560, 360, 56


def drawn(curve: Sequence[Mapping[str, float]], title: str) -> str:
    """The trade-off as SVG: refused % across, silently wrong % up; the gates as they are marked."""
    points = []
    for row in curve:
        total = row["right"] + row["refused"] + row["wrong"] or 1
        points.append((100 * row["refused"] / total, 100 * row["wrong"] / total, row["factor"]))
    right = max(1.0, *(p[0] for p in points)) * 1.05
    top = max(0.1, *(p[1] for p in points)) * 1.1

    def at(x: float, y: float) -> tuple[float, float]:
        return EDGE + x / right * (WIDTH - 2 * EDGE), HEIGHT - EDGE - y / top * (HEIGHT - 2 * EDGE)

    placed = [(*at(x, y), factor) for x, y, factor in points]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in placed)
    marks = [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{5 if factor == 1 else 3}" fill="{"#b00" if factor == 1 else "#124"}"/>'
        f'<text x="{x + 6:.1f}" y="{y - 5:.1f}">{factor:g}</text>'
        for x, y, factor in placed
    ]
    ticks = []
    for n in range(6):
        x, y = at(right * n / 5, top * n / 5)
        ticks.append(f'<text x="{x:.1f}" y="{HEIGHT - EDGE + 16}" text-anchor="middle">{right * n / 5:.1f}</text>')
        ticks.append(f'<text x="{EDGE - 6}" y="{y + 4:.1f}" text-anchor="end">{top * n / 5:.2f}</text>')
        ticks.append(f'<line x1="{EDGE}" x2="{WIDTH - EDGE}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd"/>')
    axes = f'<polyline points="{EDGE},{EDGE} {EDGE},{HEIGHT - EDGE} {WIDTH - EDGE},{HEIGHT - EDGE}" fill="none" stroke="#333"/>'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="11">',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            f'<text x="{EDGE}" y="24" font-size="13">{escape(title)}</text>',
            *ticks,
            axes,
            f'<polyline points="{path}" fill="none" stroke="#124"/>',
            *marks,
            f'<text x="{WIDTH / 2}" y="{HEIGHT - 14}" text-anchor="middle">refused, %</text>',
            f'<text transform="translate(14 {HEIGHT / 2}) rotate(-90)" text-anchor="middle">silently wrong, %</text>',
            "</svg>",
        ]
    )
