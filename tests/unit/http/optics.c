/*
 * The bodies of POST /v1/optics/{function}: every row of tests/data/optics as
 * a request, and requests that make no sense.  Sources stand in the rows.
 */
#include <check.h>
#include <glob.h>
#include <stdlib.h>
#include <string.h>

#include "../optics/case_file.h"

#include "base/arena.h"
#include "base/text.h"
#include "http/optics_answer.h"

#define PATH "/v1/optics/"

struct answer {
    struct arena *arena;
    struct err err;
    struct text text;
};

/* Computes body; the caller ends with answer_free. */
static enum rc ask(const char *function, const json_t *body, struct answer *a)
{
    const struct http_optics *f = http_optics_find(function);

    ck_assert_msg(f != NULL, "no function \"%s\"", function);
    memset(a, 0, sizeof(*a));
    a->arena = arena_new();
    a->err = (struct err)ERR_INIT(a->arena);
    return http_optics_answer(f, body, &a->text, &a->err);
}

static void answer_free(struct answer *a)
{
    text_free(&a->text);
    arena_free(a->arena);
}

/*
 * Four eyes of the survey whose mean radius ends in half a hundredth: their
 * printed power is that of the rounded radius (see the library's own test).
 */
static bool of_rounded_radius(const char *id)
{
    static const char *const rows[] = {
        "04f:04f-v001", "04f:04f-v002", "04f:04f-v037", "04f:04f-v041"};

    for (size_t i = 0; i < ARRAY_LEN(rows); i++)
        if (strcmp(rows[i], id) == 0)
            return true;
    return false;
}

static void file_agrees(const char *name)
{
    json_t *rows = case_file_load(name), *body = json_array(), *got, *row;
    const char *path =
        json_string_value(json_object_get(json_array_get(rows, 0), "path"));
    json_error_t why;
    struct answer a;
    size_t i;

    json_array_foreach (rows, i, row)
        json_array_append(body, json_object_get(row, "request"));
    ck_assert_int_eq(strncmp(path, PATH, strlen(PATH)), 0);
    ck_assert_msg(ask(path + strlen(PATH), body, &a) == RC_OK, "%s: %s", name,
        a.err.detail);
    ck_assert_msg(strstr(a.text.data, "-0,") == NULL &&
                      strstr(a.text.data, "-0}") == NULL,
        "%s: a -0 left", name);
    got = json_loadb(a.text.data, a.text.len, 0, &why);
    ck_assert_msg(got != NULL, "%s: %s", name, why.text);
    ck_assert_uint_eq(json_array_size(got), json_array_size(rows));
    json_array_foreach (rows, i, row) {
        struct case_row c = {row, 0};

        if (!of_rounded_radius(json_string_value(json_object_get(row, "id"))))
            want_answer(&c, json_array_get(got, i));
    }
    json_decref(got);
    json_decref(body);
    json_decref(rows);
    answer_free(&a);
}

START_TEST(every_case_file_agrees)
{
    size_t dir = strlen(TEST_DATA "/");
    glob_t g;

    ck_assert_int_eq(glob(TEST_DATA "/*.jsonl", 0, NULL, &g), 0);
    ck_assert_uint_eq(g.gl_pathc, 63);
    for (size_t i = 0; i < g.gl_pathc; i++) {
        char *name = xstrdup(g.gl_pathv[i] + dir);

        *strrchr(name, '.') = '\0';
        file_agrees(name);
        free(name);
    }
    globfree(&g);
}
END_TEST

#define LENS "\"sphere\":-2,\"cylinder\":-1,\"axis\":90"

static const struct {
    const char *function, *request, *faults;
} WRONG[] = {
    {"transpose", "{\"sphere\":-2,\"cylinder\":-1,\"axis\":400}",
        "/axis \"400\" is outside 0 to 180 degrees"},
    {"transpose", "{\"sphere\":-2,\"cylinder\":-1}",
        "/axis is required with a cylinder"},
    {"transpose", "{\"sphere\":-2,\"cylinder\":-1,\"axis\":null}",
        "/axis is required with a cylinder"},
    {"transpose", "{}", "/sphere is required"},
    {"transpose", "{" LENS ",\"cyl\":1}", "/cyl no such field here"},
    {"transpose", "{\"sphere\":\"-2\"}", "/sphere must be a number"},
    {"transpose", "7", " must be an object, not a number"},
    {"transpose", "[{" LENS "},null]", "/1 is required"},
    {"transpose", "[{" LENS "},[]]", "/1 must be an object, not an array"},
    {"corneal-power", "{\"radius_mm\":7.5,\"index\":0.9}",
        "/index \"0.9\" is outside 1.001 to 3"},
    {"corneal-power", "{\"radius_mm\":0,\"index\":0.9}",
        "/radius_mm \"0\" is outside 1 to 100 mm;"
        "/index \"0.9\" is outside 1.001 to 3"},
    {"corneal-power",
        "[{\"radius_mm\":7.5,\"index\":1.3375},{\"radius_mm\":7.5},"
        "{\"radius_mm\":-1,\"index\":1.3375}]",
        "/1/index is required;/2/radius_mm \"-1\" is outside 1 to 100 mm"},
    {"vertex", "{\"sphere\":100,\"from_mm\":10,\"to_mm\":0}",
        "/sphere \"100\" has its focal point where the lens is moved to"},
    {"vertex",
        "[{\"sphere\":50,\"cylinder\":50,\"axis\":90,\"from_mm\":10,"
        "\"to_mm\":0}]",
        "/0/cylinder \"50\" gives a meridian with its focal point where the "
        "lens is moved to"},
    {"vertex", "{" LENS ",\"to_mm\":0}", "/from_mm is required"},
    {"crossed-sum", "{\"first\":{" LENS "},\"second\":{\"sphere\":1e4}}",
        "/second/sphere \"10000\" is outside -1000 to 1000 D"},
    {"crossed-sum", "{\"first\":{" LENS "}}", "/second is required"},
    {"crossed-sum", "{\"first\":{" LENS "},\"second\":{\"x\":1}}",
        "/second/x no such field here;/second/sphere is required"},
    {"average", "{\"readings\":[]}",
        "/readings must hold 1 to 1000 items, not 0"},
    {"average", "{\"readings\":[{" LENS "},{\"sphere\":1,\"cylinder\":1}]}",
        "/readings/1/axis is required with a cylinder"},
    {"nearest-orderable", "{" LENS ",\"step\":0.2}",
        "/step \"0.2\" is none of 0.25, 0.125 and 0.12 D"},
    {"prism-compose", "{\"eye\":\"both\",\"base_in\":1,\"base_up\":0}",
        "/eye must be one of right, left"},
    {"prism-resolve", "{\"eye\":\"left\",\"amount\":1,\"angle\":361}",
        "/angle \"361\" is outside 0 to 360 degrees"},
    {"prism-split",
        "{\"left\":{\"base_in\":1},\"right\":5,\"share_right\":0.5}",
        "/right must be an object, not a number;/left/base_up is required"},
    {"prism-decentration",
        "{\"eye\":\"left\",\"sphere\":0,\"base_in\":1,\"base_up\":0}",
        "/sphere \"0\" leaves a meridian without power to make prism"},
    {"corneal-astigmatism",
        "{\"flat_power\":45,\"flat_axis\":90,\"steep_power\":43}",
        "/steep_power \"43\" is flatter than flat_power"},
    {"refractive-from-corneal",
        "{\"corneal_cylinder\":-1,\"factor\":1,\"constant\":-0.5}",
        "/corneal_axis is required with a cylinder"},
    {"acuity", "{\"decimal\":1,\"logmar\":0}",
        " must have one of snellen_20ft, snellen_6m, decimal, logmar"},
    {"acuity", "[{}]",
        "/0 must have one of snellen_20ft, snellen_6m, decimal, logmar"},
    {"acuity", "{\"decimal\":1,\"score\":\"letters\"}",
        "/score must be one of etdrs-85, vas-100"},
    {"low-vision", "{\"entry\":\"CF\",\"scheme\":\"holladay\"}",
        "/distance_ft is required"},
    {"low-vision",
        "{\"entry\":\"LP\",\"scheme\":\"holladay\",\"distance_ft\":2}",
        "/entry has no logMAR in this scheme"},
    {"aniseikonia",
        "{\"right\":{\"front_power\":5,\"back_vertex_power\":50,"
        "\"thickness_mm\":2},\"left\":{\"front_power\":5,"
        "\"back_vertex_power\":50,\"thickness_mm\":2},\"index\":1.5,"
        "\"vertex_to_pupil_mm\":20}",
        "/right/back_vertex_power \"50\" has its focal point at the pupil;"
        "/left/back_vertex_power \"50\" has its focal point at the pupil"},
    {"pd-error", "{\"right\":{" LENS ",\"centre_mm\":30,\"pd_mm\":-1}}",
        "/right/pd_mm \"-1\" is outside 0 to 100 mm;/left is required"},
};

START_TEST(every_fault_is_named_at_its_pointer)
{
    json_error_t why;
    json_t *body = json_loads(WRONG[_i].request, JSON_DECODE_ANY, &why);
    TEXT_AUTO faults = {0};
    struct answer a;

    ck_assert_msg(body != NULL, "%s", why.text);
    ck_assert_int_eq(ask(WRONG[_i].function, body, &a), RC_INVALID);
    for (const struct err_fault *f = a.err.faults; f; f = f->next)
        text_printf(
            &faults, "%s%s %s", faults.len ? ";" : "", f->pointer, f->detail);
    ck_assert_str_eq(faults.data, WRONG[_i].faults);
    json_decref(body);
    answer_free(&a);
}
END_TEST

static const struct {
    const char *why, *function, *request, *answer;
} ANSWERS[] = {
    {"a lens may be told without cylinder", "transpose", "{\"sphere\":-2}",
        "{\"sphere\":-2,\"cylinder\":0,\"axis\":null}"},
    {"an axis of 0 is 180", "transpose",
        "{\"sphere\":0,\"cylinder\":-1,\"axis\":0}",
        "{\"sphere\":-1,\"cylinder\":1,\"axis\":90}"},
    {"an axis within a millionth of 0 is 180", "vertex",
        "{\"sphere\":0,\"cylinder\":-1,\"axis\":1e-7,\"from_mm\":0,"
        "\"to_mm\":0}",
        "{\"sphere\":0,\"cylinder\":-1,\"axis\":180}"},
    {"an axis beside no cylinder goes", "transpose",
        "{\"sphere\":-2,\"cylinder\":0,\"axis\":90}",
        "{\"sphere\":-2,\"cylinder\":0,\"axis\":null}"},
    {"one notation of a lens less the other", "difference",
        "{\"new\":{\"sphere\":1,\"cylinder\":-1,\"axis\":180},"
        "\"old\":{\"sphere\":0,\"cylinder\":1,\"axis\":90}}",
        "{\"sphere\":0,\"cylinder\":0,\"axis\":null}"},
    {"eighths as they are written", "nearest-orderable",
        "{\"sphere\":-1.12,\"cylinder\":-0.37,\"axis\":10,\"step\":0.12}",
        "{\"sphere\":-1.12,\"cylinder\":-0.37,\"axis\":10,"
        "\"residual\":{\"m\":0,\"j0\":0,\"j45\":0},\"distance\":0}"},
    {"the other letter score", "letter-score",
        "{\"letters\":100,\"score\":\"vas-100\"}",
        "{\"logmar\":0,\"decimal\":1}"},
    {"no prism has no direction", "prism-compose",
        "{\"eye\":\"left\",\"base_in\":0,\"base_up\":0}",
        "{\"amount\":0,\"angle\":null}"},
};

START_TEST(an_answer_is_written_so)
{
    json_error_t why;
    json_t *body = json_loads(ANSWERS[_i].request, 0, &why);
    json_t *want = json_loads(ANSWERS[_i].answer, 0, &why), *got;
    struct answer a;

    ck_assert(body && want);
    ck_assert_msg(
        ask(ANSWERS[_i].function, body, &a) == RC_OK, "%s", ANSWERS[_i].why);
    got = json_loadb(a.text.data, a.text.len, JSON_DECODE_INT_AS_REAL, &why);
    json_decref(want);
    want = json_loads(ANSWERS[_i].answer, JSON_DECODE_INT_AS_REAL, &why);
    ck_assert_msg(
        json_equal(got, want), "%s: got %s", ANSWERS[_i].why, a.text.data);
    json_decref(got);
    json_decref(want);
    json_decref(body);
    answer_free(&a);
}
END_TEST

START_TEST(a_hundred_thousand_items_are_one_request)
{
    json_error_t why;
    json_t *item = json_loads("{" LENS "}", 0, &why);
    json_t *body = json_array(), *got;
    struct answer a;

    for (int i = 0; i < 100000; i++)
        json_array_append(body, item);
    ck_assert_int_eq(ask("transpose", body, &a), RC_OK);
    got = json_loadb(a.text.data, a.text.len, 0, &why);
    ck_assert_uint_eq(json_array_size(got), 100000);
    json_decref(got);
    answer_free(&a);
    json_array_append(body, item);
    ck_assert_int_eq(ask("transpose", body, &a), RC_INVALID);
    ck_assert_str_eq(
        a.err.faults->detail, "must hold 1 to 100000 items, not 100001");
    answer_free(&a);
    json_array_clear(body);
    ck_assert_int_eq(ask("transpose", body, &a), RC_INVALID);
    ck_assert_str_eq(
        a.err.faults->detail, "must hold 1 to 100000 items, not 0");
    answer_free(&a);
    json_decref(body);
    json_decref(item);
}
END_TEST

START_TEST(faults_end_at_a_hundred)
{
    json_t *body = json_array();
    struct answer a;
    size_t n = 0;

    for (int i = 0; i < 1000; i++)
        json_array_append_new(body, json_object());
    ck_assert_int_eq(ask("transpose", body, &a), RC_INVALID);
    for (const struct err_fault *f = a.err.faults; f; f = f->next)
        n++;
    ck_assert_uint_eq(n, ERR_FAULTS_MAX);
    answer_free(&a);
    json_decref(body);
}
END_TEST

START_TEST(no_other_function_is_found)
{
    ck_assert_ptr_null(http_optics_find("transposed"));
    ck_assert_ptr_null(http_optics_find(""));
    ck_assert_ptr_nonnull(http_optics_find("nearest-orderable"));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("http optics");
    TCase *tc = tcase_create("http optics");
    SRunner *sr;
    int failed;

    tcase_set_timeout(tc, 60);
    tcase_add_test(tc, every_case_file_agrees);
    tcase_add_loop_test(
        tc, every_fault_is_named_at_its_pointer, 0, ARRAY_LEN(WRONG));
    tcase_add_loop_test(tc, an_answer_is_written_so, 0, ARRAY_LEN(ANSWERS));
    tcase_add_test(tc, a_hundred_thousand_items_are_one_request);
    tcase_add_test(tc, faults_end_at_a_hundred);
    tcase_add_test(tc, no_other_function_is_found);
    suite_add_tcase(s, tc);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
