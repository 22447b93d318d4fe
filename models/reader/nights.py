"""A night's sheet that writes the calendar's date after midnight, where the shift keeps the date it began on.

Times without a date are dated by their shift: of such a sheet those after midnight would be dated a day late, and nothing
about them would look wrong.
"""

from __future__ import annotations

import numpy as np

from models.reader.instants import DAY, HOUR

FOLLOWS = 6 * HOUR  # so soon after the row above a cook or a dough goes on
FEWEST = 3  # rows of one night: of two, each may be a night's only one


def calendar_dated(local: np.ndarray, date: np.ndarray, same: np.ndarray) -> np.ndarray:
    """Rows of the night that began the evening before their shift_date: True where all speaks for that.

    local: datetime64[us], times in sheet order as they are dated by their shift, NaT where unknown or not dated so; date:
    shift_date, datetime64[us]; same: int, what keeps its own order and shift. The row above lies before midnight, under the
    date before, and a day earlier this one follows it; and nothing after midnight stands under that date.
    """
    found = np.zeros(len(local), dtype=bool)
    known = np.flatnonzero(~np.isnat(local) & ~np.isnat(date))
    order = known[np.argsort(same[known], kind="stable")]
    after = local >= date + DAY
    above, row = order[:-1], order[1:]
    off = local[row] - DAY - local[above]
    turn = (same[row] == same[above]) & after[row] & ~after[above] & (date[row] - date[above] == DAY)
    turn &= (off > np.timedelta64(0, "s")) & (off <= FOLLOWS)
    for place in np.flatnonzero(turn).tolist():
        evening = (same == same[above[place]]) & (date == date[above[place]]) & ~np.isnat(local)
        if not (evening & after & ~found).any():
            end = place
            while end < len(row) and same[row[end]] == same[row[place]] and date[row[end]] == date[row[place]] and after[row[end]]:
                end += 1
            if end - place + int((evening & ~after).sum()) >= FEWEST:
                found[row[place:end]] = True
    return found
