/*
 * The binary form of an array, as PostgreSQL 15 reads it (array_recv in
 * src/backend/utils/adt/arrayfuncs.c; the elements as in int.c, float.c,
 * uuid.c and timestamp.c): number of dimensions, a flag for nulls, the
 * element's type; per dimension its length and first index; per element its
 * length, -1 for null, and its bytes.  Integers are 32 bits, network order.
 */
#include <math.h>
#include <string.h>

#include "suites.h"

#include "base/instant.h"
#include "base/num.h"
#include "db/parray.h"

static void expect(struct parray *a, const char *want, size_t len)
{
    parray_end(a);
    ck_assert_uint_eq(a->bytes.len, len);
    for (size_t i = 0; i < len; i++)
        ck_assert_msg(a->bytes.data[i] == want[i], "byte %zu: %02x, not %02x",
            i, (unsigned char)a->bytes.data[i], (unsigned char)want[i]);
    parray_free(a);
}

#define EXPECT(a, want) expect(a, want, sizeof(want) - 1)

#define HEAD(type, n)                                                          \
    "\0\0\0\1"                                                                 \
    "\0\0\0\1" type n "\0\0\0\1"
#define NULL_ELEMENT "\xff\xff\xff\xff"

START_TEST(integers_stand_in_network_order)
{
    struct parray a;

    parray_start(&a, PARRAY_INT4); /* OID 23 */
    parray_int(&a, 1);
    parray_int(&a, -225);
    parray_int(&a, NUM_ABSENT);
    EXPECT(&a,
        HEAD("\0\0\0\x17", "\0\0\0\3") "\0\0\0\4\0\0\0\1"
                                       "\0\0\0\4\xff\xff\xff\x1f" NULL_ELEMENT);
}
END_TEST

START_TEST(texts_and_bytes_stand_with_their_length)
{
    struct parray a;

    parray_start(&a, PARRAY_TEXT); /* OID 25 */
    parray_text(&a, "ab");
    parray_text(&a, "");
    parray_text(&a, NULL);
    EXPECT(&a, HEAD("\0\0\0\x19", "\0\0\0\3") "\0\0\0\2"
                                              "ab"
                                              "\0\0\0\0" NULL_ELEMENT);
    parray_start(&a, PARRAY_BYTEA); /* OID 17 */
    parray_bytes(&a, "\0\xff\n", 3);
    EXPECT(&a, HEAD("\0\0\0\x11", "\0\0\0\1") "\0\0\0\3\0\xff\n");
}
END_TEST

START_TEST(doubles_stand_as_ieee_754)
{
    struct parray a;

    parray_start(&a, PARRAY_FLOAT8); /* OID 701 = 0x2bd */
    /* -2.5 = -1.25 * 2^1: sign, exponent 0x400, fraction 0x4 and zeros */
    parray_real(&a, -2.5);
    parray_real(&a, (double)NAN);
    parray_real(&a, (double)INFINITY);
    EXPECT(&a, HEAD("\0\0\2\xbd",
                   "\0\0\0\3") "\0\0\0\x8\xc0\4\0\0\0\0\0\0" NULL_ELEMENT
                   NULL_ELEMENT);
}
END_TEST

START_TEST(times_count_microseconds_from_2000)
{
    struct parray a;
    int64_t us;
    int offset;

    parray_start(&a, PARRAY_TIMESTAMPTZ); /* OID 1184 = 0x4a0 */
    ck_assert(instant_parse("2000-01-01T00:00:01Z", &us, &offset));
    parray_time(&a, us); /* 1,000,000 = 0xf4240 */
    ck_assert(instant_parse("1999-12-31T23:59:59.999999Z", &us, &offset));
    parray_time(&a, us); /* -1 */
    EXPECT(&a, HEAD("\0\0\4\xa0", "\0\0\0\2") "\0\0\0\x8\0\0\0\0\0\xf\x42\x40"
                                              "\0\0\0\x8\xff\xff\xff\xff\xff"
                                              "\xff\xff\xff");
}
END_TEST

START_TEST(ids_stand_as_their_sixteen_bytes)
{
    struct parray a;

    parray_start(&a, PARRAY_UUID); /* OID 2950 = 0xb86 */
    parray_uuid(&a, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
    parray_uuid(&a, "");
    parray_uuid(&a, NULL);
    EXPECT(&a, HEAD("\0\0\xb\x86",
                   "\0\0\0\3") "\0\0\0\x10\x01\x7f\x22\xe2\x79"
                               "\xb0\x7c\xc3\x98\xc4\xdc\x0c"
                               "\x0c\x07\x39\x8f" NULL_ELEMENT NULL_ELEMENT);
}
END_TEST

START_TEST(an_empty_array_has_no_dimension)
{
    struct parray a;

    parray_start(&a, PARRAY_INT4);
    parray_end(&a);
    ck_assert_uint_eq(a.bytes.len, 12);
    ck_assert(memcmp(a.bytes.data, "\0\0\0\0", 4) == 0);
    ck_assert(memcmp(a.bytes.data + 8, "\0\0\0\x17", 4) == 0);
    parray_free(&a);
}
END_TEST

void parray_tests(TCase *tc)
{
    tcase_add_test(tc, integers_stand_in_network_order);
    tcase_add_test(tc, texts_and_bytes_stand_with_their_length);
    tcase_add_test(tc, doubles_stand_as_ieee_754);
    tcase_add_test(tc, times_count_microseconds_from_2000);
    tcase_add_test(tc, ids_stand_as_their_sixteen_bytes);
    tcase_add_test(tc, an_empty_array_has_no_dimension);
}
