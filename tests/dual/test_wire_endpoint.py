"""The endpoint on both interpreters: delivery over a bad wire, sessions, credit, no allocation."""

import unittest

from linewire import endpoint, messages
from linewire.compat import TICKS_PERIOD, micropython, ticks_add
from linewire.endpoint import Endpoint, WindowFull
from linewire.framing import write_frame

START_US = TICKS_PERIOD - 5_000


def pair(slots=16):
    return (
        Endpoint(1111, True, START_US),
        Endpoint(2222, False, START_US, slots=slots, report_size=messages.REPORT_SIZE),
    )


def settle(host, board, now_us, turns=4):
    for _ in range(turns):
        board.receive(host.to_send(now_us), now_us)
        host.receive(board.to_send(now_us), now_us)
    return now_us


def drain(end):
    found = []
    message = end.next_message()
    while message:
        found.append(message)
        message = end.next_message()
    return found


def ack(host, next_missing, edge, bitmap=0):
    """A handmade acknowledgement of the connected board, newer than all earlier ones."""
    payload = b"".join(n.to_bytes(2, "little") for n in (next_missing, edge, bitmap))
    tag = host.session ^ host.peer_session
    return write_frame(endpoint.ACK | messages.FROM_BOARD, 30_000, tag, payload)


class EndpointTest(unittest.TestCase):
    def test_messages_arrive_once_and_in_order(self):
        host, board = pair()
        settle(host, board, START_US)
        self.assertTrue(host.linked and board.linked)
        self.assertEqual((host.peer_session, board.peer_session), (2222, 1111))
        for i in range(5):
            self.assertEqual(host.send(messages.PACE, bytes([i, 0])), i)
        board.send(messages.DONE, b"\x00\x00")
        settle(host, board, START_US)
        self.assertEqual(drain(board), [(messages.PACE, i, bytes([i, 0])) for i in range(5)])
        self.assertEqual(drain(host), [(messages.DONE, 0, b"\x00\x00")])
        self.assertEqual((host.awaiting, board.awaiting), (0, 0))

    def test_news_of_room_that_was_lost_is_asked_for_by_an_end_that_only_answers_probes(self):
        """Found by the state machine: each answer counted as a sign of life, so the board never asked on its own."""
        host, board = pair()
        host = Endpoint(1111, True, START_US, slots=1)
        now_us = settle(host, board, START_US)
        board.send(messages.DONE, b"\x00\x00")
        board.send(messages.DONE, b"\x01\x00")
        host.receive(board.to_send(now_us), now_us)
        board.receive(host.to_send(now_us), now_us)
        self.assertEqual(len(drain(host)), 1)
        self.assertTrue(host.to_send(now_us) != b"")  # the report of free slots is lost
        for _ in range(20):
            now_us = settle(host, board, ticks_add(now_us, 300_000), 1)
        self.assertEqual(drain(host), [(messages.DONE, 1, b"\x01\x00")])

    def test_a_call_of_a_host_that_is_gone_displaces_nobody(self):
        """Neither its greeting nor its opening, however late they arrive, and even if the board has restarted in
        between.
        """
        dead = Endpoint(1111, True, START_US)
        call = dead.to_send(START_US)
        board = Endpoint(2222, False, START_US, report_size=messages.REPORT_SIZE)
        board.receive(call, START_US)
        board.to_send(START_US)
        dead.receive(board.to_send(START_US), START_US)
        host = Endpoint(3333, True, START_US)
        now_us = settle(host, board, START_US)
        self.assertEqual((board.peer_session, board.openings), (3333, 1))
        for _ in range(3):
            board.receive(call, now_us)
            offered = board.to_send(now_us)
            host.receive(offered, now_us)
            self.assertTrue(host.linked)
            now_us = settle(host, board, ticks_add(now_us, 300_000))
        self.assertEqual((board.peer_session, board.openings), (3333, 1))
        host.send(messages.ASK)
        settle(host, board, now_us)
        self.assertEqual(len(drain(board)), 1)

    def test_the_offer_after_256_others_is_taken_up_as_well(self):
        _, board = pair()
        board.to_send(START_US)
        for gone in range(3000, 3256):
            board.receive(Endpoint(gone, True, START_US).to_send(START_US), START_US)
            board.to_send(START_US)
        host = Endpoint(4444, True, START_US)
        settle(host, board, START_US)
        self.assertEqual((board.peer_session, host.linked), (4444, True))

    def test_an_opening_that_comes_late_displaces_nobody(self):
        host, board = pair()
        board.to_send(START_US)
        board.receive(host.to_send(START_US), START_US)
        host.receive(board.to_send(START_US), START_US)
        late = host.to_send(START_US)
        fresh = Endpoint(3333, True, START_US)
        now_us = settle(fresh, board, START_US)
        board.receive(late, now_us)
        fresh.receive(board.to_send(now_us), now_us)
        self.assertEqual((board.peer_session, board.openings), (3333, 1))
        self.assertTrue(fresh.linked)

    def test_an_opening_that_is_lost_is_said_again(self):
        host, board = pair()
        board.to_send(START_US)
        board.receive(host.to_send(START_US), START_US)
        host.receive(board.to_send(START_US), START_US)
        host.send(messages.ASK)
        host.to_send(START_US)  # lost: opening and message
        self.assertTrue(host.linked and not board.linked)
        now_us = START_US
        for _ in range(6):
            now_us = settle(host, board, ticks_add(now_us, 100_000), 1)
        self.assertTrue(board.linked)
        self.assertEqual(drain(board), [(messages.ASK, 0, b"")])

    def test_what_was_queued_before_the_link_opened_is_not_lost_at_the_host(self):
        host, board = pair()
        host.send(messages.ASK)
        settle(host, board, START_US)
        self.assertEqual(drain(board), [(messages.ASK, 0, b"")])

    def test_a_lost_frame_is_sent_again_as_soon_as_a_later_one_arrives(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        host.to_send(now_us)
        host.send(messages.ABANDON)
        settle(host, board, now_us)
        self.assertEqual([kind for kind, _, _ in drain(board)], [messages.ASK, messages.ABANDON])
        self.assertEqual((host.retransmitted, board.duplicates), (1, 0))

    def test_a_lost_last_frame_is_sent_again_after_the_timeout_across_the_wrap(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        host.to_send(now_us)
        for _ in range(12):
            now_us = settle(host, board, ticks_add(now_us, 50_000), 2)
        self.assertEqual(len(drain(board)), 1)
        self.assertEqual(host.retransmitted, 1)

    def test_a_lost_acknowledgement_makes_a_harmless_duplicate(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        board.receive(host.to_send(now_us), now_us)
        board.to_send(now_us)
        for _ in range(12):
            now_us = settle(host, board, ticks_add(now_us, 50_000), 2)
        self.assertEqual(len(drain(board)), 1)
        self.assertEqual(host.awaiting, 0)
        self.assertTrue(board.duplicates >= 1 or host.retransmitted == 0)

    def test_credit_is_never_overrun_while_the_receiver_does_not_take(self):
        host, board = pair(slots=4)
        now_us = settle(host, board, START_US)
        for i in range(16):
            host.send(messages.PACE, bytes([i, 0]))
        for _ in range(40):
            now_us = settle(host, board, ticks_add(now_us, 100_000), 1)
        self.assertEqual(host.awaiting, 12)
        self.assertTrue(not host.can_send or host.awaiting < 16)
        taken = []
        for _ in range(40):
            message = board.next_message()
            if message:
                taken.append(message[1])
            now_us = settle(host, board, ticks_add(now_us, 100_000), 1)
        self.assertEqual(taken, list(range(16)))
        self.assertEqual(board.overrun, 0)

    def test_window_full_is_said(self):
        host, _ = pair()
        for _ in range(16):
            host.send(messages.ASK)
        self.assertTrue(not host.can_send)
        with self.assertRaises(WindowFull):
            host.send(messages.ASK)

    def test_messages_of_the_other_side_cannot_be_sent(self):
        host, board = pair()
        for end, kind in ((host, messages.DONE), (board, messages.ASK), (host, 0x81)):
            with self.assertRaises(ValueError):
                end.send(kind)
        with self.assertRaises(ValueError):
            host.send(messages.MOVES, bytes(messages.PAYLOAD + 1))

    def test_news_of_room_goes_out_when_half_of_it_is_free_again(self):
        host, board = pair(slots=4)
        now_us = settle(host, board, START_US)
        for _ in range(4):
            host.send(messages.ASK)
        settle(host, board, now_us)
        said = []
        while board.take():  # each frees the slot of its predecessor
            said.append(board.to_send(now_us) != b"")
        self.assertEqual(said, [False, False, True, False])

    def test_a_bitmap_that_names_what_was_never_sent_says_nothing_of_what_was(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        host.to_send(now_us)  # lost
        # Bit 15 of the bitmap is message 16, which would lie in the slot of message 0.
        host.receive(ack(host, next_missing=0, edge=16, bitmap=0x8000), now_us)
        host.send(messages.ABANDON)
        settle(host, board, now_us)  # the second one arrives, so the first one must be lost
        self.assertEqual([kind for kind, _, _ in drain(board)], [messages.ASK, messages.ABANDON])

    def test_frames_that_are_intact_but_mean_nothing_are_counted(self):
        host, board = pair()
        settle(host, board, START_US)
        host.send(messages.ASK)
        tag = host.session ^ host.peer_session
        up = messages.FROM_BOARD
        for number, frame in enumerate(
            (
                write_frame(endpoint.OPEN | up, 0, 0, bytes(7)),
                write_frame(endpoint.OPEN | up, 0, 0, bytes([0, 0, 1, 0, 1, 16, 1, 0])),
                write_frame(endpoint.OPEN | up, 0, 0, bytes([1, 0, 1, 0, 1, 0, 1, 0])),
                write_frame(endpoint.OPEN | up, 0, 0, bytes([1, 0, 1, 0, 1, 17, 1, 0])),
                write_frame(endpoint.ACK | up, 1, tag, bytes(5)),
                write_frame(0x83 | up, 1, tag),
                ack(host, next_missing=2, edge=16),
                ack(host, next_missing=0, edge=17),
            )
        ):
            host.receive(frame, START_US)
            self.assertEqual((host.odd, host.awaiting), (number + 1, 1))

    def test_who_is_late_is_to_say_something_at_once(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        self.assertEqual(host.next_deadline_us(), ticks_add(now_us, endpoint.CALL_US))
        for late_us in (0, 1, 100_000):
            host.receive(b"", ticks_add(now_us, endpoint.CALL_US + late_us))
            self.assertEqual(host.next_deadline_us(), ticks_add(now_us, endpoint.CALL_US + late_us))

    def test_the_deadline_is_when_what_was_lost_is_sent_again(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        settle(host, board, now_us)  # a trip of no time: the least timeout from here on
        host.send(messages.ASK)
        host.to_send(now_us)
        for passed_us in (0, 50_000, 199_999):
            host.receive(b"", ticks_add(now_us, passed_us))
            self.assertEqual(host.next_deadline_us(), ticks_add(now_us, endpoint.LEAST_TIMEOUT_US))

    def test_numbers_go_on_from_65535_to_0(self):
        for lost in ((), (0,), (3, 7), (11, 12, 13)):
            host, board = pair()
            settle(host, board, START_US)
            # As after 65 528 messages, all of them acknowledged.
            host._base = host._next_out = board._next_in = board._taken = 65_528
            host._edge_out = board._told_edge = (65_528 + 16) & 0xFFFF
            for i in range(16):
                host.send(messages.ABANDON if i == 14 else messages.ASK)
                frame = host.to_send(START_US)
                if i not in lost:
                    board.receive(frame, START_US)
                    host.receive(board.to_send(START_US), START_US)
            settle(host, board, START_US, 20)
            self.assertEqual((host.retransmitted, board.duplicates, host.awaiting), (len(lost), 0, 0))
            self.assertEqual(board.kind_behind(messages.ASK), messages.ABANDON)
            self.assertEqual([sequence for _, sequence, _ in drain(board)], [(65_528 + i) & 0xFFFF for i in range(16)])

    def test_a_message_is_sent_again_after_the_time_of_rfc_6298(self):
        """Smoothed trips with the standard's gains of 1/8 and 1/4, in whole microseconds rounded down."""
        trips_us = [90_000, 90_001, 300_000, 20_000, 150_000, 1_000, 450_000, 449_990, 7]
        for measured_us in [trips_us[:count] for count in range(1, len(trips_us) + 1)] + [[0], [0, 400_000]]:
            host, board = pair()
            now_us = settle(host, board, START_US)
            smooth_us = spread_us = 0
            for number, trip_us in enumerate(measured_us):
                host.send(messages.ASK)
                board.receive(host.to_send(now_us), now_us)
                drain(board)
                now_us = ticks_add(now_us, trip_us)
                host.receive(board.to_send(now_us), now_us)
                self.assertEqual(host.awaiting, 0)
                if number == 0:
                    smooth_us, spread_us = trip_us, trip_us // 2
                else:
                    spread_us += (abs(smooth_us - trip_us) - spread_us) // 4
                    smooth_us += (trip_us - smooth_us) // 8
            again_us = min(max(smooth_us + 4 * spread_us, 200_000), 2_000_000)
            host.send(messages.ASK)
            host.to_send(now_us)
            host.to_send(ticks_add(now_us, again_us - 1))
            self.assertEqual(host.retransmitted, 0)
            host.to_send(ticks_add(now_us, again_us))
            self.assertEqual(host.retransmitted, 1)

    def test_a_rebooted_board_is_recognised_by_its_first_word(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ASK)
        again = Endpoint(3333, False, now_us)
        host.receive(again.to_send(now_us), now_us)
        self.assertTrue(host.parted)
        self.assertTrue(not host.can_send)
        self.assertEqual(host.to_send(now_us), b"")

    def test_a_rebooted_board_whose_first_word_was_lost_says_it_again_and_executes_nothing(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        again = Endpoint(3333, False, now_us)
        again.to_send(now_us)
        now_us = ticks_add(now_us, 300_000)
        host.send(messages.ABANDON)
        again.receive(host.to_send(now_us), now_us)
        self.assertEqual(drain(again), [])
        host.receive(again.to_send(now_us), now_us)
        self.assertTrue(host.parted)

    def test_a_rebooted_board_says_so_again_after_ten_minutes_of_silence(self):
        """Half of the counter's period is 8.9 minutes; earlier times must not appear to be in the future."""
        host, board = pair()
        now_us = settle(host, board, START_US)
        again = Endpoint(3333, False, now_us)
        again.to_send(now_us)
        for silent_minutes in (1, 10):
            for _ in range(silent_minutes):
                now_us = ticks_add(now_us, 60_000_000)
                self.assertEqual(again.to_send(now_us), b"")
            host.push()
            again.receive(host.to_send(now_us), now_us)
            self.assertTrue(again.to_send(now_us) != b"")

    def test_a_restarted_host_takes_over_and_old_frames_are_foreign(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        host.send(messages.ABANDON)
        late = host.to_send(now_us)
        calls = Endpoint(1111, True, now_us).to_send(now_us)
        fresh = Endpoint(4444, True, now_us)
        settle(fresh, board, now_us)
        self.assertEqual((board.peer_session, board.openings), (4444, 2))
        # Late frames of the earlier host, and even its call, change nothing.
        board.receive(late + calls, now_us)
        self.assertEqual(board.peer_session, 4444)
        self.assertEqual(drain(board), [])
        self.assertTrue(board.foreign >= 2)
        fresh.send(messages.ASK)
        settle(fresh, board, now_us)
        self.assertEqual(len(drain(board)), 1)

    def test_an_echoing_line_is_not_a_peer(self):
        host, _ = pair()
        host.send(messages.ASK)
        for _ in range(5):
            host.receive(host.to_send(START_US), START_US)
        self.assertTrue(not host.linked)
        self.assertEqual(host.next_message(), None)

    def test_reports_ride_on_acknowledgements_and_the_newest_wins(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        board.report[0] = 3
        board.push()
        older = board.to_send(now_us)
        board.report[0] = 4
        board.push()
        newer = board.to_send(now_us)
        host.receive(newer + older, now_us)
        self.assertEqual(host.peer_report[0], 4)
        self.assertEqual(len(host.peer_report), messages.REPORT_SIZE)

    def test_both_ends_know_how_long_the_other_has_been_silent(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        now_us = ticks_add(now_us, 3_000_000)
        self.assertEqual(board.silence_us(now_us), 3_000_000)
        settle(host, board, now_us)
        self.assertEqual(board.silence_us(now_us), 0)
        for _ in range(10):
            now_us = ticks_add(now_us, 200_000_000)
            board.produce(now_us)
        self.assertTrue(board.silence_us(now_us) >= 1 << 28)

    def test_any_bytes_are_taken_without_harm(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        state = 99
        for _ in range(300):
            data = bytearray()
            for _ in range(40):
                state = (state * 1664525 + 1013904223) & 0x3FFFFFFF
                data.append((state >> 12) & (state >> 20) & 255)
            board.receive(data, now_us)
            host.receive(data, now_us)
        self.assertTrue(board.damaged > 0)
        board.receive(b"\x00", now_us)
        host.receive(b"\x00", now_us)
        host.send(messages.ASK)
        settle(host, board, now_us)
        self.assertEqual(len(drain(board)), 1)

    def test_parameters_out_of_range_are_refused(self):
        for session, slots, size in ((0, 16, 0), (65536, 16, 0), (1, 3, 0), (1, 32, 0), (1, 16, 239)):
            with self.assertRaises(ValueError):
                Endpoint(session, True, 0, slots, size)

    def test_the_boards_path_allocates_nothing(self):
        host, board = pair()
        now_us = settle(host, board, START_US)
        board.receive(host.to_send(now_us), now_us)
        chunks = []
        for i in range(12):
            host.send(messages.MOVES, bytes(200))
        chunks.append(bytearray(host.to_send(now_us)))
        payload = bytearray(2)
        taken = 0
        sent = 0
        micropython.heap_lock()
        try:
            for chunk in chunks:
                board.receive(chunk, now_us, len(chunk))
                while board.take():
                    taken += 1
                board.report[0] = taken
                board.push()
                board.send(messages.DONE, payload, 2)
                count = board.produce(now_us)
                while count:
                    sent += 1
                    count = board.produce(now_us)
        finally:
            micropython.heap_unlock()
        self.assertEqual((taken, sent), (12, 2))

    def test_link_kinds_do_not_meet_message_ids(self):
        for _, number, _ in messages.MESSAGES:
            self.assertTrue(0 < number < endpoint.LINK)


if __name__ == "__main__":
    unittest.main()
