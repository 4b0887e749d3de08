"""One linear programme, solved in silence by HiGHS."""

from __future__ import annotations

from typing import Any

import highspy
import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

Floats = npt.NDArray[np.float64]


class SilentHighs(highspy.Highs):
    """HiGHS greets on standard output when it enables callbacks; that would spoil ``--json``."""

    def enableCallbacks(self) -> Any:  # noqa: N802 - the library's name
        self.setOptionValue("output_flag", False)
        return super().enableCallbacks()  # type: ignore[no-untyped-call]


def row_prices(gain: Floats, rows: csr_array, most: Floats, *, seconds: float) -> Floats:
    """Dual prices of max gain·y, rows y <= most, 0 <= y <= 1; zeros when none were found.

    Shapes: ``gain`` (variable,), ``rows`` (row, variable), ``most`` (row,). Prices may be
    slightly negative or far from best when the time ran out; weak duality mends that.
    """
    n_rows, n_columns = rows.shape
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = n_columns, n_rows
    model.col_cost_ = -gain
    model.col_lower_, model.col_upper_ = np.zeros(n_columns), np.ones(n_columns)
    model.row_lower_ = np.full(n_rows, -highspy.kHighsInf)
    model.row_upper_ = most
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = rows.indptr
    model.a_matrix_.index_ = rows.indices
    model.a_matrix_.value_ = rows.data
    solver: Any = SilentHighs()  # type: ignore[no-untyped-call]
    solver.setOptionValue("time_limit", float(seconds))
    solver.setOptionValue("threads", 1)
    solver.passModel(model)
    solver.run()
    prices = -np.array(solver.getSolution().row_dual, dtype=float)
    return prices if prices.size == n_rows else np.zeros(n_rows)
