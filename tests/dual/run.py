"""Runs every tests/dual/test_*.py under whichever interpreter executes this file.

    .venv/bin/python tests/dual/run.py [NAME ...]           CPython, with its own unittest
    .tools/micropython tests/dual/run.py [NAME ...]         MicroPython, with unittest_shim where it has none

Each NAME picks the modules whose file name contains it; a module named ``.._slow`` is run only if a NAME ends so.
One line per test, ``ok|failed|skipped module.Class.method``,
and a last line ``ran N failed F skipped S``; tests/test_dual.py reads them and compares the interpreters.
"""

import gc
import os
import sys


def folders():
    """The project root and this folder, as this interpreter was told them."""
    here = __file__.rsplit("/", 1)[0] if "/" in __file__ else "."
    return here + "/../..", here


def put_on_path():
    """Makes the packages `lineboard` and `linewire` importable, and unittest if the interpreter lacks it."""
    root, here = folders()
    for folder in (here, root + "/device", root + "/shared_protocol"):
        sys.path.insert(0, folder)
    sys.path.append(here + "/unittest_shim")
    return here


def run_with_shim(unittest, module, name, record):
    """MicroPython: the shim's own loop."""
    for case in unittest.cases_of(module):
        unittest.run_case(case, name, record)


def run_with_cpython(unittest, module, name, record):
    """CPython: the standard loader and runner, so that the shim is measured against the real thing."""

    class Recording(unittest.TextTestResult):
        def startTest(self, test):
            super().startTest(test)
            self.troubles = len(self.failures) + len(self.errors)
            self.left_out = len(self.skipped)

        def stopTest(self, test):
            super().stopTest(test)
            full_name = "%s.%s.%s" % (name, type(test).__name__, test.id().split(".")[-1])
            if len(self.failures) + len(self.errors) > self.troubles:
                record(full_name, "failed")
            elif len(self.skipped) > self.left_out:
                record(full_name, "skipped")
            else:
                record(full_name, "ok")

    suite = unittest.defaultTestLoader.loadTestsFromModule(module)
    result = unittest.TextTestRunner(stream=sys.stdout, verbosity=0, resultclass=Recording).run(suite)
    # Errors outside a test, such as in setUpClass, belong to no test.
    if not result.wasSuccessful() and not any(outcome == "failed" for _, outcome in record.seen):
        record(name, "failed")


class Record:
    """Collects the outcomes and prints each as it comes."""

    def __init__(self):
        self.seen = []

    def __call__(self, name, outcome):
        self.seen.append((name, outcome))
        print(outcome, name)


def main(wanted):
    """Runs the modules and returns the exit status."""
    here = put_on_path()
    import unittest

    run_module = run_with_shim if hasattr(unittest, "run_case") else run_with_cpython
    record = Record()
    for file_name in sorted(os.listdir(here)):
        if not (file_name.startswith("test_") and file_name.endswith(".py")):
            continue
        name = file_name[:-3]
        if wanted and not any(part in name for part in wanted):
            continue
        if name.endswith("_slow") and not any(part.endswith("_slow") for part in wanted):
            continue
        try:
            module = __import__(name)
        except Exception as problem:  # a module that cannot be imported is a failure with that module's name
            print("FAILED to import", name)
            if hasattr(sys, "print_exception"):
                sys.print_exception(problem)
            else:
                sys.excepthook(type(problem), problem, problem.__traceback__)
            record(name, "failed")
            continue
        run_module(unittest, module, name, record)
        gc.collect()
    outcomes = [outcome for _, outcome in record.seen]
    failed = outcomes.count("failed")
    print("ran %d failed %d skipped %d" % (len(outcomes), failed, outcomes.count("skipped")))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
