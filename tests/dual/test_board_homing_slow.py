"""Homing over minutes of virtual time; slow tests."""

import unittest

from test_board_homing import rig_at


class Slow(unittest.TestCase):
    def test_rates_so_low_that_a_ramp_must_be_cut_in_pieces(self):
        """2000 steps at 3 steps/s take eleven minutes; the kernel plays ramps of up to 3.6."""
        rig = rig_at(
            (100, 100), home_slow_x=3, home_fast_x=400, home_backoff_x=900, home_passes=1, host_silence_ms=60_000
        )
        rig.send("home", axes=1)
        rig.run(lambda: rig.last("homed") or rig.last("fault"), 3000)
        self.assertEqual(rig.last("fault"), None)


if __name__ == "__main__":
    unittest.main()
