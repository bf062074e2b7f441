#include <signal.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "suites.h"

START_TEST(pieces_are_aligned_apart_and_keep_what_is_written)
{
    struct arena *arena = arena_new();
    unsigned char *pieces[600];

    for (size_t i = 0; i < ARRAY_LEN(pieces); i++) {
        size_t size = i % 97 + (i % 50 == 0 ? 9000 : 0);

        pieces[i] = arena_alloc(arena, size);
        ck_assert_uint_eq((uintptr_t)pieces[i] % _Alignof(max_align_t), 0);
        memset(pieces[i], (int)(i & 0xff), size);
    }
    for (size_t i = 0; i < ARRAY_LEN(pieces); i++) {
        size_t size = i % 97 + (i % 50 == 0 ? 9000 : 0);

        for (size_t k = 0; k < size; k++)
            ck_assert_uint_eq(pieces[i][k], i & 0xff);
    }
    arena_free(arena);
}
END_TEST

START_TEST(a_cleared_piece_is_zero_also_where_others_stood)
{
    struct arena *arena = arena_new();
    const unsigned char *zeros;

    for (int round = 0; round < 3; round++) {
        memset(arena_alloc(arena, 5000), 0xff, 5000);
        arena_reset(arena);
        zeros = arena_calloc(arena, 100, 40);
        for (size_t i = 0; i < 4000; i++)
            ck_assert_uint_eq(zeros[i], 0);
    }
    arena_free(arena);
}
END_TEST

START_TEST(a_list_grows_and_keeps_its_items)
{
    struct arena *arena = arena_new();
    size_t room = 0, grown = 0;
    int *items = NULL;

    for (int i = 0; i < 1000; i++) {
        const int *before = items;

        items = arena_grow(arena, items, (size_t)i, &room, sizeof(*items));
        ck_assert_uint_gt(room, (size_t)i);
        ck_assert_int_eq(items[i], 0);
        items[i] = i;
        grown += items != before;
    }
    for (int i = 0; i < 1000; i++)
        ck_assert_int_eq(items[i], i);
    ck_assert_uint_eq(grown, 8); /* 8, 16, ... 1024 */
    arena_free(arena);
}
END_TEST

START_TEST(texts_are_copied_whole)
{
    struct arena *arena = arena_new();
    char *long_one = arena_printf(arena, "%0*d|", 5000, 7);
    char *copy = arena_memdup(arena, "a\0b", 3);

    ck_assert_uint_eq(strlen(long_one), 5001);
    ck_assert_int_eq(long_one[5000], '|');
    ck_assert(memcmp(copy, "a\0b", 4) == 0);
    ck_assert_str_eq(arena_strdup(arena, ""), "");
    ck_assert_str_eq(arena_printf(arena, "%s %d", "x", -1), "x -1");
    /* On both sides of the buffer that most texts fit in. */
    for (size_t len = 250; len < 260; len++)
        ck_assert_uint_eq(
            strlen(arena_printf(arena, "%*s", (int)len, "")), len);
    arena_free(arena);
}
END_TEST

START_TEST(nothing_may_be_freed)
{
    arena_free(NULL);
}
END_TEST

START_TEST(a_size_that_cannot_be_ends_the_process)
{
    struct arena *arena = arena_new();

    arena_calloc(arena, SIZE_MAX / 8, 16); /* the product wraps around */
}
END_TEST

Suite *suite_arena(void)
{
    TCase *tc;
    Suite *s = suite_new("arena", &tc);

    tcase_add_test(tc, pieces_are_aligned_apart_and_keep_what_is_written);
    tcase_add_test(tc, a_cleared_piece_is_zero_also_where_others_stood);
    tcase_add_test(tc, a_list_grows_and_keeps_its_items);
    tcase_add_test(tc, texts_are_copied_whole);
    tcase_add_test(tc, nothing_may_be_freed);
    tcase_add_test_raise_signal(
        tc, a_size_that_cannot_be_ends_the_process, SIGABRT);
    return s;
}
