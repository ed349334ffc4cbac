"""What is expected of a curve before it is read, and how it counts beside the readings.

Extent, steepest slope and lag are expected as Gaussian, the first two on a log scale: a culture's ways differ from
refeed to refeed by so many percent.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .blocks import Block
from .engine import Belief
from .engine.normal import column_sums, columns
from .models import GROWTH, Array, Model

#: The traits that are expected; of the first two the logarithm.
EXPECTED = ("extent", "max_rate", "lag_h")


def strength(model: Model) -> Array:
    """Return the direction in which a culture's curve moves as it weakens: slope and extent fall alike."""
    return np.array([float(name in EXPECTED[:2]) for name in model.parameters])


#: No form is less probable than this.
_POSSIBLE = 0.01


class Expected(NamedTuple):
    """What is expected of many curves.

    Attributes
    ----------
    mean, sd : numpy.ndarray, shape (3, m)
        Of log extent, log steepest slope and lag [h]; extent and slope in shares of the starting level [1, 1/h] for
        readings that activity raises, in pH [1/h] for those that it lowers.
    beyond : numpy.ndarray, shape (3, m)
        How far these traits of a curve lie beyond its parameters of the same name; 0 without a collapse.
    gompertz : numpy.ndarray, shape (m,)
        Probability that the growth is of the Gompertz form, against the logistic one.
    strength_open : bool
        Whether the culture may be stronger or weaker by whatever it takes: slope and extent then are expected only
        in proportion to each other.
    """

    mean: Array
    sd: Array
    beyond: Array
    gompertz: Array
    strength_open: bool = False

    def of(self, curves: Array) -> Expected:
        """Return what is expected of some of the curves."""
        mean, sd, beyond, gompertz = (columns(it, curves) for it in self[:4])
        return Expected(mean, sd, beyond, gompertz, self.strength_open)

    def odds(self, growth: str) -> Array:
        """Return what a form of growth costs, as twice the logarithm of its improbability, shape (m,)."""
        share = {"logistic": 1.0 - self.gompertz, "gompertz": self.gompertz}.get(growth, 0.5)
        return -2.0 * np.log(np.maximum(share, _POSSIBLE)) + 0.0 * self.gompertz

    def belief(self, model: Model, sign: float, usual_sd: float) -> Belief:
        """Return it as a belief about the parameters of a model.

        Parameters
        ----------
        model : Model
            A curve in ``composed.LEVELS``.
        sign : float
            1 for readings that activity raises, -1 for pH.
        usual_sd : float
            Noise of the readings, in their unit.
        """
        size, curves = len(model.parameters), self.mean.shape[1]
        places = [model.place(name) for name in EXPECTED]
        mean, precision = np.zeros((size, curves)), np.zeros((size, size, curves))
        mean[places] = self.mean - self.beyond
        certain = (usual_sd / self.sd) ** 2
        precision[places, places] = certain
        if self.strength_open:  # without what they say along the direction in which both move alike
            certain = np.append(
                np.full((2, curves), certain[0] * certain[1] / (certain[0] + certain[1])), certain[2:], 0
            )
            precision[places[:2], places[:2]] = certain[:2]
            precision[places[0], places[1]] = precision[places[1], places[0]] = -certain[0]
        logarithmic = np.zeros(size, bool)
        logarithmic[places[:2]] = True
        if sign > 0.0:  # extent and slope count in shares of the start: of their logarithms its own is taken off
            logarithmic[0] = True
            of_start = -precision[places[:2]][:, places[:2]].sum(axis=0)
            precision[0, places[:2]] = precision[places[:2], 0] = of_start
            precision[0, 0] = -of_start.sum(axis=0)
        return Belief(logarithmic, mean, precision)

    def start(self, growth: str, block: Block, sign: float) -> Array:
        """Return the parameters of a curve in ``composed.LEVELS`` as expected, on the start that suits the readings.

        Parameters
        ----------
        growth : str
            A name in `models.GROWTH`.
        block : Block
            The readings.
        sign : float
            1 for readings that activity raises, -1 for pH.

        Returns
        -------
        numpy.ndarray, shape (p, m)
        """
        extent, rate = np.exp(self.mean[:2])
        shape = np.array([extent, rate, self.mean[2], *np.ones((len(GROWTH[growth].parameters) - 3, len(rate)))])
        risen, counts, up = GROWTH[growth].value(block.t, shape), block.squared_weight, sign * block.y
        if sign < 0.0:
            start = column_sums(counts * (up - risen)) / column_sums(counts)
            return np.vstack((start, shape))
        start = column_sums(counts * up * (1.0 + risen)) / column_sums(counts * (1.0 + risen) ** 2)
        shape[:2] *= start
        return np.vstack((start, shape))
