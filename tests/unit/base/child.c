#include "base/child.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "suites.h"

static const struct child_limits EASY = {5, 5000, 256 << 20, 1 << 20};

/* A program of the shell's language; python is there, because meson needs it.
 */
static enum child_end run(const char *name, const char *script,
    const struct child_limits *limits, struct text *out)
{
    const char *const args[] = {"-c", script, NULL};
    const struct child_program program = {name, args};

    /* Not a script of the same name, which would start another program. */
    setenv("PATH", "/usr/bin:/bin", 1);
    return child_run(&program, limits, "what came in\n", 13, out);
}

START_TEST(bytes_go_in_and_come_out)
{
    TEXT_AUTO out = {0};

    ck_assert_int_eq(
        run("sh", "read line; echo \"$line, out\"", &EASY, &out), CHILD_OK);
    ck_assert_str_eq(out.data, "what came in, out\n");
}
END_TEST

START_TEST(a_long_input_arrives_whole)
{
    static const char *const args[] = {"-c", NULL};
    static const struct child_program wc = {"wc", args};
    size_t len = 5 << 20;
    char *bytes = xcalloc(1, len);
    TEXT_AUTO out = {0};

    ck_assert_int_eq(child_run(&wc, &EASY, bytes, len, &out), CHILD_OK);
    ck_assert_str_eq(out.data, "5242880\n");
    free(bytes);
}
END_TEST

static const struct {
    const char *why, *name, *script;
    enum child_end end;
} ENDS[] = {
    {"no such program", "no-such-program-here", "", CHILD_MISSING},
    {"it says that it failed", "sh", "exit 3", CHILD_FAILED},
    {"it breaks down", "sh", "ulimit -s 64; f() { f; }; f", CHILD_FAILED},
    {"it computes for ever", "sh", "while :; do :; done", CHILD_SLOW},
    {"it waits for ever", "python3", "import time; time.sleep(60)", CHILD_SLOW},
    {"it says no more and waits", "python3",
        "import os, time; os.close(1); time.sleep(60)", CHILD_SLOW},
    {"it talks for ever", "sh", "while :; do echo more; done", CHILD_LONG},
    {"it takes all memory", "python3", "b = bytearray(1 << 30)", CHILD_FAILED},
};

START_TEST(an_end_is_told)
{
    static const struct child_limits tight = {1, 1500, 256 << 20, 100000};
    TEXT_AUTO out = {0};

    ck_assert_msg(
        run(ENDS[_i].name, ENDS[_i].script, &tight, &out) == ENDS[_i].end, "%s",
        ENDS[_i].why);
}
END_TEST

/* Each does what may not be done and says so if it could. */
static const struct {
    const char *why, *name, *script;
} DENIED[] = {
    {"a socket", "python3",
        "import socket\n"
        "try:\n socket.socket()\n print('done')\nexcept OSError: pass"},
    {"a pair of them", "python3",
        "import socket\n"
        "try:\n socket.socketpair()\n print('done')\nexcept OSError: pass"},
    {"a process", "python3",
        "import os\n"
        "try:\n pid = os.fork()\n print('done')\nexcept OSError: pass"},
    {"a file", "python3",
        "try:\n open('x', 'w')\n print('done')\nexcept OSError: pass"},
    {"a file elsewhere", "python3",
        "try:\n open('/tmp/lensclerk-test-child', 'w')\n print('done')\n"
        "except OSError: pass"},
    {"a folder", "python3",
        "import os\n"
        "try:\n os.mkdir('/tmp/lensclerk-test-child')\n print('done')\n"
        "except OSError: pass"},
    {"the end of another", "python3",
        "import os\n"
        "try:\n os.kill(os.getppid(), 0)\n print('done')\nexcept OSError: "
        "pass"},
    {"the same by another call", "python3",
        "import ctypes, os\n"
        "if ctypes.CDLL(None).sigqueue(os.getppid(), 0, None) == 0: "
        "print('done')"},
    {"a hold on another", "python3",
        "import os\n"
        "try:\n os.pidfd_open(os.getppid())\n print('done')\n"
        "except OSError: pass"},
    {"the limits of another", "python3",
        "import os, resource as r\n"
        "try:\n r.prlimit(os.getppid(), r.RLIMIT_CPU)\n print('done')\n"
        "except OSError: pass\n"
        "r.prlimit(0, r.RLIMIT_CPU)"},
    {"our open files", "python3",
        "import os\n"
        "for fd in range(3, 30):\n"
        " try:\n  os.fstat(fd)\n  print('done')\n except OSError: pass"},
    {"our environment", "python3",
        "import os\n"
        "if set(os.environ) - {'PATH', 'LC_CTYPE'}: print('done')"},
    {"a file of our folder", "python3",
        "import os\n"
        "if os.listdir('.'): print('done')"},
};

START_TEST(what_may_not_be_done_is_not)
{
    TEXT_AUTO out = {0};

    ck_assert_int_eq(
        run(DENIED[_i].name, DENIED[_i].script, &EASY, &out), CHILD_OK);
    ck_assert_msg(out.len == 0, "%s: %s", DENIED[_i].why, out.data);
}
END_TEST

Suite *suite_child(void)
{
    TCase *tc;
    Suite *s = suite_new("child", &tc);

    tcase_set_timeout(tc, 30);
    tcase_add_test(tc, bytes_go_in_and_come_out);
    tcase_add_test(tc, a_long_input_arrives_whole);
    tcase_add_loop_test(tc, an_end_is_told, 0, ROWS(ENDS));
    tcase_add_loop_test(tc, what_may_not_be_done_is_not, 0, ROWS(DENIED));
    return s;
}
