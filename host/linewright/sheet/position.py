"""Position and rotation of a sheet on the machine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points


@dataclass(frozen=True)
class SheetPosition:
    """Transform between sheet and machine coordinates.

    Parameters
    ----------
    offset_mm : machine position of the sheet's top left corner.
    turn_deg : clockwise as seen from in front of the sheet, about that corner.

    Examples
    --------
    >>> import numpy as np
    >>> lies = SheetPosition((10.0, 20.0), 90.0)
    >>> lies.on_machine(np.array([[5.0, 0.0]])).round(9).tolist()
    [[10.0, 25.0]]
    """

    offset_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0

    def on_machine(self, points_mm: Points) -> Points:
        """(n, 2) sheet coordinates to machine coordinates, mm."""
        turned = points_mm @ self._matrix() if self.turn_deg else points_mm
        return np.asarray(turned + np.array(self.offset_mm))

    def on_sheet(self, points_mm: Points) -> Points:
        """(n, 2) machine coordinates to sheet coordinates, mm."""
        shifted = points_mm - np.array(self.offset_mm)
        return np.asarray(shifted @ self._matrix().T if self.turn_deg else shifted)

    def _matrix(self) -> Points:
        """(2, 2) matrix by which row vectors are multiplied to get machine coordinates."""
        turn = np.radians(self.turn_deg)
        c, s = np.cos(turn), np.sin(turn)
        return np.array([[c, s], [-s, c]])
