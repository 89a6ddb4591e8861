"""Handbook tables for alternating-current TIG welding of aluminium under argon, and reading between their rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from prepcheck.trade.facts import Mark
from prepcheck.trade.units import INCH_MM, Kind, quantity


@dataclass(frozen=True)
class Band:
    """A lowest and a highest value."""

    low: float
    high: float


@dataclass(frozen=True)
class Row:
    """One row of a handbook table: thicknesses in mm, current in A, tungsten and rod in mm, argon in L/min.

    A row that stands for several thicknesses holds from `thin_mm` to `thick_mm`. What a table does not tell is None.
    """

    thin_mm: float
    thick_mm: float
    current_a: Band
    tungsten_mm: Band | None = None
    rod_mm: Band | None = None
    gas_l_min: Band | None = None


@dataclass(frozen=True)
class Table:
    """A handbook's table for one kind of joint."""

    name: str
    source: str
    mark: Mark
    rows: tuple[Row, ...]

    def current(self, thickness_mm: float) -> Band | None:
        """Return the current for a thickness, between rows by straight lines; None outside the table."""
        around = self.around(thickness_mm)
        if around is None:
            return None
        below, above = around
        if above.thin_mm <= below.thick_mm:
            return below.current_a
        share = (thickness_mm - below.thick_mm) / (above.thin_mm - below.thick_mm)
        low = below.current_a.low + share * (above.current_a.low - below.current_a.low)
        return Band(low, below.current_a.high + share * (above.current_a.high - below.current_a.high))

    def around(self, thickness_mm: float) -> tuple[Row, Row] | None:
        """Return the rows either side of a thickness, twice the same one where it lies in a row; None outside."""
        for row in self.rows:
            if row.thin_mm <= thickness_mm <= row.thick_mm:
                return row, row
        pairs = zip(self.rows, self.rows[1:], strict=False)
        return next((pair for pair in pairs if pair[0].thick_mm < thickness_mm < pair[1].thin_mm), None)

    def spread(self, thickness_mm: float, of: Callable[[Row], Band | None]) -> Band | None:
        """Return the lowest and highest value of the rows either side: sizes are bought, not interpolated."""
        bands = [band for row in self.around(thickness_mm) or () if (band := of(row)) is not None]
        return Band(min(one.low for one in bands), max(one.high for one in bands)) if bands else None


def _row(thin: float, thick: float, amps: tuple[float, float], *sizes: tuple[float, float]) -> Row:
    return Row(thin, thick, Band(*amps), *(Band(*size) for size in sizes))


def _chart_row(thin_in: float, thick_in: float, amps: tuple[float, float], cfh: tuple[int, int] | None = None) -> Row:
    gas = None if cfh is None else Band(*(quantity(f"{flow} cfh", Kind.GAS_FLOW, "gas") for flow in cfh))
    return Row(thin_in * INCH_MM, thick_in * INCH_MM, Band(*amps), gas_l_min=gas)


_MIDDLE = (3.2, 3.2)
TABLES = (
    Table(
        "gas supplier's handbook, fillet",
        "a gas supplier's handbook, p. 41",
        Mark.SEEN,
        (
            _row(INCH_MM / 16, 1.6, (60, 80), (2.4, 2.4), (1.6, 1.6), (5, 5)),
            _row(INCH_MM / 8, 3.2, (125, 145), _MIDDLE, (2.4, 2.4), (6, 6)),
            _row(INCH_MM * 3 / 16, 4.8, (195, 230), (3.2, 4.0), _MIDDLE, (7, 7)),
            _row(6.0, 6.4, (260, 295), (4.0, 4.8), (4.8, 4.8), (10, 10)),
        ),
    ),
    Table(
        "torch maker's manual, butt",
        "a torch maker's manual, table 13",
        Mark.SEEN,
        (
            _row(INCH_MM / 16, 1.6, (60, 85), (1.6, 1.6), (1.6, 1.6), (7, 7)),
            _row(INCH_MM / 8, 3.2, (125, 150), (2.4, 2.4), (2.4, 2.4), (10, 10)),
            _row(INCH_MM * 3 / 16, 4.8, (180, 225), _MIDDLE, _MIDDLE, (10, 10)),
            _row(6.0, 6.4, (240, 280), (4.8, 4.8), (4.8, 4.8), (13, 13)),
        ),
    ),
    Table(
        "torch maker's manual, fillet",
        "a torch maker's manual, table 13",
        Mark.SEEN,
        (
            _row(INCH_MM / 16, 1.6, (70, 95), (1.6, 1.6), (1.6, 1.6), (7, 7)),
            _row(INCH_MM / 8, 3.2, (130, 160), (2.4, 2.4), (2.4, 2.4), (10, 10)),
            _row(INCH_MM * 3 / 16, 4.8, (190, 240), _MIDDLE, _MIDDLE, (10, 10)),
            _row(6.0, 6.4, (250, 320), (4.8, 4.8), (4.8, 4.8), (13, 13)),
        ),
    ),
    Table(
        "trade chart",
        "a welding supplier's TIG chart",
        Mark.SEEN,
        (
            _chart_row(0.040, 0.063, (40, 70)),
            _chart_row(0.093, 0.125, (100, 160), (18, 25)),
            _chart_row(0.125, 0.188, (140, 210)),
            _chart_row(0.188, 0.250, (190, 300), (22, 32)),
        ),
    ),
)
"""All for alternating current and argon. Rows stand for 1/16, 1/8, 3/16 and 1/4 in and the millimetres printed for them."""
