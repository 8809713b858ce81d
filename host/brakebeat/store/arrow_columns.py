"""Columns for pyarrow out of Python's values, straight into its buffers.

``pyarrow.array`` would do it, too, but loads pandas wherever that is installed, which takes a quarter of a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray


def column(pyarrow: Any, values: Sequence[Any] | NDArray[Any], kind: Any) -> Any:
    """A column of a type: texts, truth values (0, 1 count as such), 64-bit floats, or 64-bit whole numbers and times
    (as whole numbers). None is null.
    """
    if kind == pyarrow.float64():
        floats = np.array(values, np.float64)  # None becomes NaN, which no stored number is.
        return _column(pyarrow, kind, ~np.isnan(floats), [floats])
    known = np.ones(len(values), np.bool_)
    if not isinstance(values, np.ndarray) and None in values:
        known = np.array([value is not None for value in values])
    if kind == pyarrow.string():
        pieces = [value.encode() if value else b"" for value in values]
        offsets = np.zeros(len(values) + 1, np.int32)
        np.cumsum([*map(len, pieces)], out=offsets[1:])
        return _column(pyarrow, kind, known, [offsets, b"".join(pieces)])
    whole = np.array(values if known.all() else [value or 0 for value in values], np.int64)
    if kind == pyarrow.bool_():
        return _column(pyarrow, kind, known, [np.packbits(whole != 0, bitorder="little")])
    return _column(pyarrow, kind, known, [whole])


def _column(pyarrow: Any, kind: Any, known: NDArray[np.bool_], content: Sequence[Any]) -> Any:
    null = None if known.all() else pyarrow.py_buffer(np.packbits(known, bitorder="little"))
    return pyarrow.Array.from_buffers(kind, len(known), [null, *map(pyarrow.py_buffer, content)])
