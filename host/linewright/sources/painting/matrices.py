"""Affine matrices as tuples, multiplied one at a time while a file is read.

A matrix is the tuple ``(a, b, c, d, e, f)`` of SVG and PDF: ``x' = a*x + c*y + e``, ``y' = b*x + d*y + f``. Numpy would
be ten times slower here.
"""

from __future__ import annotations

import math

Matrix = tuple[float, float, float, float, float, float]

IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def multiply(outer: Matrix, inner: Matrix) -> Matrix:
    """The matrix that applies ``inner`` first, then ``outer``."""
    a, b, c, d, e, f = outer
    g, h, i, j, k, m = inner
    return (a * g + c * h, b * g + d * h, a * i + c * j, b * i + d * j, a * k + c * m + e, b * k + d * m + f)


def translation(x: float, y: float) -> Matrix:
    """Move by ``(x, y)``."""
    return (1.0, 0.0, 0.0, 1.0, x, y)


def scaling(x: float, y: float) -> Matrix:
    """Stretch by ``x`` and ``y``."""
    return (x, 0.0, 0.0, y, 0.0, 0.0)


def apply(matrix: Matrix, x: float, y: float) -> tuple[float, float]:
    """One point through a matrix."""
    a, b, c, d, e, f = matrix
    return (a * x + c * y + e, b * x + d * y + f)


def flattens(matrix: Matrix) -> bool:
    """Whether the matrix is singular, so that nothing is rendered (SVG 2, section 8.5)."""
    return matrix[0] * matrix[3] == matrix[1] * matrix[2]


def inverse(matrix: Matrix) -> Matrix:
    """The inverse of a nonsingular matrix."""
    a, b, c, d, e, f = matrix
    area = a * d - b * c
    return (d / area, -b / area, -c / area, a / area, (c * f - d * e) / area, (b * e - a * f) / area)


def mean_scale(matrix: Matrix) -> float:
    """Mean scale factor of lengths: the square root of the factor of areas."""
    return math.sqrt(abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]))
