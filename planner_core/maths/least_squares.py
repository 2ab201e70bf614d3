"""Non-linear least squares for few unknowns, with what the residuals say about their certainty."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

Array = NDArray[np.float64]
Residuals = Callable[[Array], Array]

DAMPING = 1e-3
TRIES = 60


@frozen(kw_only=True, eq=False)
class Solution:
    """values (n,), residuals (m,) there, and cofactor (n, n): the covariance of the values per unit variance
    of a residual. The cofactor is infinite where the residuals say nothing about a value.
    """

    values: Array
    residuals: Array
    cofactor: Array

    @property
    def sum_of_squares(self) -> float:
        return float(self.residuals @ self.residuals)


def solve(residuals: Residuals, start: Array, steps: Array, *, settled: float = 1e-12) -> Solution:
    """The values (n,) that make the sum of squared residuals least, from a start near them.

    steps (n,) is how far each value moves to find a slope; the search ends where a step lowers the sum by
    less than the share `settled`. Levenberg–Marquardt: Moré, *Numerical Analysis*
    (Lecture Notes in Mathematics 630), 1978.
    """
    values = np.asarray(start, dtype=np.float64).copy()
    here = residuals(values)
    damping = DAMPING
    for _ in range(TRIES):
        slopes = _slopes(residuals, values, steps)
        normal = slopes.T @ slopes
        scale = np.maximum(np.diag(normal), 1e-30)
        better = False
        while damping < 1e12:
            move = np.linalg.solve(normal + damping * np.diag(scale), -slopes.T @ here)
            there = residuals(values + move)
            if there @ there < here @ here:
                better = bool(here @ here - there @ there > settled * (here @ here))
                values, here = values + move, there
                damping = max(damping / 10.0, 1e-12)
                break
            damping *= 10.0
        if not better:
            break
    return Solution(
        values=values, residuals=here, cofactor=_cofactor(_slopes(residuals, values, steps), steps)
    )


def _slopes(residuals: Residuals, values: Array, steps: Array) -> Array:
    """Derivatives of the residuals, (m, n), by central differences."""
    columns = []
    for number, step in enumerate(steps):
        aside = np.zeros(len(values))
        aside[number] = step
        columns.append((residuals(values + aside) - residuals(values - aside)) / (2.0 * step))
    return np.stack(columns, axis=1)


def _cofactor(slopes: Array, steps: Array) -> Array:
    """Inverse of the normal matrix, found in units of the steps so that metres and degrees weigh alike."""
    _, singular, right = np.linalg.svd(slopes * steps, full_matrices=False)
    known = singular > 1e-9 * max(float(singular.max(initial=0.0)), 1e-300)
    with np.errstate(divide="ignore"):
        inverse = np.where(known, 1.0 / np.where(known, singular, 1.0) ** 2, np.inf)
    if not known.all() or slopes.shape[0] < slopes.shape[1]:
        return np.full((len(steps), len(steps)), np.inf)
    cofactor = (right.T * inverse) @ right
    return np.asarray(cofactor * steps[:, None] * steps)
