#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "suites.h"

#include "base/config.h"

/* Loads a file of that text; the name of the file is made anew each time. */
static enum rc load(const char *text, struct config **ret, struct err *err)
{
    char path[] = "/tmp/lensclerk-config-XXXXXX";
    int fd = mkstemp(path);
    enum rc rc;

    ck_assert_int_ge(fd, 0);
    ck_assert_int_eq(write(fd, text, strlen(text)), (ssize_t)strlen(text));
    close(fd);
    rc = config_load(path, ret, err);
    unlink(path);
    return rc;
}

static void forget_environment(void)
{
    unsetenv("LENSCLERK_SERVER_PORT");
    unsetenv("LENSCLERK_SERVER_METRICS_PORT");
    unsetenv("LENSCLERK_LOG_LEVEL");
}

START_TEST(defaults_are_there_without_a_file)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct config *c;

    forget_environment();
    ck_assert_int_eq(config_load(NULL, &c, &err), RC_OK);
    ck_assert_str_eq(c->listen, "127.0.0.1");
    ck_assert_int_eq(c->port, 8460);
    ck_assert_int_eq(c->metrics_port, 8461);
    ck_assert_int_eq(c->log_level, LOG_INFO);
    config_free(c);
    config_free(NULL);
    arena_free(arena);
}
END_TEST

START_TEST(the_environment_stands_over_the_file)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct config *c;

    forget_environment();
    setenv("LENSCLERK_SERVER_PORT", "9001", 1);
    ck_assert_int_eq(load("# ours\n[server]\nport = 9000\nlisten = ::1\n"
                          "[log]\nlevel = warning\n",
                         &c, &err),
        RC_OK);
    ck_assert_int_eq(c->port, 9001);
    ck_assert_int_eq(c->metrics_port, 9002); /* port + 1 */
    ck_assert_str_eq(c->listen, "::1");
    ck_assert_int_eq(c->log_level, LOG_WARNING);
    config_free(c);
    forget_environment();
    arena_free(arena);
}
END_TEST

static const struct {
    const char *why, *text, *say;
} BAD[] = {
    {"an unknown option is named", "[server]\nprot = 9000\n", "\"prot\""},
    {"an unknown group is named", "[sever]\nport = 9000\n", "[sever]"},
    {"an unknown group without options too", "[sever]\n", "[sever]"},
    {"an option of another group", "[log]\nport = 9000\n", "\"port\""},
    {"a port that is none", "[server]\nport = 70000\n", "70000"},
    {"a port of zero", "[server]\nport = 0\n", "[server] port"},
    {"a port with more behind it", "[server]\nport = 9000x\n", "9000x"},
    {"an unknown level", "[log]\nlevel = loud\n", "loud"},
    {"a key without its certificate", "[server]\ntls_key = /k.pem\n",
        "tls_certificate"},
    {"an option outside of any group", "port = 9000\n", "can't read"},
    {"a line that is none", "[server]\nport\n", "can't read"},
};

START_TEST(a_wrong_file_is_refused_by_name)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct config *c = NULL;

    forget_environment();
    ck_assert_msg(
        load(BAD[_i].text, &c, &err) == RC_INVALID, "%s", BAD[_i].why);
    ck_assert_msg(strstr(err.detail, BAD[_i].say) != NULL, "%s: %s",
        BAD[_i].why, err.detail);
    ck_assert_ptr_null(c);
    arena_free(arena);
}
END_TEST

START_TEST(a_wrong_variable_is_refused_by_the_options_name)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct config *c = NULL;

    setenv("LENSCLERK_SERVER_PORT", "-1", 1);
    ck_assert_int_eq(config_load(NULL, &c, &err), RC_INVALID);
    ck_assert_ptr_nonnull(strstr(err.detail, "[server] port"));
    forget_environment();
    arena_free(arena);
}
END_TEST

START_TEST(a_file_that_is_not_there_is_named)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct config *c = NULL;

    forget_environment();
    ck_assert_int_eq(
        config_load("/nonexistent/lensclerk.conf", &c, &err), RC_INVALID);
    ck_assert_ptr_nonnull(strstr(err.detail, "/nonexistent/lensclerk.conf"));
    arena_free(arena);
}
END_TEST

Suite *suite_config(void)
{
    TCase *tc;
    Suite *s = suite_new("config", &tc);

    tcase_add_test(tc, defaults_are_there_without_a_file);
    tcase_add_test(tc, the_environment_stands_over_the_file);
    tcase_add_loop_test(tc, a_wrong_file_is_refused_by_name, 0, ROWS(BAD));
    tcase_add_test(tc, a_wrong_variable_is_refused_by_the_options_name);
    tcase_add_test(tc, a_file_that_is_not_there_is_named);
    return s;
}
