"""Vectors of three components along the last axis.

Written out by component: numpy sums an axis of three several times slower than it adds three arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def dot(one: ArrayLike, other: ArrayLike) -> Array:
    """Scalar products of vectors (..., 3), which broadcast: shape (...)."""
    a, b = np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64)
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1] + a[..., 2] * b[..., 2])


def cross(one: ArrayLike, other: ArrayLike) -> Array:
    """Vector products of vectors (..., 3), which broadcast: shape (..., 3)."""
    a, b = np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64)
    return from_components(
        a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1],
        a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2],
        a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0],
    )


def length(vectors: ArrayLike) -> Array:
    """Lengths of vectors (..., 3): shape (...)."""
    return np.sqrt(dot(vectors, vectors))


def from_components(x: Array, y: Array, z: Array) -> Array:
    """Vectors (..., 3) from their components, which have or broadcast to the shape of x."""
    vectors = np.empty((*np.shape(x), 3))
    vectors[..., 0], vectors[..., 1], vectors[..., 2] = x, y, z
    return vectors
