/*
 * The JSON readers and writers of powers, prism, pupil distances, acuity and
 * eyes, by the rows of tests/data/record/readers.jsonl: {"why", "reader",
 * "side"?, "in", and "out" (what is written again, as text) or "faults"
 * (the pointers)}.
 */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "record/eye.h"
#include "record/pd.h"
#include "record/power.h"

#define ROWS_MAX 200

static json_t *rows[ROWS_MAX];
static size_t n_rows;

static bool run_power(
    struct json_in in, enum record_side side, struct json_out *o)
{
    struct record_sent sent;

    (void)side;
    if (!record_sent_read(in, RECORD_AXIS_PERSON, &sent))
        return false;
    json_out_object(o, "it");
    record_power_write(o, record_power_from(sent));
    json_out_object_end(o);
    record_sent_write(o, "sent", sent);
    return true;
}

static bool run_prism(
    struct json_in in, enum record_side side, struct json_out *o)
{
    struct record_prism prism;

    if (!record_prism_read(in, side, &prism))
        return false;
    record_prism_write(o, "it", &prism);
    return true;
}

static bool run_pd(struct json_in in, enum record_side side, struct json_out *o)
{
    struct record_pd pd;

    (void)side;
    if (!record_pd_read(in, &pd))
        return false;
    record_pd_write(o, "it", &pd);
    return true;
}

static bool run_acuity(
    struct json_in in, enum record_side side, struct json_out *o)
{
    struct record_acuity acuity;

    (void)side;
    if (!record_acuity_read(in, &acuity))
        return false;
    record_acuity_write(o, "it", &acuity);
    return true;
}

static bool run_eye(
    struct json_in in, enum record_side side, struct json_out *o)
{
    struct record_eye eye;

    if (!record_eye_read(in, side, &eye))
        return false;
    record_eye_write(o, "it", &eye);
    return true;
}

static const struct {
    const char *name;
    bool (*run)(struct json_in, enum record_side, struct json_out *);
} READERS[] = {
    {"power", run_power},
    {"prism", run_prism},
    {"pd", run_pd},
    {"acuity", run_acuity},
    {"eye", run_eye},
};

static const char *text_of(const json_t *row, const char *name)
{
    const char *text = json_string_value(json_object_get(row, name));

    return text ? text : "";
}

static enum record_side side_of(const json_t *row)
{
    for (int i = 0; i < RECORD_SIDES; i++)
        if (strcmp(record_side_word((enum record_side)i),
                text_of(row, "side")) == 0)
            return (enum record_side)i;
    return RECORD_RIGHT;
}

static void want_faults(const json_t *row, const struct err *err)
{
    const json_t *want = json_object_get(row, "faults");
    const struct err_fault *f = err->faults;
    json_t *pointer;
    size_t i;

    json_array_foreach (want, i, pointer) {
        ck_assert_msg(f != NULL, "%s: only %zu faults", text_of(row, "why"), i);
        ck_assert_msg(strcmp(f->pointer, json_string_value(pointer)) == 0,
            "%s: fault at %s: %s", text_of(row, "why"), f->pointer, f->detail);
        f = f->next;
    }
    ck_assert_msg(!f, "%s: one more fault at %s: %s", text_of(row, "why"),
        f ? f->pointer : "", f ? f->detail : "");
}

START_TEST(a_member_is_read_and_written_as_its_row_says)
{
    const json_t *row = rows[_i];
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    bool found = false, good = false;

    for (size_t i = 0; i < ARRAY_LEN(READERS); i++) {
        if (strcmp(READERS[i].name, text_of(row, "reader")) != 0)
            continue;
        found = true;
        good = READERS[i].run(
            json_in_root(json_object_get(row, "in"), &err), side_of(row), &o);
    }
    ck_assert_msg(found, "%s: no such reader", text_of(row, "why"));
    ck_assert_msg(good == !json_object_get(row, "faults"), "%s: %s",
        text_of(row, "why"), err.faults ? err.faults->detail : "was taken");
    want_faults(row, &err);
    if (good)
        ck_assert_msg(strcmp(t.data ? t.data : "", text_of(row, "out")) == 0,
            "%s: %s", text_of(row, "why"), t.data);
    arena_free(arena);
}
END_TEST

static const struct {
    const char *why, *minus, *plus;
} VIEWS[] = {
    {"two decimals stay two",
        "\"sphere\":-2.25,\"cylinder\":-0.75,\"axis\":172",
        "\"sphere\":-3.00,\"cylinder\":0.75,\"axis\":82"},
    {"axis 90 becomes 180",
        "{\"sphere\":1.00,\"cylinder\":-1.00,\"axis\":90,\"m\":0.5}",
        "{\"sphere\":0.00,\"cylinder\":1.00,\"axis\":180,\"m\":0.5}"},
    {"a computed power keeps its places",
        "{\"sphere\":-2.5838,\"cylinder\":-0.4157,\"axis\":1.25}",
        "{\"sphere\":-2.9995,\"cylinder\":0.4157,\"axis\":91.25}"},
    {"no cylinder, nothing to turn",
        "{\"sphere\":1.00,\"cylinder\":0.00,\"axis\":null}",
        "{\"sphere\":1.00,\"cylinder\":0.00,\"axis\":null}"},
    {"what was sent stays",
        "{\"form\":\"minus\",\"sphere\":1.00,\"cylinder\":-1.00,\"axis\":90}",
        "{\"form\":\"minus\",\"sphere\":1.00,\"cylinder\":-1.00,\"axis\":90}"},
    {"a text that looks like a power stays",
        "{\"comment\":\"\\\"sphere\\\":1.00,\\\"cylinder\\\":-1.00\"}",
        "{\"comment\":\"\\\"sphere\\\":1.00,\\\"cylinder\\\":-1.00\"}"},
    {"cut off", "{\"sphere\":1.00,\"cylinder\":-1.0",
        "{\"sphere\":1.00,\"cylinder\":-1.0"},
    {"nothing", "", ""},
};

START_TEST(a_view_turns_every_power_and_nothing_else)
{
    TEXT_AUTO plus = {0}, back = {0};

    record_power_view(
        VIEWS[_i].minus, strlen(VIEWS[_i].minus), OPTICS_PLUS_CYL, &plus);
    ck_assert_msg(strcmp(plus.data, VIEWS[_i].plus) == 0, "%s: %s",
        VIEWS[_i].why, plus.data);
    record_power_view(plus.data, plus.len, OPTICS_MINUS_CYL, &back);
    ck_assert_msg(strcmp(back.data, VIEWS[_i].minus) == 0, "%s: back %s",
        VIEWS[_i].why, back.data);
}
END_TEST

/* -16.00 -2.50 x 158 has its strong meridian at 18.50, +3.00 -1.00 at 3.00 */
START_TEST(strength_is_the_greater_meridian)
{
    ck_assert_int_eq(
        record_power_strength((struct optics_rx){-1600, -250, 15800}), 1850);
    ck_assert_int_eq(
        record_power_strength((struct optics_rx){300, -100, 9000}), 300);
}
END_TEST

/* The minus form of the record, as it would be written in plus. */
START_TEST(a_power_is_written_in_either_form)
{
    struct record_sent plus =
        record_power_as((struct optics_rx){-300, -125, 9000}, OPTICS_PLUS_CYL);
    struct record_sent none =
        record_power_as((struct optics_rx){-300, 0, 0}, OPTICS_PLUS_CYL);

    ck_assert_int_eq(plus.sph_cd, -425);
    ck_assert_int_eq(plus.cyl_cd, 125);
    ck_assert_int_eq(plus.axis_cdeg, 18000);
    ck_assert_int_eq(none.cyl_cd, 0);
    ck_assert_int_eq(none.axis_cdeg, NUM_ABSENT);
}
END_TEST

static void read_rows(void)
{
    FILE *f = fopen(TEST_DATA "/record/readers.jsonl", "r");
    char line[2000];
    json_error_t e;

    if (!f) {
        perror(TEST_DATA "/record/readers.jsonl");
        exit(2);
    }
    while (n_rows < ROWS_MAX && fgets(line, sizeof(line), f)) {
        rows[n_rows] = json_loads(line, 0, &e);
        if (!rows[n_rows++]) {
            fprintf(stderr, "row %zu: %s\n", n_rows, e.text);
            exit(2);
        }
    }
    fclose(f);
}

int main(void)
{
    Suite *suite = suite_create("readers");
    TCase *tc = tcase_create("readers");
    SRunner *runner;
    int failed;

    read_rows();
    tcase_add_loop_test(
        tc, a_member_is_read_and_written_as_its_row_says, 0, (int)n_rows);
    tcase_add_loop_test(tc, a_view_turns_every_power_and_nothing_else, 0,
        (int)ARRAY_LEN(VIEWS));
    tcase_add_test(tc, strength_is_the_greater_meridian);
    tcase_add_test(tc, a_power_is_written_in_either_form);
    suite_add_tcase(suite, tc);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed || !n_rows ? EXIT_FAILURE : EXIT_SUCCESS;
}
