"""An exponential that compilers turn into vector instructions, for the loops over body segments."""

from thermosim._jit import compiled


@compiled
def exponential(x):
    """Return e^x for -6 <= x <= 6, within 2e-12 relative.

    Taylor polynomial at ``x / 64``, squared six times: no branches and no library call, so that a loop over
    segments runs four at a time.

    Examples
    --------
    >>> abs(exponential(1.0) / 2.718281828459045 - 1.0) < 2e-12
    True
    """
    t = x * 0.015625
    series = 1.0 + t * (
        1.0 + t * (0.5 + t * (1.0 / 6.0 + t * (1.0 / 24.0 + t * (1.0 / 120.0 + t * (1.0 / 720.0 + t * (1.0 / 5040.0))))))
    )
    squared = series * series
    squared *= squared
    squared *= squared
    squared *= squared
    squared *= squared
    return squared * squared
