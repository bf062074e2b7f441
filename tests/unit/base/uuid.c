#include <string.h>

#include "suites.h"

#include "base/instant.h"
#include "base/uuid.h"

/* RFC 9562, appendix A.6: the version 7 example is of 2022-02-22 14:22:22.00
 * -05:00, whose milliseconds are 0x017F22E279B0. */
#define EXAMPLE_US (INT64_C(0x017F22E279B0) * 1000)

START_TEST(the_fields_stand_where_the_standard_puts_them)
{
    struct uuid id = uuid_new(EXAMPLE_US + 999);
    static const uint8_t ms[] = {0x01, 0x7f, 0x22, 0xe2, 0x79, 0xb0};
    int64_t us;
    int offset;

    ck_assert(instant_parse("2022-02-22T14:22:22.00-05:00", &us, &offset));
    ck_assert_int_eq(us, EXAMPLE_US);
    ck_assert(memcmp(id.bytes, ms, 6) == 0);
    ck_assert_int_eq(id.bytes[6] >> 4, 7); /* ver, bits 48 to 51 */
    ck_assert_int_eq(id.bytes[8] >> 6, 2); /* var, bits 64 and 65 */
    /* 6.2, method 3: 999 of 1000 in 12 bits is 4091. */
    ck_assert_int_eq((id.bytes[6] & 15) << 8 | id.bytes[7], 4091);
}
END_TEST

START_TEST(ids_sort_by_their_instant)
{
    char before[UUID_TEXT_SIZE], after[UUID_TEXT_SIZE];

    for (int64_t us = 0; us < 5000; us++) {
        uuid_text(uuid_new(EXAMPLE_US + us), before);
        uuid_text(uuid_new(EXAMPLE_US + us + 1), after);
        ck_assert_int_lt(strcmp(before, after), 0);
    }
}
END_TEST

START_TEST(two_of_one_instant_differ)
{
    struct uuid a = uuid_new(EXAMPLE_US), b = uuid_new(EXAMPLE_US);

    ck_assert(memcmp(a.bytes + 8, b.bytes + 8, 8) != 0);
}
END_TEST

START_TEST(text_and_bytes_go_both_ways)
{
    char text[UUID_TEXT_SIZE], lower[UUID_TEXT_SIZE];
    struct uuid id;

    /* RFC 9562, appendix A.6, as it is printed there. */
    ck_assert(uuid_parse("017F22E2-79B0-7CC3-98C4-DC0C0C07398F", 36, lower));
    ck_assert_str_eq(lower, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
    id = uuid_from_text(lower);
    ck_assert_int_eq(id.bytes[0], 0x01);
    ck_assert_int_eq(id.bytes[15], 0x8f);
    ck_assert_str_eq(uuid_text(id, text), lower);
}
END_TEST

static const char *const BAD[] = {
    "",
    "017f22e2-79b0-7cc3-98c4-dc0c0c07398",   /* 35 */
    "017f22e2-79b0-7cc3-98c4-dc0c0c07398ff", /* 37 */
    "017f22e279b0-7cc3-98c4-dc0c0c07398f-0", /* a hyphen elsewhere */
    "017f22e2-79b0-7cc3-98c4-dc0c0c07398g",
    "017f22e2_79b0_7cc3_98c4_dc0c0c07398f",
    "{17f22e2-79b0-7cc3-98c4-dc0c0c07398}",
    "017f22e279b07cc398c4dc0c0c07398f",
    "017f22e2-79b0-7cc3-98c4-dc0c0c07398\xc3",
};

START_TEST(what_is_no_id_is_refused)
{
    char lower[UUID_TEXT_SIZE];

    ck_assert(!uuid_parse(BAD[_i], strlen(BAD[_i]), lower));
}
END_TEST

Suite *suite_uuid(void)
{
    TCase *tc;
    Suite *s = suite_new("uuid", &tc);

    tcase_add_test(tc, the_fields_stand_where_the_standard_puts_them);
    tcase_add_test(tc, ids_sort_by_their_instant);
    tcase_add_test(tc, two_of_one_instant_differ);
    tcase_add_test(tc, text_and_bytes_go_both_ways);
    tcase_add_loop_test(tc, what_is_no_id_is_refused, 0, ROWS(BAD));
    return s;
}
