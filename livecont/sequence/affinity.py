"""How well one pitch is the image of another under a diatonic step, in a key.

Conventions: a table `[from_pitch, to_pitch, step + widest]` of weights 0..1; 1 where the usual
spellings in the key lie `step` places apart, less where only another spelling does.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from livecont.music.key import Key

NO_STAFF = -1000
PITCHES = 128


@lru_cache(maxsize=32)
def affinity(key: Key, widest: int, respelled: float) -> NDArray[np.float32]:
    """Return the table for a key: shape (128, 128, 2 * widest + 1), read-only."""
    usual = np.array([key.spell(p).staff for p in range(PITCHES)])
    others = [[s.staff for s in key.spellings(p)[1:]] for p in range(PITCHES)]
    other = np.array([o[0] if o else NO_STAFF for o in others])
    table = np.zeros((PITCHES, PITCHES, 2 * widest + 1), dtype=np.float32)
    for a, b, weight in (
        (other, other, respelled),
        (other, usual, respelled),
        (usual, other, respelled),
        (usual, usual, 1.0),
    ):
        step = b[np.newaxis, :] - a[:, np.newaxis]
        spelled = (a[:, np.newaxis] != NO_STAFF) & (b[np.newaxis, :] != NO_STAFF)
        rows, columns = np.nonzero(spelled & (np.abs(step) <= widest))
        table[rows, columns, step[rows, columns] + widest] = weight
    table.setflags(write=False)
    return table
