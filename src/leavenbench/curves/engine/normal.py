"""Normal equations of many curves at once, made and solved by operations on whole blocks.

Sums run over the first axis, one reading after another: what a curve's sums are does not depend on which other
curves stand beside it, nor on readings of weight zero after its own.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from ..models import Array, Model

if TYPE_CHECKING:
    from .belief import Belief

#: The products of so few curves are summed in one call.
_FEW = 4
#: With more rows than this a single curve's are multiplied as matrices, and zeros of its system are passed over.
_MANY = 16
#: Readings that are squared together.
_AT_ONCE = 65_536


def columns(array: Array, curves: Array) -> Array:
    """Return some of the columns, in rows in memory as whole blocks are."""
    return array.take(curves, axis=-1)


def columns_or_none(array: Array | None, curves: Array) -> Array | None:
    """Return some of the columns, where there are any."""
    return None if array is None else columns(array, curves)


def products(model: Model, t: Array, y: Array, weight: Array | None, p: Array, belief: Belief | None = None) -> Array:
    """Sum the products of derivatives and residual over the readings.

    Parameters
    ----------
    model : Model
        The curve.
    t, y : numpy.ndarray, shape (n, m)
        Times and readings, one column per curve.
    weight : numpy.ndarray, shape (n, m), optional
        Weights of the residuals.
    p : numpy.ndarray, shape (p, m)
        Parameters.
    belief : Belief, optional
        What is known of them before; it counts like readings.

    Returns
    -------
    numpy.ndarray, shape (p + 1, p + 1, m)
        Upper triangle of [J r]' [J r]: the normal matrix, the gradient in the last column, the residual sum of
        squares in the last corner.
    """
    rows = np.empty((len(p) + 1, *t.shape))
    np.subtract(y, model.derive(t, p, rows[:-1]), out=rows[-1])
    if weight is not None:
        rows *= weight
    sums = _sums(rows)
    if belief is not None:
        belief.add_to(sums, p)
    return sums


def parts(curves: int, readings: int, together: int) -> list[slice]:
    """Divide a block into parts of about so many readings together."""
    number = max(1, min(curves, curves * readings // together))
    ends = [curves * place // number for place in range(number + 1)]
    return [slice(low, high) for low, high in pairwise(ends)]


def square_sums(y: Array, weight: Array | None) -> Array:
    """Sum the weighted squares over the first axis, without a copy of them all."""
    some = parts(y.shape[1], len(y), _AT_ONCE)
    return np.concatenate([column_sums((y[:, of] if weight is None else weight[:, of] * y[:, of]) ** 2) for of in some])


def column_sums(rows: Array) -> Array:
    """Sum over the first axis, one row after another, whatever the number of columns and their order in memory."""
    if rows.shape[-1] == 1:
        return column_sums(rows.repeat(2, axis=-1))[..., :1]
    return np.add.reduce(np.ascontiguousarray(rows), axis=0)


def _sums(rows: Array) -> Array:
    """Sum over the middle axis the products of every two rows."""
    curves = rows.shape[-1]
    if len(rows) > _MANY and curves == 1:
        return (rows[..., 0] @ rows[..., 0].T)[..., None]
    if curves == 1:  # a single column would be summed in another order
        return _sums(rows.repeat(2, axis=-1))[..., :1]
    if curves <= _FEW:
        return np.einsum("inm,jnm->ijm", rows, rows)
    sums = np.zeros((len(rows), len(rows), curves))
    for place, row in enumerate(rows):
        np.einsum("nm,jnm->jm", row, rows[place:], out=sums[place, place:])
    return sums


def scaling(sums: Array, held: Array | None) -> Array:
    """Return what brings the diagonal of the normal matrix to 1, shape (p, m); 0 for a parameter that is held."""
    size = len(sums) - 1
    diagonal = sums.reshape(-1, sums.shape[-1])[: size * (size + 2) : size + 2]
    still = diagonal <= 0.0 if held is None else held | (diagonal <= 0.0)
    return np.where(still, 0.0, 1.0 / np.sqrt(diagonal))


def damped_step(sums: Array, held: Array | None, damping: Array) -> tuple[Array, Array]:
    """Solve the normal equations with each diagonal element raised by a share.

    Parameters
    ----------
    sums : numpy.ndarray, shape (p + 1, p + 1, m)
        As `products` gives them.
    held : numpy.ndarray of bool, shape (p, m), optional
        Parameters that do not move.
    damping : numpy.ndarray, shape (m,)
        The share.

    Returns
    -------
    step : numpy.ndarray, shape (p, m)
        Not finite where the system is singular.
    gain : numpy.ndarray, shape (m,)
        Product of step and gradient: without damping, what the residual sum would lose on a straight model.
    """
    size = len(sums) - 1
    scale = scaling(sums, held)
    system = sums[:size] * scale[:, None]
    system[:, :size] *= scale
    gradient = system[:, size].copy()
    step = _solved(system, 1.0 + damping)
    gain = (step * gradient).sum(axis=0)
    step *= scale
    return step, gain


def inverse_root(sums: Array, held: Array | None) -> tuple[Array, Array]:
    """Find a root of the inverse of the normal matrix by Cholesky's factors.

    Parameters
    ----------
    sums, held
        As for `damped_step`.

    Returns
    -------
    root : numpy.ndarray, shape (p, p, m)
        ``root.T @ root`` is the inverse; zero for a parameter that is held.
    pivot : numpy.ndarray, shape (m,)
        The smallest pivot of the matrix scaled to a diagonal of 1: near 0 for a matrix that is near singular.
    """
    size, places = len(sums) - 1, np.arange(len(sums) - 1)
    scale = scaling(sums, held)
    system = sums[:size, :size] * scale[:, None] * scale
    system[places, places] = np.where(scale == 0.0, 1.0, system[places, places])
    alone = scale.shape[1] == 1
    root, pivots = _unrolled(list(map(list, system[..., 0] if alone else system)))
    pivot = np.array(pivots).reshape(scale.shape)
    found = np.zeros((size, size, scale.shape[1]))
    for place, row in enumerate(root):
        for column, number in enumerate(row):
            found[place, column] = number
    found *= scale / np.sqrt(pivot)[:, None]
    return found, pivot.min(axis=0)


def _unrolled(system: list[list[Any]]) -> tuple[list[list[Any]], list[Any]]:
    """Return the inverse of the unit lower factor of L D L', row by row, and D; numbers as for `eliminated`."""
    size = len(system)
    sparse = size > _MANY and isinstance(system[0][0], float)
    root: list[list[Any]] = [[0.0] * place + [1.0] for place in range(size)]
    for place, pivot in enumerate(system):
        for below in range(place + 1, size):
            share = pivot[below] / pivot[place]
            if sparse and share == 0.0:
                continue
            for column in range(below, size):
                system[below][column] = system[below][column] - share * pivot[column]
            for column in range(place + 1):
                root[below][column] = root[below][column] - share * root[place][column]
    return root, [system[place][place] for place in range(size)]


def _solved(system: Array, diagonal: Array) -> Array:
    """Solve systems as `eliminated` does, many at once: shape (p, p + 1, m), overwritten, to (p, m)."""
    size = len(system)
    places = np.arange(size)
    system[places, places] = diagonal
    for place, pivot in enumerate(system[:-1], start=1):
        share = pivot[place:size] / pivot[place - 1]
        system[place:, place:] -= share[:, None] * pivot[place:]
    found = system[:, size]
    for place in reversed(range(size)):
        found[place] /= system[place, place]
        found[:place] -= system[:place, place] * found[place]
    return found


def eliminated(system: list[list[float]], diagonal: float) -> list[float]:
    """Solve a system given by its upper triangle, with the right-hand side as a last column.

    Parameters
    ----------
    system : list of list
        Rows of numbers. They are overwritten.
    diagonal : float
        What stands on the diagonal.

    Returns
    -------
    list
        The solution.
    """
    size = len(system)
    sparse = size > _MANY
    for place in range(size):
        system[place][place] = diagonal
    for place, pivot in enumerate(system):
        for below in range(place + 1, size):
            share = pivot[below] / pivot[place]
            if sparse and share == 0.0:
                continue
            row = system[below]
            for column in range(below, size + 1):
                row[column] = row[column] - share * pivot[column]
    found = [row[size] for row in system]
    for place in reversed(range(size)):
        found[place] /= system[place][place]
        for above in range(place):
            found[above] -= system[above][place] * found[place]
    return found
