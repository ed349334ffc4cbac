"""What loggers get wrong, set right before a curve is fitted: a lifted lid, a stuck sensor, a jar that was moved.

A dough moves steadily: what leaps is the sensor, the jar, or a dough that collapses. In the order of reading: `log` is
what is left of a log, `spikes` sets aside what lies far off all around it, `leaps` finds where readings leap and stay,
`stuck` tells a sensor that sticks by that, `moved` a jar that was moved from a dough that collapses, and `sifted` lets
them all look at every log.
"""

from .sifted import Sifted, sift

__all__ = ["Sifted", "sift"]
