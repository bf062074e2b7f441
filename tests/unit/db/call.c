#include <math.h>
#include <string.h>

#include "suites.h"

#include "base/arena.h"
#include "base/num.h"
#include "db/call.h"

static const struct db_stmt NINE = {0, 9, "nine", "SELECT 1"};

/* Text arrays as the PostgreSQL 15 manual writes them (8.15.6): quotation
 * marks around each, a backslash before one inside and before a backslash,
 * NULL without marks; "NULL" in marks is the word. */
static const struct {
    const char *texts[3];
    size_t n;
    const char *want;
} ARRAYS[] = {
    {{0}, 0, "{}"},
    {{"a"}, 1, "{\"a\"}"},
    {{"a", "b", "c"}, 3, "{\"a\",\"b\",\"c\"}"},
    {{"", NULL, "NULL"}, 3, "{\"\",NULL,\"NULL\"}"},
    {{"{1,2}", "a,b", " "}, 3, "{\"{1,2}\",\"a,b\",\" \"}"},
    {{"say \"x\"", "back\\slash"}, 2, "{\"say \\\"x\\\"\",\"back\\\\slash\"}"},
    {{"\\\"", "\xc3\xa9\n"}, 2, "{\"\\\\\\\"\",\"\xc3\xa9\n\"}"},
};

START_TEST(texts_become_an_array_that_nothing_inside_can_break)
{
    struct arena *arena = arena_new();
    struct db_call *call = db_call_new(arena, &NINE);

    db_put_texts(call, ARRAYS[_i].texts, ARRAYS[_i].n);
    ck_assert_str_eq(call->values[0], ARRAYS[_i].want);
    ck_assert_int_eq(call->formats[0], 0);
    arena_free(arena);
}
END_TEST

START_TEST(parameters_stand_in_order_as_text)
{
    struct arena *arena = arena_new();
    struct db_call *call = db_call_new(arena, &NINE);

    db_put_text(call, "x");
    db_put_null(call);
    db_put_int(call, INT64_MIN);
    db_put_cd(call, -225);
    db_put_cd(call, NUM_ABSENT);
    db_put_real(call, 0.1);
    db_put_real(call, (double)NAN);
    db_put_bool(call, true);
    db_put_time(call, 0);
    ck_assert_int_eq(call->n, 9);
    ck_assert_str_eq(call->values[0], "x");
    ck_assert_ptr_null(call->values[1]);
    ck_assert_str_eq(call->values[2], "-9223372036854775808");
    ck_assert_str_eq(call->values[3], "-225");
    ck_assert_ptr_null(call->values[4]);
    ck_assert_str_eq(call->values[5], "0.1");
    ck_assert_ptr_null(call->values[6]);
    ck_assert_str_eq(call->values[7], "t");
    ck_assert_str_eq(call->values[8], "1970-01-01T00:00:00Z");
    for (int i = 0; i < 9; i++)
        ck_assert_int_eq(call->formats[i], 0);
    arena_free(arena);
}
END_TEST

START_TEST(bytes_are_sent_as_they_are)
{
    struct arena *arena = arena_new();
    struct db_call *call = db_call_new(arena, &NINE);

    db_put_binary(call, "a\0b", 3);
    db_put_binary(call, NULL, 0);
    ck_assert_int_eq(call->formats[0], 1);
    ck_assert_int_eq(call->lengths[0], 3);
    ck_assert(memcmp(call->values[0], "a\0b", 3) == 0);
    ck_assert_ptr_null(call->values[1]);
    arena_free(arena);
}
END_TEST

void call_tests(TCase *tc)
{
    tcase_add_loop_test(tc, texts_become_an_array_that_nothing_inside_can_break,
        0, (int)ARRAY_LEN(ARRAYS));
    tcase_add_test(tc, parameters_stand_in_order_as_text);
    tcase_add_test(tc, bytes_are_sent_as_they_are);
}
