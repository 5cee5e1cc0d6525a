"""Numbers of the command line that must be numbers."""

from math import isfinite
from typing import Any

import click


class FiniteRange(click.FloatRange):
    """A range of numbers, of which ``nan`` and ``inf`` are none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        number = super().convert(value, param, ctx)
        if not isfinite(number):
            self.fail(f"{value!r} is no number", param, ctx)
        return number
