"""Runs one test file: python3 -m lenstest.one FILE RESULT.

RESULT becomes a JSON list of [name, failure or null].  A skipped test is a
failure: what is not run says nothing.
"""

import importlib.util
import json
import pathlib
import sys
import time
import traceback
import unittest


def trace(err):
    """The failure, and of the way there what is the test file's."""
    kind, value, at = err
    whole = traceback.TracebackException(kind, value, at)
    ours = [f for f in whole.stack if "/unittest/" not in f.filename]
    whole.stack = traceback.StackSummary.from_list(ours[-4:])
    return "".join(whole.format(chain=False))


class Result(unittest.TestResult):
    def __init__(self):
        super().__init__()
        self.cases, self.faults = [], {}

    def name(self, test):
        # Not test.id(): a test may keep an id of its own under that name.
        if isinstance(test, unittest.TestCase):
            return unittest.TestCase.id(test).split(".", 1)[-1]
        return test.id()  # of a module's fixture

    def startTest(self, test):
        super().startTest(test)
        self.began = time.monotonic()

    def fault(self, test, text):
        self.faults.setdefault(self.name(test), []).append(text)

    def addError(self, test, err):
        self.fault(test, trace(err))
        if not isinstance(test, unittest.TestCase):
            self.close(test)

    def addFailure(self, test, err):
        self.fault(test, trace(err))

    def addSubTest(self, test, subtest, err):
        if err:
            self.fault(test, f"{subtest}\n"
                       + trace(err))

    def addSkip(self, test, reason):
        self.fault(test, f"skipped: {reason}")
        if not isinstance(test, unittest.TestCase):
            self.close(test)

    def addExpectedFailure(self, test, err):
        self.fault(test, "marked as an expected failure")

    def addUnexpectedSuccess(self, test):
        self.fault(test, "marked as an expected failure")

    def stopTest(self, test):
        super().stopTest(test)
        self.close(test)

    def close(self, test):
        name = self.name(test)
        faults = self.faults.pop(name, None)
        took = time.monotonic() - getattr(self, "began", time.monotonic())
        print(f"{'FAILED' if faults else 'ok':<7}{took:7.2f} s  {name}",
              flush=True)
        for text in faults or []:
            print(text, flush=True)
        self.cases.append([name, "\n".join(faults) if faults else None])


def main(path, result_path):
    result = Result()
    try:
        spec = importlib.util.spec_from_file_location("lens_tests", path)
        module = importlib.util.module_from_spec(spec)
        sys.modules["lens_tests"] = module
        spec.loader.exec_module(module)
        suite = unittest.defaultTestLoader.loadTestsFromModule(module)
        suite.run(result)
        if not result.cases:
            result.cases.append(["(file)", "it holds no test"])
    except Exception:
        text = traceback.format_exc()
        print(text)
        result.cases.append(["(file)", text])
    pathlib.Path(result_path).write_text(json.dumps(result.cases))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
