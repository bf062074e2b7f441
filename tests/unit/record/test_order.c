/*
 * Orders: what they hold, what each lens design needs, what moves are lawful.
 * P-nn are published cases; their sources stand beside them.
 */
#include <check.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "record/order.h"
#include "record/order_needs.h"
#include "record/order_state.h"

static struct arena *arena;
static struct err err;
static json_t *parsed[8];
static size_t n_parsed;

static void setup(void)
{
    arena = arena_new();
    err = (struct err)ERR_INIT(arena);
}

static void teardown(void)
{
    while (n_parsed > 0)
        json_decref(parsed[--n_parsed]);
    arena_free(arena);
}

static struct json_in document(const char *text)
{
    ck_assert_uint_lt(n_parsed, sizeof(parsed) / sizeof(parsed[0]));
    ck_assert_int_eq(
        json_in_parse(text, strlen(text), &parsed[n_parsed], &err), RC_OK);
    return json_in_root(parsed[n_parsed++], &err);
}

static struct record_order order_of(const char *text)
{
    struct record_order order;

    ck_assert_msg(record_order_read(document(text), &order), "%s: %s", text,
        err.faults ? err.faults->detail : "");
    return order;
}

static struct record_order_rx rx_of(const char *text)
{
    struct record_order_rx rx;

    ck_assert_msg(record_order_rx_read(document(text), &rx), "%s: %s", text,
        err.faults ? err.faults->detail : "");
    return rx;
}

/* ---- reading and writing ----------------------------------------------- */

#define LENS                                                                   \
    "\"lens\":{\"design\":\"single-vision\",\"material\":\"resin\","           \
    "\"index\":1.498}"
#define SIZES "\"a_mm\":52,\"b_mm\":34.5,\"dbl_mm\":18,\"ed_mm\":55"
#define LAB "\"lab\":\"0190a0a0-0000-7000-8000-000000000001\""

START_TEST(an_order_reads_back_what_it_writes)
{
    static const char full[] =
        "{\"lens\":{\"design\":\"progressive\",\"material\":\"polyurethane\","
        "\"index\":1.67,\"treatments\":[\"anti-reflective\",\"hard\"],"
        "\"tint\":\"brown 80 %\"},"
        "\"frame\":{\"a_mm\":52.5,\"b_mm\":34,\"dbl_mm\":18,\"ed_mm\":55.25,"
        "\"worn_vertex_mm\":13,\"tilt_deg\":-8.5,\"wrap_deg\":5,"
        "\"fitting_height_mm\":{\"right\":22,\"left\":22.5},"
        "\"supply\":\"to-follow\"},\"only\":\"left\",\"purpose\":\"driving\","
        "\"priority\":\"urgent\",\"deliver_to\":\"front desk\","
        "\"notes\":\"two\\nlines\"}";
    struct record_order order = order_of(full);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_order_write(&o, &order);
    json_out_object_end(&o);
    ck_assert_str_eq(t.data, full);
    ck_assert_int_eq(order.only, RECORD_LEFT);
    ck_assert_int_eq(order.frame.tilt_cdeg, -850);
    ck_assert_int_eq(order.lens.index_milli, 1670);
}
END_TEST

static const struct {
    const char *why, *text, *pointers; /* blank between */
} WRONG[] = {
    {"a word outside its list", "{\"lens\":{\"design\":\"varifocal\"}}",
        "/lens/design"},
    {"a name that isn't known", "{\"lens\":{\"coating\":\"x\"}}",
        "/lens/coating"},
    {"an index of no lens", "{\"lens\":{\"index\":15}}", "/lens/index"},
    {"every fault at once",
        "{\"lens\":{\"index\":1,\"treatments\":[null,\"\"]},"
        "\"frame\":{\"a_mm\":520,\"b_mm\":\"34\",\"dbl_mm\":18.123}}",
        "/lens/index /lens/treatments/0 /lens/treatments/1 /frame/a_mm "
        "/frame/b_mm /frame/dbl_mm"},
    {"a height above the frame",
        "{\"frame\":{\"b_mm\":30,\"fitting_height_mm\":{\"right\":30.01}}}",
        "/frame/fitting_height_mm/right"},
    {"a pair of one lens", "{\"pair\":true,\"only\":\"right\"}", "/pair"},
    {"no pair and no eye", "{\"pair\":false}", "/pair"},
    {"an id that is none", "{\"lab\":\"the lab\",\"previous\":7}",
        "/lab /previous"},
    {"a frame that is no object", "{\"frame\":[],\"lens\":\"x\"}",
        "/lens /frame"},
    {"pd", "{\"pd_mm\":{\"right\":63}}", "/pd_mm/right"},
};

START_TEST(a_wrong_order_names_every_fault)
{
    struct record_order order;
    TEXT_AUTO got = {0};

    text_puts(&got, "");
    ck_assert(!record_order_read(document(WRONG[_i].text), &order));
    for (const struct err_fault *f = err.faults; f; f = f->next)
        text_printf(&got, "%s%s", got.len ? " " : "", f->pointer);
    ck_assert_msg(strcmp(got.data, WRONG[_i].pointers) == 0, "%s: %s",
        WRONG[_i].why, got.data);
}
END_TEST

/* ---- what is missing --------------------------------------------------- */

#define EYE(add) "{\"sphere\":-2.25,\"cylinder\":-0.75,\"axis\":172" add "}"
#define BOTH(add) "{\"right\":" EYE(add) ",\"left\":" EYE(add)
#define FAR_PD ",\"pd_mm\":{\"right\":31.5,\"left\":32}}"

static const struct {
    const char *why, *order, *rx, *pointers;
} GAPS[] = {
    {"single vision for distance needs nothing more",
        "{" LENS ",\"frame\":{" SIZES "}," LAB "}", BOTH("") FAR_PD, ""},
    {"nor a monocular PD",
        "{" LENS ",\"frame\":{" SIZES "}," LAB ",\"pd_mm\":{\"binocular\":63}}",
        BOTH("") "}", ""},
    {"P-20 (2): no PD", "{" LENS ",\"frame\":{" SIZES "}," LAB "}",
        BOTH("") "}", "/pd_mm/right /pd_mm/left"},
    {"P-20 (1): progressive, no add",
        "{\"lens\":{\"design\":\"progressive\",\"material\":\"resin\","
        "\"index\":1.5},\"frame\":{" SIZES
        ",\"fitting_height_mm\":{\"right\":22,\"left\":22}}," LAB "}",
        BOTH("") FAR_PD, "/right/add /left/add"},
    {"P-20: 0.00 and plano are not missing",
        "{" LENS ",\"frame\":{" SIZES "}," LAB "}",
        "{\"right\":{\"sphere\":0,\"cylinder\":0,\"axis\":null},"
        "\"left\":{\"sphere\":0.00}" FAR_PD,
        ""},
    {"nothing said", "{}", BOTH("") "}",
        "/lens/design /lens/material /lens/index /frame/a_mm /frame/b_mm "
        "/frame/dbl_mm /frame/ed_mm /lab"},
    {"a progressive needs each pupil and its height",
        "{\"lens\":{\"design\":\"progressive\",\"material\":\"resin\","
        "\"index\":1.5},\"frame\":{" SIZES "}," LAB
        ",\"pd_mm\":{\"binocular\":63}}",
        BOTH(",\"add\":2") "}",
        "/pd_mm/right /pd_mm/left /frame/fitting_height_mm/right "
        "/frame/fitting_height_mm/left"},
    {"a bifocal needs the near PD and the segment's height",
        "{\"lens\":{\"design\":\"bifocal\",\"material\":\"resin\","
        "\"index\":1.5},\"frame\":{" SIZES "}," LAB "}",
        BOTH(",\"add\":2") FAR_PD,
        "/pd_mm/near/right /pd_mm/near/left /frame/fitting_height_mm/right "
        "/frame/fitting_height_mm/left"},
    {"a trifocal also its middle add",
        "{\"lens\":{\"design\":\"trifocal\",\"material\":\"resin\","
        "\"index\":1.5},\"frame\":{" SIZES
        ",\"fitting_height_mm\":{\"right\":19,\"left\":19}}," LAB
        ",\"pd_mm\":{\"near\":60}}",
        BOTH(",\"add\":2") FAR_PD,
        "/right/intermediate_add /left/intermediate_add"},
    {"reading glasses need the add and the near PD",
        "{" LENS ",\"frame\":{" SIZES "}," LAB ",\"purpose\":\"near\"}",
        BOTH("") FAR_PD,
        "/right/add /left/add /pd_mm/near/right /pd_mm/near/left"},
    {"but no add when that is what was signed",
        "{" LENS ",\"frame\":{" SIZES "}," LAB ",\"pd_mm\":{\"near\":60}}",
        BOTH("") ",\"purpose\":\"near\"}", ""},
    {"a balance lens needs no figures",
        "{\"lens\":{\"design\":\"progressive\",\"material\":\"resin\","
        "\"index\":1.5},\"frame\":{" SIZES
        ",\"fitting_height_mm\":{\"right\":22}}," LAB
        ",\"pd_mm\":{\"right\":31}}",
        "{\"right\":" EYE(",\"add\":2") ",\"left\":{\"lens\":\"balance\"}}",
        ""},
    {"nor does the lens that isn't ordered",
        "{" LENS ",\"frame\":{" SIZES "}," LAB
        ",\"only\":\"left\",\"pd_mm\":{\"left\":31}}",
        BOTH("") "}", ""},
    {"no lens for the eye that is ordered",
        "{" LENS ",\"frame\":{" SIZES "}," LAB ",\"only\":\"left\"}",
        "{\"right\":" EYE("") ",\"left\":{\"lens\":\"none\"}}", "/only"},
    {"no lens at all", "{" LENS ",\"frame\":{" SIZES "}," LAB "}",
        "{\"right\":{\"lens\":\"none\"},\"left\":{\"lens\":\"none\"}}",
        "/right"},
};

START_TEST(each_design_names_what_it_lacks)
{
    struct record_order order = order_of(GAPS[_i].order);
    struct record_order_rx rx = rx_of(GAPS[_i].rx);
    struct record_gap gaps[RECORD_GAPS_MAX];
    size_t n = record_order_gaps(&order, &rx, arena, gaps);
    TEXT_AUTO got = {0};

    text_puts(&got, "");
    for (size_t i = 0; i < n; i++) {
        const char *word = record_side_word(gaps[i].side);

        text_printf(&got, "%s%s", i ? " " : "", gaps[i].pointer);
        ck_assert(gaps[i].field && gaps[i].detail);
        /* The sentence names the field, and the eye where there is one. */
        if (gaps[i].side != RECORD_BOTH && strcmp(gaps[i].field, "lens") != 0) {
            ck_assert_ptr_nonnull(strstr(gaps[i].detail, word));
            ck_assert_ptr_nonnull(strstr(gaps[i].detail, gaps[i].field));
        }
    }
    ck_assert_msg(strcmp(got.data, GAPS[_i].pointers) == 0, "%s: %s",
        GAPS[_i].why, got.data);
}
END_TEST

/* ---- cautions ---------------------------------------------------------- */

static const struct {
    const char *why, *order, *rx, *codes;
    const char *holds; /* by the first caution's text */
} CAUTIONS[] = {
    /* P-15, courses.durhamtech.edu/opticianry/oph142 module 9d. */
    {"adds of 3.00 and 1.00", "{\"lens\":{\"design\":\"bifocal\"}}",
        "{\"right\":{\"sphere\":5,\"add\":3},\"left\":{\"sphere\":2,\"add\":1}"
        "}",
        "adds-differ", "differ by 2.00 D: right +3.00, left +1.00"},
    {"equal adds", "{\"lens\":{\"design\":\"bifocal\"}}",
        BOTH(",\"add\":2") "}", "", NULL},
    {"an add that distance lenses don't hold",
        "{\"lens\":{\"design\":\"single-vision\"}}", BOTH(",\"add\":2") "}",
        "add-not-made", "single-vision"},
    {"-2.25 with an add of 1.50 is -0.75",
        "{\"lens\":{\"design\":\"single-vision\"},\"purpose\":\"near\"}",
        "{\"right\":" EYE(",\"add\":1.5") ",\"left\":{\"lens\":\"balance\"}}",
        "make-sum",
        "right eye, make this one: sphere -0.75, cylinder -0.75, axis 172;"},
    {"eighths are added as such: 2.12 and 0.62 are 2.75",
        "{\"lens\":{\"design\":\"single-vision\"},\"purpose\":\"near\"}",
        "{\"right\":{\"sphere\":2.12,\"add\":0.62},"
        "\"left\":{\"lens\":\"balance\"}}",
        "make-sum", "sphere +2.75, no cylinder"},
    {"a near Rx for driving",
        "{\"lens\":{\"design\":\"single-vision\"},\"purpose\":\"driving\"}",
        BOTH("") ",\"purpose\":\"near\"}", "purpose-differs", "\"driving\""},
    {"strong lenses worn elsewhere",
        "{\"lens\":{\"design\":\"single-vision\"},"
        "\"frame\":{\"worn_vertex_mm\":14}}",
        "{\"right\":{\"sphere\":-5},\"left\":{\"sphere\":-4.75},"
        "\"vertex_mm\":12}",
        "vertex-differs", "12.00 mm"},
    {"weak ones may", "{\"frame\":{\"worn_vertex_mm\":14}}",
        "{\"right\":{\"sphere\":-4.75},\"left\":{\"sphere\":-4.75},"
        "\"vertex_mm\":12}",
        "", NULL},
    {"pupils that don't add up",
        "{\"pd_mm\":{\"right\":31,\"left\":31,\"binocular\":63.5}}",
        BOTH("") "}", "pd-sum-differs", "62.00 mm"},
    {"a shape that can't be", "{\"frame\":{\"a_mm\":52,\"ed_mm\":50}}",
        BOTH("") "}", "ed-under-a", "ED"},
};

START_TEST(doubts_are_named_and_block_nothing)
{
    struct record_order order = order_of(CAUTIONS[_i].order);
    struct record_order_rx rx = rx_of(CAUTIONS[_i].rx);
    struct record_order_caution cautions[RECORD_ORDER_CAUTIONS_MAX];
    size_t n = record_order_cautions(&order, &rx, arena, cautions);
    TEXT_AUTO got = {0};

    text_puts(&got, "");
    for (size_t i = 0; i < n; i++)
        text_printf(&got, "%s%s", i ? " " : "", cautions[i].code);
    ck_assert_msg(strcmp(got.data, CAUTIONS[_i].codes) == 0, "%s: %s",
        CAUTIONS[_i].why, got.data);
    if (CAUTIONS[_i].holds)
        ck_assert_msg(strstr(cautions[0].text, CAUTIONS[_i].holds) != NULL,
            "%s: %s", CAUTIONS[_i].why, cautions[0].text);
}
END_TEST

/* ---- figures ----------------------------------------------------------- */

START_TEST(figures_are_the_orders_before_the_rxs)
{
    struct record_order order =
        order_of("{\"pd_mm\":{\"right\":30.5},\"frame\":"
                 "{\"fitting_height_mm\":{\"right\":21,\"left\":22}}}");
    struct record_order_rx rx = rx_of(
        "{\"right\":{\"sphere\":-2.12,\"cylinder\":-0.62,\"axis\":10,"
        "\"prism\":[{\"amount\":1,\"base\":\"out\"},"
        "{\"amount\":0.5,\"base\":\"down\"}]},"
        "\"left\":{\"lens\":\"balance\"},\"vertex_mm\":12.5,"
        "\"pd_mm\":{\"right\":31,\"left\":32,\"binocular\":63,\"near\":59}}");
    struct record_figures f =
        record_order_figures(&order, &rx, OPTICS_PLUS_CYL);
    const struct record_eye_figures *r = &f.eye[RECORD_RIGHT];

    /* True eighths: -2.125 - 0.625 = -2.75. */
    ck_assert_int_eq(r->sph_cd, -275);
    ck_assert_int_eq(r->cyl_cd, 62);
    ck_assert_int_eq(r->axis_deg, 100);
    ck_assert_int_eq(r->prism_in_cd, -100);
    ck_assert_int_eq(r->prism_up_cd, -50);
    ck_assert_int_eq(r->pd_far_mm100, 3050);
    ck_assert_int_eq(r->fitting_height_mm100, 2100);
    ck_assert_int_eq(f.eye[RECORD_LEFT].lens, RECORD_LENS_BALANCE);
    ck_assert_int_eq(f.eye[RECORD_LEFT].sph_cd, NUM_ABSENT);
    ck_assert_int_eq(f.eye[RECORD_LEFT].pd_far_mm100, 3200);
    /* Both pupils were measured anew in part: the old sum holds no more. */
    ck_assert_int_eq(f.pd_far_mm100, NUM_ABSENT);
    ck_assert_int_eq(f.pd_near_mm100, 5900);
    ck_assert_int_eq(f.vertex_mm100, 1250);
    order.only = RECORD_LEFT;
    f = record_order_figures(&order, &rx, OPTICS_MINUS_CYL);
    ck_assert_int_eq(f.eye[RECORD_RIGHT].lens, RECORD_LENS_NONE);
    ck_assert_int_eq(f.eye[RECORD_RIGHT].pd_far_mm100, NUM_ABSENT);
}
END_TEST

START_TEST(a_sum_of_this_order_replaces_pupils_of_the_rx)
{
    struct record_order order = order_of("{\"pd_mm\":{\"binocular\":64}}");
    struct record_order_rx rx = rx_of(BOTH("") FAR_PD);
    struct record_pd pd = record_order_pd(&order, &rx);

    ck_assert_int_eq(pd.far.binocular_mm100, 6400);
    ck_assert_int_eq(pd.far.right_mm100, NUM_ABSENT);
}
END_TEST

/* ---- states ------------------------------------------------------------ */

/* The moves, written down a second time as pairs of letters: draft D,
 * requested Q, received R, accepted A, rejected X, in-progress P, on-hold H,
 * completed C, cancelled N, failed F. */
static const char LETTERS[] = "DQRAXPHCNF";
static const char CLINIC_MOVES[] = "DQ DN QN RN AN PN HN";
static const char LAB_MOVES[] =
    "QR QA QX RA RX RH AP AH AF PH PC PF HA HX HP HF";

static bool lawful(const char *moves, int from, int to)
{
    char pair[3] = {LETTERS[from], LETTERS[to], '\0'};

    return strstr(moves, pair) != NULL;
}

START_TEST(only_lawful_moves_pass)
{
    static const enum record_party parties[] = {RECORD_CLINIC, RECORD_LAB};
    int passed = 0;

    for (int from = 0; from < RECORD_ORDER_STATUSES; from++)
        for (int to = 0; to < RECORD_ORDER_STATUSES; to++)
            for (int p = 0; p < 2; p++) {
                struct record_order_state now = {
                    (enum record_order_status)from, RECORD_STAGE_NONE};
                struct record_order_state then;
                struct record_order_move move = {
                    {(enum record_order_status)to, RECORD_STAGE_NONE},
                    parties[p]};
                bool want = lawful(p ? LAB_MOVES : CLINIC_MOVES, from, to);
                bool other = lawful(p ? CLINIC_MOVES : LAB_MOVES, from, to);
                struct err e = ERR_INIT(arena);
                enum rc rc = record_order_move(now, &move, &then, &e);

                ck_assert_msg((rc == RC_OK) == want, "%c to %c by %d: %s",
                    LETTERS[from], LETTERS[to], p, e.detail);
                if (other)
                    ck_assert_int_eq(rc, RC_FORBIDDEN);
                if (want) {
                    ck_assert_int_eq(then.status, move.to.status);
                    passed++;
                }
            }
    ck_assert_int_eq(passed, 7 + 16);
}
END_TEST

static const struct {
    const char *why;
    struct record_order_state from;
    struct record_order_move move;
    enum rc rc;
    struct record_order_state then;
} STAGES[] = {
    {"cut while in progress", {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_NONE},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}},
    {"with the move into it", {RECORD_ORDER_ACCEPTED, RECORD_STAGE_NONE},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}},
    {"a cut order isn't cancelled",
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT},
        {{RECORD_ORDER_CANCELLED, RECORD_STAGE_NONE}, RECORD_CLINIC},
        RC_CONFLICT, {0}},
    {"nor on hold", {RECORD_ORDER_ON_HOLD, RECORD_STAGE_CUT},
        {{RECORD_ORDER_CANCELLED, RECORD_STAGE_NONE}, RECORD_CLINIC},
        RC_CONFLICT, {0}},
    {"nor rejected", {RECORD_ORDER_ON_HOLD, RECORD_STAGE_CUT},
        {{RECORD_ORDER_REJECTED, RECORD_STAGE_NONE}, RECORD_LAB}, RC_CONFLICT,
        {0}},
    {"but it can fail", {RECORD_ORDER_ON_HOLD, RECORD_STAGE_CUT},
        {{RECORD_ORDER_FAILED, RECORD_STAGE_NONE}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_FAILED, RECORD_STAGE_CUT}},
    {"the stage stays on hold", {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT},
        {{RECORD_ORDER_ON_HOLD, RECORD_STAGE_NONE}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_ON_HOLD, RECORD_STAGE_CUT}},
    {"cut again after a check",
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CHECKED},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}},
    {"not cut twice", {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}, RECORD_LAB}, RC_CONFLICT,
        {0}},
    {"nothing asked", {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_NONE}, RECORD_LAB},
        RC_CONFLICT, {0}},
    {"sent with its completion",
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CHECKED},
        {{RECORD_ORDER_COMPLETED, RECORD_STAGE_SENT}, RECORD_LAB}, RC_OK,
        {RECORD_ORDER_COMPLETED, RECORD_STAGE_SENT}},
    {"not sent while in progress",
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CHECKED},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_SENT}, RECORD_LAB},
        RC_CONFLICT, {0}},
    {"the clinic says that it arrived",
        {RECORD_ORDER_COMPLETED, RECORD_STAGE_SENT},
        {{RECORD_ORDER_COMPLETED, RECORD_STAGE_ARRIVED}, RECORD_CLINIC}, RC_OK,
        {RECORD_ORDER_COMPLETED, RECORD_STAGE_ARRIVED}},
    {"and nobody else", {RECORD_ORDER_COMPLETED, RECORD_STAGE_SENT},
        {{RECORD_ORDER_COMPLETED, RECORD_STAGE_ARRIVED}, RECORD_LAB},
        RC_FORBIDDEN, {0}},
    {"cut is the lab's word", {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_NONE},
        {{RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT}, RECORD_CLINIC},
        RC_FORBIDDEN, {0}},
    {"a clinic can't complete by an arrival",
        {RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CHECKED},
        {{RECORD_ORDER_COMPLETED, RECORD_STAGE_ARRIVED}, RECORD_CLINIC},
        RC_FORBIDDEN, {0}},
    {"handed over, then never back",
        {RECORD_ORDER_COMPLETED, RECORD_STAGE_HANDED_OVER},
        {{RECORD_ORDER_COMPLETED, RECORD_STAGE_ARRIVED}, RECORD_CLINIC},
        RC_CONFLICT, {0}},
};

START_TEST(stages_follow_each_other)
{
    struct record_order_state then;
    enum rc rc =
        record_order_move(STAGES[_i].from, &STAGES[_i].move, &then, &err);

    ck_assert_msg(rc == STAGES[_i].rc, "%s: %s", STAGES[_i].why,
        err.detail ? err.detail : "passed");
    if (rc == RC_OK) {
        ck_assert_int_eq(then.status, STAGES[_i].then.status);
        ck_assert_int_eq(then.stage, STAGES[_i].then.stage);
    }
}
END_TEST

START_TEST(a_refusal_says_what_can_follow)
{
    struct record_order_state then;
    struct record_order_move move = {
        {RECORD_ORDER_COMPLETED, RECORD_STAGE_NONE}, RECORD_LAB};

    record_order_move(
        record_order_state_of("requested", NULL), &move, &then, &err);
    ck_assert_str_eq(err.detail,
        "an order that is \"requested\" can't become \"completed\"; it can "
        "become: received (lab), accepted (lab), rejected (lab), cancelled "
        "(clinic)");
    ck_assert_int_eq(record_order_state_of("completed", "handed over").stage,
        RECORD_STAGE_HANDED_OVER);
}
END_TEST

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))

int main(void)
{
    Suite *s = suite_create("order");
    TCase *tc = tcase_create("all");
    SRunner *sr = srunner_create(s);
    int failed;

    tcase_add_checked_fixture(tc, setup, teardown);
    tcase_add_test(tc, an_order_reads_back_what_it_writes);
    tcase_add_loop_test(tc, a_wrong_order_names_every_fault, 0, ROWS(WRONG));
    tcase_add_loop_test(tc, each_design_names_what_it_lacks, 0, ROWS(GAPS));
    tcase_add_loop_test(
        tc, doubts_are_named_and_block_nothing, 0, ROWS(CAUTIONS));
    tcase_add_test(tc, figures_are_the_orders_before_the_rxs);
    tcase_add_test(tc, a_sum_of_this_order_replaces_pupils_of_the_rx);
    tcase_add_test(tc, only_lawful_moves_pass);
    tcase_add_loop_test(tc, stages_follow_each_other, 0, ROWS(STAGES));
    tcase_add_test(tc, a_refusal_says_what_can_follow);
    suite_add_tcase(s, tc);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
