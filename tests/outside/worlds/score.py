"""Answers against the truth of structures, as one table of figures.

    python tests/outside/worlds/score.py TRUTH_FOLDER ANSWERS.csv [ANSWERS.csv ...]

TRUTH_FOLDER holds a folder a structure with its truth.json. An answers table is one of two kinds, told by its columns:

- `structure, quantity, value[, low, high]`: estimates of a key of truth.json (`r_eod`, `shaft`, `restrike`, `setup`,
  `target`) or of `set_at_target STROKE` with the stroke [ft] as truth.json has it; SI;
- `structure, pile, accepted`: bearing piles, accepted 1 or 0; a column `criterion` splits the table.

Estimates: value over truth (mean, scatter), share of the ranges that hold the truth, width of the range over the truth.
Piles: r is the resistance after the wait over the needed one. Unsafe passes are piles with r < 0.97 that were accepted,
sound rejections piles with r >= 1 that were not; `half at` is the r at which half are accepted.
"""

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import log_ndtr

UNSAFE_BELOW = 0.97


def truths(folder: Path) -> dict[str, dict]:
    """Every truth.json one level down, by the name of its folder."""
    return {path.parent.name: json.loads(path.read_text()) for path in sorted(Path(folder).glob("*/truth.json"))}


def true_value(truth: dict, quantity: str) -> float:
    """The true value of a quantity."""
    key, _, stroke = quantity.partition(" ")
    return float(truth[key][stroke] if stroke else truth[key])


def score_estimates(answers: pd.DataFrame, known: dict[str, dict]) -> pd.DataFrame:
    """A row a quantity; strokes of `set_at_target` together."""
    table = answers.assign(
        true=[true_value(known[s], q) for s, q in zip(answers["structure"], answers["quantity"], strict=True)],
        quantity=answers["quantity"].str.partition(" ")[0],
    )
    rows = []
    for quantity, group in table.groupby("quantity", sort=False):
        ratio = group["value"] / group["true"]
        row = {
            "quantity": quantity,
            "cases": len(group),
            "missing": int(ratio.isna().sum()),
            "found / true": ratio.mean(),
            "scatter": ratio.std(ddof=1) / ratio.mean() if len(group) > 1 else np.nan,
            "least": ratio.min(),
            "most": ratio.max(),
        }
        if {"low", "high"} <= set(group):
            given = group[group["low"].notna()]
            row["coverage"] = ((given["low"] <= given["true"]) & (given["true"] <= given["high"])).mean()
            row["width"] = ((given["high"] - given["low"]) / given["true"]).median()
        rows.append(row)
    return pd.DataFrame(rows).set_index("quantity")


def score_piles(answers: pd.DataFrame, known: dict[str, dict]) -> pd.DataFrame:
    """A row a criterion (or one row)."""
    lookup = {(name, p["pile"]): p["later"] / p["needed"] for name, truth in known.items() for p in truth["piles"]}
    keys = zip(answers["structure"], answers["pile"], strict=True)
    table = answers.assign(r=[lookup[key] for key in keys])
    table["accepted"] = table["accepted"].astype(str).str.lower().isin(["1", "1.0", "true", "yes"])
    groups = table.groupby("criterion", sort=False) if "criterion" in table else [("all", table)]
    rows = []
    for name, group in groups:
        r, passed = group["r"].to_numpy(), group["accepted"].to_numpy()
        rows.append(
            {
                "criterion": name,
                "structures": group["structure"].nunique(),
                "piles": len(group),
                "short (r < 0.97)": int((r < UNSAFE_BELOW).sum()),
                "unsafe passes": _share(passed[r < UNSAFE_BELOW]),
                "least r passed": r[passed].min() if passed.any() else np.nan,
                "sound (r >= 1)": int((r >= 1.0).sum()),
                "sound rejections": _share(~passed[r >= 1.0]),
                "half at": half_accepted(r, passed),
            }
        )
    return pd.DataFrame(rows).set_index("criterion")


def half_accepted(r: np.ndarray, passed: np.ndarray) -> float:
    """The r at which half the piles are accepted, by a probit curve in log r."""
    if passed.all() or not passed.any():
        return float("nan")
    x = np.log(r)
    sign = np.where(passed, 1.0, -1.0)

    def unlikely(p):
        return -log_ndtr(sign * (x - p[0]) * np.exp(p[1])).sum() + 1e-3 * (p[1] - 3.0) ** 2

    return float(np.exp(minimize(unlikely, [np.median(x), 3.0], method="Nelder-Mead").x[0]))


def _share(which: np.ndarray) -> float:
    return float(which.mean()) if which.size else float("nan")


def score(answers: pd.DataFrame, known: dict[str, dict]) -> pd.DataFrame:
    """Score a table of either kind."""
    missing = sorted(set(answers["structure"]) - set(known))
    if missing:
        raise SystemExit(f"no truth.json for {', '.join(missing)}")
    if {"structure", "pile", "accepted"} <= set(answers):
        return score_piles(answers, known)
    if {"structure", "quantity", "value"} <= set(answers):
        return score_estimates(answers, known)
    raise SystemExit("an answers table needs structure, quantity, value or structure, pile, accepted")


if __name__ == "__main__":
    if len(sys.argv) < 3:
        raise SystemExit(__doc__)
    known = truths(Path(sys.argv[1]))
    for name in sys.argv[2:]:
        print(name)
        print(score(pd.read_csv(name), known).T.to_string(float_format=lambda x: f"{x:.3f}"), "\n")
