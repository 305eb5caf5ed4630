"""Monte Carlo results against exact ones: one bound for all bins, set by the spread of the replicates.

A check is worth what it can catch. `agree` therefore takes the smallest relative error that matters and fails when
the run is too short to see it; `disagree` is for the mutant that shows that a check can fail.

With the environment variable UNDERLIT_CHECKS naming a file, every comparison adds a line to it: test, number of bins,
expected and got (of the sum of the bins), standard error, largest |z|, its bound. The table in docs/validation.md is
made from that.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from scipy import stats

LEVEL = 1e-4  # chance that a check of a right program fails, all its bins together
ROUNDING = 6e-6  # relative: single-precision weights and the kernel's exp(-x), which is good to 4e-6
TINY = 1e-9  # absolute: fixed-point sums


def z_limit(n_bins: int, replicates: int, level: float = LEVEL) -> float:
    """Bound on |z| that all of `n_bins` keep with probability 1 - `level` (Student's t, Bonferroni)."""
    return float(stats.t.isf(level / (2 * n_bins), replicates - 1))


def z_scores(samples, expected) -> tuple[np.ndarray, np.ndarray]:
    """Deviations in standard errors, beyond rounding, and the standard errors.

    Parameters
    ----------
    samples : array_like, shape (K, ...)
        One value per independent replicate.
    expected : array_like, shape (...)

    Returns
    -------
    z, std_err : ndarray, shape (...)
    """
    samples = np.asarray(samples, float)
    expected = np.broadcast_to(np.asarray(expected, float), samples.shape[1:])
    std_err = samples.std(axis=0, ddof=1) / np.sqrt(len(samples))
    off = samples.mean(axis=0) - expected
    beyond = np.sign(off) * np.maximum(np.abs(off) - ROUNDING * np.abs(expected) - TINY, 0.0)
    return beyond / np.maximum(std_err, 1e-300), std_err


def _with_total(samples, expected) -> tuple[np.ndarray, np.ndarray]:
    """All bins in a row, and their sum after them: a common factor shows there first."""
    samples = np.asarray(samples, float)
    bins = samples.reshape(len(samples), -1)
    expected = np.broadcast_to(np.asarray(expected, float), samples.shape[1:]).ravel()
    if len(expected) == 1:
        return bins, expected
    return np.column_stack([bins, bins.sum(axis=1)]), np.append(expected, expected.sum())


def agree(samples, expected, resolves: float) -> None:
    """Fail if any bin is off, or their sum, or if the run could not have shown a relative error of `resolves`.

    Parameters
    ----------
    samples : array_like, shape (K, ...)
    expected : array_like, shape (...)
    resolves : float
        An error of this size, common to all bins, must lie past the bound in at least one place, with three standard
        errors to spare.
    """
    samples, expected = _with_total(samples, expected)
    z, std_err = z_scores(samples, expected)
    limit = z_limit(z.size, len(samples))
    seen = (resolves * np.abs(expected) / np.maximum(std_err, 1e-300)).max()
    assert seen > limit + 3.0, (
        f"too few photons: an error of {resolves:.1%} would be {seen:.1f} standard errors, the bound is {limit:.1f}"
    )
    note(len(z), expected[-1], samples[:, -1].mean(), std_err[-1], np.abs(z).max(), limit)
    i = int(np.argmax(np.abs(z)))
    assert np.abs(z[i]) < limit, (
        f"bin {i} of {z.size}: got {samples[:, i].mean():.7g} +- {std_err[i]:.2g}, expected {expected[i]:.7g}, "
        f"z = {z[i]:.1f}, bound {limit:.1f}"
    )


def note(n_bins, expected, got, std_err, z, limit) -> None:
    """Write one comparison to the file that UNDERLIT_CHECKS names."""
    if "UNDERLIT_CHECKS" in os.environ:
        test = os.environ.get("PYTEST_CURRENT_TEST", "").split(" ")[0].rpartition("/")[2]
        line = f"{test}\t{n_bins}\t{expected:.7g}\t{got:.7g}\t{std_err:.2g}\t{z:.2f}\t{limit:.1f}\n"
        with Path(os.environ["UNDERLIT_CHECKS"]).open("a", encoding="utf-8") as file:
            file.write(line)


def disagree(samples, mutant) -> None:
    """Fail if a wrong expectation passes."""
    z, _ = z_scores(*_with_total(samples, mutant))
    limit = z_limit(z.size, len(samples))
    assert np.abs(z).max() > limit, f"the mutant passes: |z| up to {np.abs(z).max():.1f}, bound {limit:.1f}"


def agree_pair(samples, others, resolves: float) -> None:
    """Fail if two independent runs differ in any bin or in sum, or could not have shown a difference of `resolves`."""
    z, seen, limit = _pair(samples, others, resolves)
    assert seen > limit + 3.0, (
        f"too few photons: a difference of {resolves:.1%} would be {seen:.1f} standard errors, the bound is {limit:.1f}"
    )
    one, two = (
        float(_with_total(part, np.zeros(np.shape(part)[1:]))[0][:, -1].mean()) for part in (samples, others)
    )
    note(len(z), two, one, abs(one - two) / max(abs(z[-1]), 1e-9), np.abs(z).max(), limit)
    i = int(np.argmax(np.abs(z)))
    assert np.abs(z[i]) < limit, f"bin {i} of {z.size}: z = {z[i]:.1f}, bound {limit:.1f}"


def disagree_pair(samples, mutant) -> None:
    """Fail if a wrong run passes."""
    z, _, limit = _pair(samples, mutant, 1.0)
    assert np.abs(z).max() > limit, f"the mutant passes: |z| up to {np.abs(z).max():.1f}, bound {limit:.1f}"


def _pair(samples, others, resolves):
    a, b = (_with_total(part, np.zeros(np.shape(part)[1:]))[0] for part in (samples, others))
    variance = a.var(axis=0, ddof=1) / len(a) + b.var(axis=0, ddof=1) / len(b)
    std_err = np.sqrt(np.maximum(variance, 1e-300))
    level = 0.5 * (a.mean(axis=0) + b.mean(axis=0))
    off = a.mean(axis=0) - b.mean(axis=0)
    beyond = np.sign(off) * np.maximum(np.abs(off) - ROUNDING * np.abs(level) - TINY, 0.0)
    return (
        beyond / std_err,
        (resolves * np.abs(level) / std_err).max(),
        z_limit(len(off), min(len(a), len(b))),
    )


def same_counts(counts, expected, level: float = LEVEL) -> None:
    """Chi-square of independent counts against their expectation; sparse bins are pooled."""
    counts, expected = np.ravel(counts), np.ravel(expected)
    order = np.argsort(expected)
    group = np.cumsum(expected[order]) // 10.0
    group = np.minimum(np.unique(group, return_inverse=True)[1], np.sum(group < group[-1]))
    pooled = np.bincount(group, counts[order]), np.bincount(group, expected[order])
    p = stats.chisquare(pooled[0], pooled[1] * counts.sum() / expected.sum()).pvalue
    assert p > level, f"chi-square p = {p:.2g} over {len(pooled[0])} bins"
