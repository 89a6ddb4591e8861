"""Which standings can be reached, by limit, interval width and share that cannot be told: a simulation.

``python -m prepcheck.evaluate.reachable`` prints the table quoted in DEVELOPERS.md. A spot with true residue r is measured
with a normal error whose 95 % half width is w (so the interval holds the truth 95 % of the time), a share c of it cannot be
told, and the standing rule is applied.
"""

from __future__ import annotations

from collections.abc import Iterable
from statistics import NormalDist

import numpy as np

from prepcheck.score import BrightShare, stand
from prepcheck.settings import ScoreSettings
from prepcheck.terms import Standing

RESIDUES = (0.0, 0.02, 0.05, 0.10, 0.20, 0.40)
HALF_WIDTHS = (0.01, 0.02, 0.04, 0.08, 0.15)
UNTOLD = (0.0, 0.01, 0.03, 0.06)


def widest_for_bright(limit: float, untold: float) -> float:
    """Return the widest half width at which a perfectly clean spot can still be `bright`.

    From ``1 - (1 - untold) * (1 - w) <= limit``; negative when no width is narrow enough.
    """
    return 1 - (1 - limit) / (1 - untold)


def standing_shares(
    residue: float, half_width: float, untold: float, rule: ScoreSettings, *, draws: int = 4000, seed: int = 1
) -> dict[Standing, float]:
    """Simulate how often each standing comes out; a dict of shares that sum to 1."""
    sigma = half_width / NormalDist().inv_cdf(0.975)
    values = np.clip(1 - residue + np.random.default_rng(seed).normal(0, sigma, draws), 0, 1)
    counts = dict.fromkeys((Standing.BRIGHT, Standing.RESIDUE_LEFT, Standing.CANNOT_TELL), 0)
    for value in values:
        share = BrightShare(value, max(0.0, value - half_width), min(1.0, value + half_width), 1 - untold)
        counts[stand(share, (), rule)[0]] += 1
    return {standing: count / draws for standing, count in counts.items()}


def table(rule: ScoreSettings) -> Iterable[str]:
    """Give the lines of the table: bright / residue left / cannot tell in percent of simulated photos."""
    yield "half width | cannot be told | " + " | ".join(f"{r:.0%} residue" for r in RESIDUES)
    yield " | ".join(["---"] * (len(RESIDUES) + 2))
    for half_width in HALF_WIDTHS:
        for untold in UNTOLD:
            cells = [_cell(standing_shares(r, half_width, untold, rule)) for r in RESIDUES]
            yield f"{half_width:.0%} | {untold:.0%} | " + " | ".join(cells)


def _cell(shares: dict[Standing, float]) -> str:
    return " / ".join(f"{100 * share:.0f}" for share in shares.values())


if __name__ == "__main__":
    import sys

    rule = ScoreSettings()
    sys.stdout.write("\n".join(table(rule)) + "\n")
    for untold in UNTOLD:
        width = widest_for_bright(rule.residue_limit, untold)
        sys.stdout.write(f"clean spot, {untold:.0%} cannot be told: bright needs a half width of at most {width:.1%}\n")
