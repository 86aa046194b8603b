"""The part of the standard ``unittest`` that tests/dual uses, for MicroPython builds that come without it.

Names and meaning are those of CPython, where the real module is used instead; tests/test_dual.py compares the tests
that both ran. It has test cases, assertions, subtests and skips.
"""

import sys


class SkipTest(Exception):
    """Raised to leave a test out."""


class _Raises:
    """Context of ``assertRaises``; keeps what was caught in ``exception``."""

    def __init__(self, expected):
        self.expected = expected
        self.exception = None

    def __enter__(self):
        return self

    def __exit__(self, kind, value, traceback):
        if kind is None:
            raise AssertionError("nothing was raised, expected %r" % (self.expected,))
        if not issubclass(kind, self.expected):
            return False
        self.exception = value
        return True


class _Subtest:
    """Context of ``subTest``; prints the failing subtest and re-raises its exception."""

    def __init__(self, message, values):
        self.label = "%s %s" % (message, values) if message else "%s" % (values,)

    def __enter__(self):
        return self

    def __exit__(self, kind, value, traceback):
        if kind is not None and not issubclass(kind, SkipTest):
            print("  in subtest", self.label)
        return False


class TestCase:
    """Base of all test cases; a fresh object runs each method whose name starts with ``test``."""

    @classmethod
    def setUpClass(cls):
        """Runs once before the first test of the class."""

    @classmethod
    def tearDownClass(cls):
        """Runs once after the last test of the class."""

    def setUp(self):
        """Runs before each test."""

    def tearDown(self):
        """Runs after each test, also after one that failed."""

    def skipTest(self, reason):
        raise SkipTest(reason)

    def subTest(self, msg=None, **values):
        return _Subtest(msg, values)

    def fail(self, msg=None):
        raise AssertionError(msg)

    def _check(self, holds, said, msg):
        if not holds:
            raise AssertionError("%s: %s" % (said, msg) if msg else said)

    def assertTrue(self, value, msg=None):
        self._check(value, "%r is not true" % (value,), msg)

    def assertFalse(self, value, msg=None):
        self._check(not value, "%r is not false" % (value,), msg)

    def assertEqual(self, first, second, msg=None):
        self._check(first == second, "%r != %r" % (first, second), msg)

    def assertNotEqual(self, first, second, msg=None):
        self._check(first != second, "%r == %r" % (first, second), msg)

    def assertIs(self, first, second, msg=None):
        self._check(first is second, "%r is not %r" % (first, second), msg)

    def assertIsNot(self, first, second, msg=None):
        self._check(first is not second, "%r is %r" % (first, second), msg)

    def assertIsNone(self, value, msg=None):
        self._check(value is None, "%r is not None" % (value,), msg)

    def assertIsNotNone(self, value, msg=None):
        self._check(value is not None, "is None", msg)

    def assertIn(self, member, container, msg=None):
        self._check(member in container, "%r is not in %r" % (member, container), msg)

    def assertNotIn(self, member, container, msg=None):
        self._check(member not in container, "%r is in %r" % (member, container), msg)

    def assertIsInstance(self, value, kind, msg=None):
        self._check(isinstance(value, kind), "%r is no %r" % (value, kind), msg)

    def assertLess(self, first, second, msg=None):
        self._check(first < second, "%r is not less than %r" % (first, second), msg)

    def assertLessEqual(self, first, second, msg=None):
        self._check(first <= second, "%r is greater than %r" % (first, second), msg)

    def assertGreater(self, first, second, msg=None):
        self._check(first > second, "%r is not greater than %r" % (first, second), msg)

    def assertGreaterEqual(self, first, second, msg=None):
        self._check(first >= second, "%r is less than %r" % (first, second), msg)

    def assertAlmostEqual(self, first, second, places=None, msg=None, delta=None):
        near = delta if delta is not None else 0.5 * 10 ** -(7 if places is None else places)
        self._check(first == second or abs(first - second) <= near, "%r is not near %r" % (first, second), msg)

    def assertRaises(self, expected, call=None, *arguments, **named):
        context = _Raises(expected)
        if call is None:
            return context
        with context:
            call(*arguments, **named)
        return None


def skip(reason):
    """Always skips a test method."""

    def decorate(method):
        def skipped(self):
            raise SkipTest(reason)

        return skipped

    return decorate


def skipIf(condition, reason):
    """Skips a test method if ``condition`` holds."""
    return skip(reason) if condition else lambda method: method


def skipUnless(condition, reason):
    """Skips a test method unless ``condition`` holds."""
    return skipIf(not condition, reason)


def cases_of(module):
    """The test case classes that a module defines or imports, in order of name."""
    found = []
    for name in sorted(dir(module)):
        thing = getattr(module, name)
        if isinstance(thing, type) and issubclass(thing, TestCase) and thing is not TestCase:
            found.append(thing)
    return found


def run_case(case, prefix, record):
    """Runs the tests of one class; calls ``record(name, outcome)``, outcome being ok, failed or skipped."""
    case.setUpClass()
    for name in sorted(dir(case)):
        if not name.startswith("test"):
            continue
        full_name = "%s.%s.%s" % (prefix, case.__name__, name)
        test = case()
        try:
            test.setUp()
            try:
                getattr(test, name)()
            finally:
                test.tearDown()
            outcome = "ok"
        except SkipTest:
            outcome = "skipped"
        except Exception as problem:  # every exception of a test is its failure
            print("FAILED", full_name)
            sys.print_exception(problem)
            outcome = "failed"
        record(full_name, outcome)
    case.tearDownClass()


def main(module="__main__"):
    """Runs the test cases of a module that was started as a program."""
    outcomes = []
    for case in cases_of(sys.modules[module] if module in sys.modules else __import__(module)):
        run_case(case, module, lambda name, outcome: outcomes.append(outcome))
    print("ran", len(outcomes), "failed", outcomes.count("failed"))
    if "failed" in outcomes:
        sys.exit(1)
