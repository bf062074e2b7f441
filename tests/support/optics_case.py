"""What the tests of POST /v1/optics/{function} share."""

import unittest


class OpticsCase(unittest.TestCase):
    svc = token = None  # set by the file

    def ask(self, function, body):
        return self.svc.api("POST", f"/v1/optics/{function}", body, self.token)

    def right(self, function, body):
        answer = self.ask(function, body)
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def refused(self, function, body, *errors):
        """errors: (pointer, detail) of each fault."""
        answer = self.ask(function, body)
        self.assertEqual(answer.status, 422, answer.body)
        self.assertEqual([(e["pointer"], e["detail"])
                          for e in answer.body["errors"]], list(errors))
