/*
 * What happens to an order after it is placed: what differs between editions,
 * who may do what when, finished glasses against it, and what is made.
 */
#include <check.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "record/bench.h"
#include "record/order_field.h"
#include "record/order_make.h"
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

/* Single quotes stand for double ones. */
static struct json_in document(const char *text)
{
    char *doubled = arena_strdup(arena, text);

    for (char *p = doubled; *p; p++)
        if (*p == '\'')
            *p = '"';
    ck_assert_int_eq(
        json_in_parse(doubled, strlen(doubled), &parsed[n_parsed], &err),
        RC_OK);
    return json_in_root(parsed[n_parsed++], &err);
}

/* ---- differences ------------------------------------------------------------
 */

static const struct {
    const char *before, *after, *out;
} CHANGES[] = {
    {"{'right':{'sphere':-2.25}}", "{'right':{'sphere':-2.250}}", "[]"},
    {"{'right':{'sphere':0.00,'cylinder':-0.50,'axis':5}}",
        "{'right':{'sphere':1.50,'cylinder':0.00,'axis':null}}",
        "[{'pointer':'/right/sphere','field':'sphere','eye':'right',"
        "'optical':true,'before':0.00,'after':1.50,"
        "'text':'right sphere: +1.50, was plano'},"
        "{'pointer':'/right/cylinder','field':'cylinder','eye':'right',"
        "'optical':true,'before':-0.50,'after':0.00,"
        "'text':'right cylinder: none, was -0.50'},"
        "{'pointer':'/right/axis','field':'axis','eye':'right',"
        "'optical':true,'before':5,'after':null,"
        "'text':'right axis: nothing, was 005'}]"},
    {"{'left':{'prism':[]},'lens':{'treatments':['a']}}",
        "{'left':{'prism':[{'amount':1.5,'base':'in'},"
        "{'amount':0.5,'base':'up'}]},'lens':{'treatments':['a','b'],"
        "'index':1.67}}",
        "[{'pointer':'/left/prism','field':'prism','eye':'left',"
        "'optical':true,'before':null,"
        "'after':[{'amount':1.50,'base':'in'},{'amount':0.50,'base':'up'}],"
        "'text':'left prism: 1.50 base in and 0.50 base up, was nothing'},"
        "{'pointer':'/lens/index','field':'refractive index',"
        "'optical':false,'before':null,'after':1.67,"
        "'text':'refractive index: 1.67, was nothing'},"
        "{'pointer':'/lens/treatments','field':'treatments',"
        "'optical':false,'before':['a'],'after':['a','b'],"
        "'text':'treatments: a, b, was a'}]"},
    {"{'frame':{'tilt_deg':8,'a_mm':52}}", "{'frame':{'tilt_deg':-2.5}}",
        "[{'pointer':'/frame/a_mm','field':'frame size A','optical':false,"
        "'before':52,'after':null,"
        "'text':'frame size A: nothing, was 52 mm'},"
        "{'pointer':'/frame/tilt_deg','field':'tilt','optical':false,"
        "'before':8,'after':-2.5,"
        "'text':'tilt: -2.5 degrees, was 8 degrees'}]"},
    {"{'right':{'prism':[{'amount':1,'base':'in'}]},'purpose':'near'}",
        "{'right':{'prism':[{'amount':1,'base':'out'}]},'purpose':'near'}",
        "[{'pointer':'/right/prism','field':'prism','eye':'right',"
        "'optical':true,'before':[{'amount':1.00,'base':'in'}],"
        "'after':[{'amount':1.00,'base':'out'}],"
        "'text':'right prism: 1.00 base out, was 1.00 base in'}]"},
};

START_TEST(every_field_that_differs_is_told_once)
{
    struct record_order_change changes[RECORD_ORDER_CHANGES_MAX];
    struct json_in before = document(CHANGES[_i].before);
    struct json_in after = document(CHANGES[_i].after);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    size_t n = record_order_changes(before.value, after.value, changes);

    json_out_array(&o, NULL);
    for (size_t i = 0; i < n; i++)
        record_order_change_write(&o, &changes[i], arena);
    json_out_array_end(&o);
    for (char *p = t.data; *p; p++)
        if (*p == '"')
            *p = '\'';
    ck_assert_str_eq(t.data, CHANGES[_i].out);
}
END_TEST

START_TEST(a_question_is_about_a_field)
{
    ck_assert_ptr_nonnull(record_order_field_at("/lens/tint"));
    ck_assert_int_eq(record_order_field_at("/left/axis")->side, RECORD_LEFT);
    ck_assert_ptr_null(record_order_field_at("/left"));
    ck_assert_ptr_null(record_order_field_at(""));
    ck_assert_ptr_null(record_order_field_at("/patient/family"));
}
END_TEST

/* ---- states
 * ------------------------------------------------------------------ */

#define BIT(s) (1U << RECORD_ORDER_##s)

START_TEST(each_state_allows_what_it_says)
{
    static const unsigned amend = BIT(REQUESTED) | BIT(RECEIVED) |
                                  BIT(ACCEPTED) | BIT(IN_PROGRESS) |
                                  BIT(ON_HOLD);
    static const unsigned remake = BIT(COMPLETED) | BIT(FAILED);
    static const unsigned check =
        BIT(IN_PROGRESS) | BIT(COMPLETED) | BIT(FAILED);
    struct record_order_state s = {
        (enum record_order_status)_i, RECORD_STAGE_NONE};
    struct err e = ERR_INIT(arena);

    ck_assert_int_eq(record_order_may_amend(s, &e) == RC_OK, amend >> _i & 1);
    ck_assert_int_eq(record_order_may_ask(s, &e) == RC_OK, amend >> _i & 1);
    ck_assert_int_eq(record_order_may_remake(s, &e) == RC_OK, remake >> _i & 1);
    ck_assert_int_eq(record_order_may_check(s, &e) == RC_OK, check >> _i & 1);
    s.stage = RECORD_STAGE_CUT;
    ck_assert_int_eq(record_order_may_amend(s, &e), RC_CONFLICT);
}
END_TEST

START_TEST(what_goes_on_with_uncut_lenses_needs_an_rx)
{
    struct record_order_state from = {RECORD_ORDER_RECEIVED, RECORD_STAGE_NONE};
    struct record_order_state to = {RECORD_ORDER_ACCEPTED, RECORD_STAGE_NONE};

    ck_assert(record_order_goes_on(from, to));
    to.status = RECORD_ORDER_REJECTED;
    ck_assert(!record_order_goes_on(from, to));
    from =
        (struct record_order_state){RECORD_ORDER_IN_PROGRESS, RECORD_STAGE_CUT};
    to.status = RECORD_ORDER_COMPLETED;
    ck_assert(!record_order_goes_on(from, to));
}
END_TEST

/* ---- what is made
 * ------------------------------------------------------------- */

static struct record_order order_of(const char *text)
{
    struct record_order order;

    ck_assert_msg(record_order_read(document(text), &order), "%s",
        err.faults ? err.faults->detail : "");
    return order;
}

static struct record_order_rx rx_of(const char *text)
{
    struct record_order_rx rx;

    ck_assert_msg(record_order_rx_read(document(text), &rx), "%s",
        err.faults ? err.faults->detail : "");
    return rx;
}

#define SV "'lens':{'design':'single-vision','material':'resin','index':1.498}"
#define PAL "'lens':{'design':'progressive','material':'resin','index':1.498}"
#define SIZES "'a_mm':52,'b_mm':36,'dbl_mm':18,'ed_mm':55"

/* P-08: -16.00 -2.50 x 158 at 12 mm, worn at 14 mm. */
#define MARFAN                                                                 \
    "{'right':{'sphere':-16,'cylinder':-2.5,'axis':158},"                      \
    "'left':{'sphere':-19,'cylinder':-1.25,'axis':142},'vertex_mm':12,"        \
    "'pd_mm':{'right':28,'left':28}}"

START_TEST(a_power_is_compensated_only_where_the_order_says_so)
{
    struct record_order_rx rx = rx_of(MARFAN);
    struct record_order order = order_of(
        "{" SV ",'frame':{'worn_vertex_mm':14,'tilt_deg':0,'wrap_deg':0}}");
    struct optics_power worn;
    struct optics_rx made;

    ck_assert(record_order_worn_power(&order, &rx, 0, &worn));
    ck_assert_double_eq_tol(worn.sph, -16.53, 0.005);
    ck_assert_double_eq_tol(worn.cyl, -2.68, 0.005);
    ck_assert_double_eq_tol(worn.axis, 158, 1e-6);
    ck_assert(!record_order_compensated(&order, &rx, 0, &made));
    ck_assert_int_eq(record_order_make_power(&order, &rx, 0).sph_cd, -1600);
    order.make = RECORD_MAKE_COMPENSATED;
    ck_assert(record_order_compensated(&order, &rx, 0, &made));
    ck_assert_int_eq(made.sph_cd, -1653);
    ck_assert_int_eq(made.cyl_cd, -268);
    ck_assert_int_eq(made.axis_cdeg, 15800);
    ck_assert_int_eq(record_order_make_power(&order, &rx, 1).sph_cd, -1975);
}
END_TEST

START_TEST(what_a_lens_can_not_be_worn_as_is_no_power)
{
    struct record_order_rx rx = rx_of(MARFAN);
    struct record_order order = order_of("{'frame':{'worn_vertex_mm':14}}");
    struct record_order_rx blind = rx_of("{'right':{'lens':'balance'},"
                                         "'left':{'sphere':0}}");
    struct optics_power worn;

    ck_assert(!record_order_worn_power(&order, &rx, 0, &worn)); /* no index */
    order = order_of("{" SV "}");
    ck_assert(!record_order_worn_power(&order, &blind, 0, &worn));
    ck_assert(record_order_worn_power(&order, &blind, 1, &worn));
    ck_assert_double_eq_tol(worn.sph, 0, 1e-9);
}
END_TEST

static const struct {
    const char *why, *order, *rx;
    bool asked, found[RECORD_MAKE_FINDINGS];
} MAKES[] = {
    {"a usual pair", "{" SV ",'frame':{" SIZES "}}",
        "{'right':{'sphere':-2},'pd_mm':{'right':32}}", true, {0}},
    {"no frame yet", "{" SV "}", "{'right':{'sphere':-2},'pd_mm':{'right':32}}",
        false, {0}},
    {"no PD", "{" SV ",'frame':{" SIZES "}}", "{'right':{'sphere':-2}}", false,
        {0}},
    {"no lens to make", "{" SV ",'frame':{" SIZES "}}",
        "{'right':{'lens':'balance'},'pd_mm':{'right':32}}", false, {0}},
    {"far off the centre",
        "{" SV ",'frame':{'a_mm':56,'b_mm':40,'dbl_mm':24,'ed_mm':58}}",
        "{'right':{'sphere':-1},'pd_mm':{'binocular':56}}", true,
        {[RECORD_MAKE_BLANK] = true}},
    {"a thick edge", "{" SV ",'frame':{" SIZES "}}",
        "{'right':{'sphere':-11},'pd_mm':{'right':32}}", true,
        {[RECORD_MAKE_THICK] = true}},
    {"an ED that no shape has",
        "{" SV ",'frame':{'a_mm':52,'b_mm':36,'dbl_mm':18,'ed_mm':30}}",
        "{'right':{'sphere':-2},'pd_mm':{'right':32}}", true,
        {[RECORD_MAKE_IMPOSSIBLE] = true}},
    {"no room for the near zone",
        "{" PAL ",'frame':{" SIZES ",'fitting_height_mm':{'right':15}}}",
        "{'right':{'sphere':-2,'add':2,'prism':[{'amount':1,'base':'in'}]},"
        "'pd_mm':{'right':32}}",
        true, {[RECORD_MAKE_HEIGHT] = true}},
    {"for near, centred near", "{" SV ",'purpose':'near','frame':{" SIZES "}}",
        "{'right':{'sphere':1,'add':2},'pd_mm':{'right':40,'near':58}}", true,
        {0}},
};

START_TEST(what_can_not_be_made_is_found)
{
    struct record_order order = order_of(MAKES[_i].order);
    struct record_order_rx rx = rx_of(MAKES[_i].rx);
    struct record_make m;

    record_order_make(&order, &rx, 0, &m);
    ck_assert_msg(m.asked == MAKES[_i].asked, "%s", MAKES[_i].why);
    for (int k = 0; k < RECORD_MAKE_FINDINGS; k++)
        ck_assert_msg(m.found[k] == MAKES[_i].found[k], "%s: %d, %.2f %.2f",
            MAKES[_i].why, k, m.made.thickest.mm, m.made.shape_blank_mm);
}
END_TEST

static struct record_measured measured_of(const char *text)
{
    struct record_measured m;

    ck_assert_msg(record_measured_read(document(text), &m), "%s",
        err.faults ? err.faults->detail : "");
    return m;
}

#define AT_22 "'fitting_height_mm':{'right':22}"

/* B is 36 mm, so the datum lies at 18: single vision at 22 is 4 mm up, and of
 * a bifocal 22 is the segment's, not the reference point's. */
START_TEST(what_is_made_is_what_is_checked)
{
    struct record_order_rx rx = rx_of(
        "{'right':{'sphere':-2,'add':1.5,'prism':[{'amount':1,'base':'in'}],"
        "'near_prism':[{'amount':3,'base':'out'}]},"
        "'pd_mm':{'binocular':64,'near':60}}");
    struct record_order sv =
        order_of("{" SV ",'frame':{" SIZES "," AT_22 "},'purpose':'near'}");
    struct record_order bifocal = order_of("{'lens':{'design':'bifocal',"
                                           "'material':'resin','index':1.498},"
                                           "'frame':{" SIZES "," AT_22 "}}");
    struct record_measured m =
        measured_of("{'right':{'sphere':-0.5},'height_mm':{'right':22},"
                    "'pd_mm':{'right':30}}");
    struct optics_pair pair = {.profile = OPTICS_PROFILE_ANSI_2015};
    struct record_make make;

    record_order_make(&sv, &rx, 0, &make);
    ck_assert_double_eq(make.made.decentration.up_mm, 4);
    ck_assert_double_eq(make.lens.pd_mm, 30);
    ck_assert_double_eq(make.lens.prism.base_in, -3);
    record_bench_pair(&m, &sv, &rx, &pair);
    ck_assert_double_eq(pair.eyes[0].ordered.prism.base_in, -3);
    ck_assert_double_eq(pair.eyes[0].ordered.height_mm, make.lens.height_mm);
    ck_assert_double_eq(pair.eyes[0].ordered.pd_mm, make.lens.pd_mm);
    ck_assert_double_eq(
        pair.eyes[0].ordered.power.sph, make.lens.power.sph); /* the sum */
    record_order_make(&bifocal, &rx, 0, &make);
    ck_assert_double_eq(make.made.decentration.up_mm, 0);
    ck_assert_double_eq(make.lens.pd_mm, 32);
    ck_assert_double_eq(make.lens.prism.base_in, 1);
}
END_TEST

/* Orders hand their numbers to the optics core as its own. */
START_TEST(orders_and_optics_number_lenses_alike)
{
    for (int i = 0; i == 0 || RECORD_DESIGNS[i - 1]; i++)
        ck_assert_pstr_eq(RECORD_DESIGNS[i], OPTICS_LENS_TYPES[i]);
    for (int i = 0; i == 0 || RECORD_MATERIALS[i - 1]; i++)
        ck_assert_pstr_eq(RECORD_MATERIALS[i], OPTICS_MATERIALS[i]);
}
END_TEST

/* ---- finished glasses
 * ------------------------------------------------------------ */

#define PAIR_RX                                                                \
    "{'right':{'sphere':-2,'cylinder':-1,'axis':10},'left':{'sphere':-4},"     \
    "'pd_mm':{'right':31,'left':32}}"

START_TEST(a_measurement_reads_back_what_it_writes)
{
    static const char text[] =
        "{'right':{'sphere':-2.00,'cylinder':-1.00,'axis':10},"
        "'pd_mm':{'right':31},'height_mm':{'left':20.5},"
        "'segment_height_mm':{'right':17},'mounted':false}";
    struct record_measured m = measured_of(text), again;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_measured_write(&o, &m);
    json_out_object_end(&o);
    again = measured_of(t.data);
    ck_assert_int_eq(again.figures.eyes[0].power.sph_cd, -200);
    ck_assert_int_eq(again.height_mm100[1], 2050);
    ck_assert_int_eq(again.height_mm100[0], NUM_ABSENT);
    ck_assert_int_eq(again.segment_mm100[0], 1700);
    ck_assert(!again.mounted);
    ck_assert(measured_of("{}").mounted);
}
END_TEST

static const struct {
    const char *measured, *faults;
} HELD[] = {
    {"{'right':{'sphere':-2},'left':{'sphere':-4}}", ""},
    {"{'right':{'sphere':-2}}", "/left "},
    {"{'right':{'sphere':-2},'left':{'sphere':-4},"
     "'segment_height_mm':{'left':17}}",
        "/segment_height_mm/left "},
    {"{'right':{'sphere':-2},'left':{'sphere':-4},'height_mm':{'left':17}}",
        "/height_mm/left "},
    {"{'right':{'sphere':-2},'left':{'sphere':-4},"
     "'height_mm':{'left':17,'right':18},'pd_mm':{'binocular':63}}",
        ""},
};

START_TEST(what_has_nothing_to_be_held_to_is_a_fault)
{
    struct record_order order = order_of("{" SV "}");
    struct record_order_rx rx = rx_of(PAIR_RX);
    struct record_measured m = measured_of(HELD[_i].measured);
    TEXT_AUTO t = {0};

    record_measured_check(&m, &order, &rx, &err);
    for (const struct err_fault *f = err.faults; f; f = f->next)
        text_printf(&t, "%s ", f->pointer);
    ck_assert_str_eq(t.data ? t.data : "", HELD[_i].faults);
}
END_TEST

START_TEST(an_order_without_heights_wants_the_centres_level)
{
    struct record_order order = order_of("{" SV "}");
    struct record_order_rx rx = rx_of(PAIR_RX);
    struct record_measured m = measured_of(
        "{'right':{'sphere':-2,'cylinder':-1,'axis':10},'left':{'sphere':-4},"
        "'pd_mm':{'right':31.5,'left':32},"
        "'height_mm':{'right':18,'left':19}}");
    struct optics_pair pair = {.profile = OPTICS_PROFILE_ANSI_2015};

    record_bench_pair(&m, &order, &rx, &pair);
    ck_assert(pair.eyes[0].there && pair.eyes[1].there && pair.mounted);
    ck_assert_double_eq(pair.eyes[0].ordered.height_mm, 18.5);
    ck_assert_double_eq(pair.eyes[1].ordered.height_mm, 18.5);
    ck_assert_double_eq(pair.eyes[0].ordered.pd_mm, 31);
    ck_assert_double_eq(pair.eyes[0].delivered.pd_mm, 31.5);
    ck_assert_uint_eq(pair.eyes[0].ordered.says, pair.eyes[0].delivered.says);
}
END_TEST

START_TEST(a_bifocal_is_held_to_its_segment_and_add)
{
    struct record_order order =
        order_of("{'lens':{'design':'bifocal','material':'resin',"
                 "'index':1.498},'frame':{'fitting_height_mm':"
                 "{'right':17,'left':17}}}");
    struct record_order_rx rx = rx_of(
        "{'right':{'sphere':1,'add':2,'prism':[{'amount':1,'base':'up'}]},"
        "'left':{'lens':'balance'},'pd_mm':{'right':31}}");
    struct record_measured m = measured_of(
        "{'right':{'sphere':1,'add':2.25,'prism':[{'amount':1,'base':'up'}]},"
        "'segment_height_mm':{'right':18}}");
    struct optics_pair pair = {.profile = OPTICS_PROFILE_ANSI_2015};

    record_measured_check(&m, &order, &rx, &err);
    ck_assert_int_eq(err.rc, RC_OK);
    record_bench_pair(&m, &order, &rx, &pair);
    ck_assert(pair.eyes[0].there && !pair.eyes[1].there);
    ck_assert_double_eq(pair.eyes[0].ordered.segment_height_mm, 17);
    ck_assert_double_eq(pair.eyes[0].delivered.segment_height_mm, 18);
    ck_assert_double_eq(pair.eyes[0].ordered.add, 2);
    ck_assert_double_eq(pair.eyes[0].delivered.add, 2.25);
    ck_assert_double_eq(pair.eyes[0].ordered.prism.base_up, 1);
    ck_assert_uint_eq(pair.eyes[0].ordered.says & OPTICS_SAYS_PD, 0);
}
END_TEST

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))

int main(void)
{
    Suite *s = suite_create("order life");
    TCase *tc = tcase_create("order life");
    SRunner *sr;
    int failed;

    tcase_add_checked_fixture(tc, setup, teardown);
    tcase_add_loop_test(
        tc, every_field_that_differs_is_told_once, 0, ROWS(CHANGES));
    tcase_add_test(tc, a_question_is_about_a_field);
    tcase_add_loop_test(
        tc, each_state_allows_what_it_says, 0, RECORD_ORDER_STATUSES);
    tcase_add_test(tc, what_goes_on_with_uncut_lenses_needs_an_rx);
    tcase_add_test(tc, a_power_is_compensated_only_where_the_order_says_so);
    tcase_add_test(tc, what_a_lens_can_not_be_worn_as_is_no_power);
    tcase_add_loop_test(tc, what_can_not_be_made_is_found, 0, ROWS(MAKES));
    tcase_add_test(tc, what_is_made_is_what_is_checked);
    tcase_add_test(tc, orders_and_optics_number_lenses_alike);
    tcase_add_test(tc, a_measurement_reads_back_what_it_writes);
    tcase_add_loop_test(
        tc, what_has_nothing_to_be_held_to_is_a_fault, 0, ROWS(HELD));
    tcase_add_test(tc, an_order_without_heights_wants_the_centres_level);
    tcase_add_test(tc, a_bifocal_is_held_to_its_segment_and_add);
    suite_add_tcase(s, tc);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
