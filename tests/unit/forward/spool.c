#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "suites.h"

#include "forward_spool.h"

static char dir[64];
static struct arena *arena;
static struct forward_spool *spool;
static const struct forward_label LABEL = {
    "text/csv", "counter", "a \"name\".csv"};

static void set_up(void)
{
    struct err err;

    arena = arena_new();
    err = (struct err)ERR_INIT(arena);
    snprintf(dir, sizeof(dir), "/tmp/lens-forward-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(dir));
    ck_assert_int_eq(forward_spool_open(dir, NULL, &spool, &err), RC_OK);
}

static void tear_down(void)
{
    pid_t pid = fork();

    if (pid == 0)
        execlp("rm", "rm", "-rf", dir, (char *)NULL);
    ck_assert(pid > 0 && waitpid(pid, NULL, 0) == pid);
    forward_spool_free(spool);
    arena_free(arena);
}

static void put(const char *content)
{
    struct err err = ERR_INIT(arena);
    struct forward_draft *draft;

    ck_assert_int_eq(forward_draft_new(spool, &LABEL, &draft, &err), RC_OK);
    /* In two pieces, which must make no difference. */
    ck_assert_int_eq(forward_draft_add(draft, content, 1, &err), RC_OK);
    ck_assert_int_eq(
        forward_draft_add(draft, content + 1, strlen(content) - 1, &err),
        RC_OK);
    ck_assert_int_eq(forward_draft_commit(draft, NULL, &err), RC_OK);
}

static struct forward_item next(void)
{
    struct forward_item item;
    unsigned damaged = 0;

    ck_assert(forward_spool_next(spool, &item, &damaged));
    ck_assert_uint_eq(damaged, 0);
    return item;
}

static void content_is(struct forward_item *item, const char *want)
{
    char got[100];
    ssize_t n = read(item->fd, got, sizeof(got));

    ck_assert_int_eq(item->length, (off_t)strlen(want));
    ck_assert_int_eq(n, (ssize_t)strlen(want));
    ck_assert_mem_eq(got, want, strlen(want));
}

START_TEST(what_goes_in_comes_out_in_order)
{
    struct forward_item item;
    unsigned damaged = 0;
    char text[16];

    for (int i = 0; i < 280; i++) {
        snprintf(text, sizeof(text), "x%d", i);
        put(text);
    }
    for (int i = 0; i < 280; i++) {
        snprintf(text, sizeof(text), "x%d", i);
        item = next();
        content_is(&item, text);
        ck_assert_str_eq(item.label.media, LABEL.media);
        ck_assert_str_eq(item.label.profile, LABEL.profile);
        ck_assert_str_eq(item.label.name, LABEL.name);
        forward_spool_done(spool, &item);
    }
    ck_assert(!forward_spool_next(spool, &item, &damaged));
}
END_TEST

/* By sha256sum of GNU coreutils:
 * printf 'text/csv\0counter\0content' | sha256sum */
START_TEST(the_key_is_of_media_profile_and_content)
{
    struct forward_item item;

    put("content");
    item = next();
    ck_assert_str_eq(item.key, "7836c8048a11782a725f2d73e395e17e"
                               "79ad69c60c6edcc334e957a34d3f97eb");
    forward_item_close(&item);
}
END_TEST

START_TEST(an_item_that_was_put_back_is_last)
{
    struct forward_item item;

    put("one");
    put("two");
    item = next();
    forward_spool_back(spool, &item);
    item = next();
    content_is(&item, "two");
    forward_spool_done(spool, &item);
    item = next();
    content_is(&item, "one");
    forward_spool_done(spool, &item);
}
END_TEST

START_TEST(a_draft_is_not_in_the_queue)
{
    struct err err = ERR_INIT(arena);
    struct forward_draft *draft;
    struct forward_item item;
    unsigned damaged = 0;

    ck_assert_int_eq(forward_draft_new(spool, &LABEL, &draft, &err), RC_OK);
    ck_assert_int_eq(forward_draft_add(draft, "x", 1, &err), RC_OK);
    ck_assert(!forward_spool_next(spool, &item, &damaged));
    forward_draft_free(draft);
    ck_assert(!forward_spool_next(spool, &item, &damaged));
}
END_TEST

static char *item_path(void)
{
    return arena_printf(arena, "%s/queue/%016d.item", dir, 1);
}

static void write_item(const char *bytes, size_t len)
{
    int fd = open(item_path(), O_WRONLY | O_CREAT | O_TRUNC, 0600);

    ck_assert_int_ge(fd, 0);
    ck_assert_int_eq(write(fd, bytes, len), (ssize_t)len);
    close(fd);
}

static void is_damaged(const char *bytes, size_t len)
{
    struct forward_item item;
    unsigned damaged = 0;

    write_item(bytes, len);
    ck_assert(!forward_spool_next(spool, &item, &damaged));
    ck_assert_uint_eq(damaged, 1);
    ck_assert_int_ne(access(item_path(), F_OK), 0);
}

/* The bytes of an item of "content", out of the queue. */
static size_t whole_item(char *ret, size_t size)
{
    int fd;
    ssize_t n;

    put("content");
    fd = open(item_path(), O_RDONLY);
    n = read(fd, ret, size);
    close(fd);
    ck_assert_int_eq(n, FORWARD_LABEL_SIZE + 7);
    return (size_t)n;
}

/* What a bad disk can leave: any length but the whole one, or more. */
START_TEST(every_cut_is_noticed)
{
    char bytes[4096] = {0};
    size_t whole = whole_item(bytes, sizeof(bytes));

    for (size_t len = 0; len < whole; len += len < 2040 ? 51 : 1)
        is_damaged(bytes, len);
    is_damaged(bytes, whole + 1);
}
END_TEST

START_TEST(every_other_byte_is_noticed)
{
    char bytes[4096] = {0};
    size_t whole = whole_item(bytes, sizeof(bytes));
    const char *key = strstr(bytes, "\"key\":\"");
    struct forward_item item;

    ck_assert_ptr_nonnull(key);
    for (size_t at = FORWARD_LABEL_SIZE; at < whole; at++) {
        bytes[at] ^= 1;
        is_damaged(bytes, whole);
        bytes[at] ^= 1;
    }
    bytes[key - bytes + 10] ^= 1;
    is_damaged(bytes, whole);
    bytes[key - bytes + 10] ^= 1;
    /* And with none of them changed it is whole. */
    write_item(bytes, whole);
    item = next();
    content_is(&item, "content");
    forward_item_close(&item);
}
END_TEST

START_TEST(a_refused_item_is_beside_its_reason)
{
    struct err err = ERR_INIT(arena);
    struct forward_item item;
    struct forward_counts counts;
    char *path = arena_printf(arena, "%s/refused/%s", dir, LABEL.name);

    put("content");
    item = next();
    ck_assert_int_eq(
        forward_spool_refuse(spool, &item, "so it is\n", &err), RC_OK);
    ck_assert_int_eq(access(path, F_OK), 0);
    ck_assert_int_eq(
        access(arena_printf(arena, "%s.reason.txt", path), F_OK), 0);
    ck_assert_int_eq(forward_spool_count(dir, NULL, &counts, &err), RC_OK);
    ck_assert_uint_eq(counts.refused, 1);
    ck_assert_uint_eq(counts.waiting, 0);
    ck_assert(counts.running);
}
END_TEST

START_TEST(numbers_go_on_after_a_restart)
{
    struct err err = ERR_INIT(arena);
    struct forward_item item;

    put("one");
    put("two");
    forward_spool_free(spool);
    ck_assert_int_eq(forward_spool_open(dir, NULL, &spool, &err), RC_OK);
    put("three");
    item = next();
    content_is(&item, "one");
    forward_spool_done(spool, &item);
    item = next();
    content_is(&item, "two");
    forward_spool_done(spool, &item);
    item = next();
    content_is(&item, "three");
    ck_assert_uint_eq(item.number, 3);
    forward_spool_done(spool, &item);
}
END_TEST

START_TEST(one_process_has_it)
{
    struct err err = ERR_INIT(arena);
    struct forward_spool *other = NULL;

    ck_assert_int_eq(forward_spool_open(dir, NULL, &other, &err), RC_CONFLICT);
    ck_assert_ptr_null(other);
}
END_TEST

Suite *suite_spool(void)
{
    Suite *s = suite_create("spool");
    TCase *tc = tcase_create("spool");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 60);
    tcase_add_checked_fixture(tc, set_up, tear_down);
    tcase_add_test(tc, what_goes_in_comes_out_in_order);
    tcase_add_test(tc, the_key_is_of_media_profile_and_content);
    tcase_add_test(tc, an_item_that_was_put_back_is_last);
    tcase_add_test(tc, a_draft_is_not_in_the_queue);
    tcase_add_test(tc, every_cut_is_noticed);
    tcase_add_test(tc, every_other_byte_is_noticed);
    tcase_add_test(tc, a_refused_item_is_beside_its_reason);
    tcase_add_test(tc, numbers_go_on_after_a_restart);
    tcase_add_test(tc, one_process_has_it);
    return s;
}
