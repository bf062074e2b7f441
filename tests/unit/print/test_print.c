/* What the page writes and says, and what it refuses. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "print/figure.h"
#include "print/markup.h"
#include "print/order_page.h"
#include "print/view.h"
#include "samples.h"

#define MINUS "\xe2\x88\x92" /* U+2212 */

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

static void same(const char *why, const char *got, const char *want)
{
    ck_assert_msg((!got && !want) || (got && want && strcmp(got, want) == 0),
        "%s: got \"%s\", want \"%s\"", why, got ? got : "(none)",
        want ? want : "(none)");
}

static const struct {
    const char *why;
    int32_t cd;
    const char *written, *said;
} POWERS[] = {
    {"minus is U+2212 and said as a word", -250, MINUS "2.50", "minus 2.50"},
    {"plus is written", 250, "+2.50", "plus 2.50"},
    {"zero is a word, without a sign", 0, "plano", "plano"},
    {"an absent power is an empty field", PRINT_ABSENT, NULL, NULL},
    {"under one dioptre keeps its 0", -25, MINUS "0.25", "minus 0.25"},
    {"one hundredth keeps both places", 1, "+0.01", "plus 0.01"},
    {"eighths as the trade prints them", -12, MINUS "0.12", "minus 0.12"},
    {"two figures before the point", -2250, MINUS "22.50", "minus 22.50"},
};

START_TEST(power_is_written_with_its_sign)
{
    same(POWERS[_i].why, print_figure_power(arena, POWERS[_i].cd),
        POWERS[_i].written);
    same(POWERS[_i].why, print_said_power(arena, POWERS[_i].cd),
        POWERS[_i].said);
}
END_TEST

static const struct {
    int32_t deg;
    const char *written, *said;
} AXES[] = {{1, "001", "axis 0 0 1"}, {5, "005", "axis 0 0 5"},
    {50, "050", "axis 0 5 0"}, {90, "090", "axis 0 9 0"},
    {173, "173", "axis 1 7 3"}, {180, "180", "axis 1 8 0"},
    {PRINT_ABSENT, NULL, NULL}};

START_TEST(axis_has_three_digits)
{
    same("axis", print_figure_axis(arena, AXES[_i].deg), AXES[_i].written);
    same("said", print_said_axis(arena, AXES[_i].deg), AXES[_i].said);
}
END_TEST

static const struct {
    int32_t mm100;
    const char *written;
} LENGTHS[] = {{3150, "31.5 mm"}, {2975, "29.75 mm"}, {1200, "12.0 mm"},
    {6305, "63.05 mm"}, {0, "0.0 mm"}, {5, "0.05 mm"}, {PRINT_ABSENT, NULL}};

START_TEST(length_has_a_place_and_its_unit)
{
    same("length", print_figure_length(arena, LENGTHS[_i].mm100),
        LENGTHS[_i].written);
}
END_TEST

START_TEST(angle_and_index_are_written_in_full)
{
    same("angle", print_figure_angle(arena, 800), "8.0 deg");
    same("negative", print_figure_angle(arena, -250), MINUS "2.5 deg");
    same("no angle", print_figure_angle(arena, PRINT_ABSENT), NULL);
    same("three places", print_figure_index(arena, 1498), "1.498");
    same("two places", print_figure_index(arena, 1600), "1.60");
    same("a 0 behind the point", print_figure_index(arena, 1009), "1.009");
    same("no index", print_figure_index(arena, PRINT_ABSENT), NULL);
}
END_TEST

START_TEST(prism_names_its_base)
{
    struct print_prisms two = {2, {{200, PRINT_IN}, {50, PRINT_UP}}};
    struct print_prisms other = {2, {{1025, PRINT_OUT}, {1, PRINT_DOWN}}};
    struct print_prisms none = {.n = 0};

    same("two", print_figure_prisms(arena, &two), "2.00 base in, 0.50 base up");
    same("other", print_figure_prisms(arena, &other),
        "10.25 base out, 0.01 base down");
    same("none", print_figure_prisms(arena, &none), NULL);
}
END_TEST

START_TEST(date_is_day_month_in_words_and_year)
{
    same("whole", print_figure_date(arena, (struct print_date){2026, 3, 2}),
        "2 March 2026");
    same("leap day", print_figure_date(arena, (struct print_date){2028, 2, 29}),
        "29 February 2028");
    same("month", print_figure_date(arena, (struct print_date){1971, 12, 0}),
        "December 1971");
    same("year", print_figure_date(arena, (struct print_date){1971, 0, 0}),
        "1971");
    same("none", print_figure_date(arena, (struct print_date){0, 0, 0}), NULL);
}
END_TEST

/* Hand sums: sphere + cylinder, the cylinder's sign turned, the axis 90 on. */
static const struct {
    const char *why;
    struct print_form in, out;
    const char *written;
} FORMS[] = {
    {"to plus, axis above 90 goes down", {-225, -75, 172}, {-300, 75, 82},
        MINUS "3.00 +0.75 \xc3\x97 082"},
    {"to plus, axis below 90 goes up", {0, -125, 5}, {-125, 125, 95},
        MINUS "1.25 +1.25 \xc3\x97 095"},
    {"90 becomes 180, never 0", {-2250, -600, 90}, {-2850, 600, 180},
        MINUS "28.50 +6.00 \xc3\x97 180"},
    {"180 becomes 90", {50, -100, 180}, {-50, 100, 90},
        MINUS "0.50 +1.00 \xc3\x97 090"},
    {"to minus", {-300, 75, 82}, {-225, -75, 172},
        MINUS "2.25 " MINUS "0.75 \xc3\x97 172"},
    {"a sphere that turns out 0 is plano", {75, -75, 91}, {0, 75, 1},
        "plano +0.75 \xc3\x97 001"},
    {"eighths: -2.125 - 0.625 = -2.75", {-212, -62, 180}, {-275, 62, 90},
        MINUS "2.75 +0.62 \xc3\x97 090"},
    {"eighths: 0.50 - 0.125 = 0.375", {50, -12, 45}, {37, 12, 135},
        "+0.37 +0.12 \xc3\x97 135"},
    {"eighths: 0.125 - 0.25 = -0.125", {12, -25, 45}, {-12, 25, 135},
        MINUS "0.12 +0.25 \xc3\x97 135"},
    {"hundredths off the eighths add up as they stand: -2.03 - 0.12",
        {-203, -12, 45}, {-215, 12, 135}, MINUS "2.15 +0.12 \xc3\x97 135"},
};

START_TEST(other_form_is_the_same_lens)
{
    struct print_form got = print_figure_other(FORMS[_i].in);
    struct print_form want = FORMS[_i].out;

    ck_assert_msg(got.sphere_cd == want.sphere_cd &&
                      got.cylinder_cd == want.cylinder_cd &&
                      got.axis_deg == want.axis_deg,
        "%s: got %d/%d x %d", FORMS[_i].why, (int)got.sphere_cd,
        (int)got.cylinder_cd, (int)got.axis_deg);
    same(FORMS[_i].why, print_figure_form(arena, got), FORMS[_i].written);
}
END_TEST

/* There and back, over the whole grid of eighths that an order may hold. */
START_TEST(other_form_of_the_other_form_is_the_first)
{
    static const int PARTS[] = {0, 12, 25, 37, 50, 62, 75, 87};

    for (int s = -160; s <= 160; s++)
        for (int c = 1; c <= 160; c++) {
            int sphere = abs(s) / 8 * 100 + PARTS[abs(s) % 8];
            struct print_form form = {s < 0 ? -sphere : sphere,
                -(c / 8 * 100 + PARTS[c % 8]), 1 + (s + 160 + c) % 180};
            struct print_form back =
                print_figure_other(print_figure_other(form));

            ck_assert_int_eq(back.sphere_cd, form.sphere_cd);
            ck_assert_int_eq(back.cylinder_cd, form.cylinder_cd);
            ck_assert_int_eq(back.axis_deg, form.axis_deg);
        }
}
END_TEST

static const struct {
    const char *why, *in, *out;
} CLEAN[] = {
    {"plain text stays", "O'Hara-St\u00f8rmoen", "O'Hara-St\u00f8rmoen"},
    {"both ways to write an accent stay as typed", "\u00e9e\u0301",
        "\u00e9e\u0301"},
    {"control characters become blanks", "a\nb\tc\x1b[31m", "a b c [31m"},
    {"so do those of the second block",
        "a\xc2\x85"
        "b",
        "a b"},
    {"broken UTF-8 is shown as broken", "a\xff", "a\ufffd"},
    {"so is each byte of a cut one", "a\xe2\x88", "a\ufffd\ufffd"},
    {"nothing is an empty field", "", NULL},
    {"blanks are an empty field", " \n\u00a0", NULL},
    {"NULL is an empty field", NULL, NULL},
};

START_TEST(text_is_cleaned_and_kept_whole)
{
    same(CLEAN[_i].why, print_text_clean(arena, CLEAN[_i].in), CLEAN[_i].out);
}
END_TEST

START_TEST(markup_reads_as_text)
{
    TEXT_AUTO out = {0};

    markup_text(&out, "<b a=\"1\" c='2'>&amp; \u03bb</b>");
    ck_assert_str_eq(out.data, "&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;"
                               "&amp;amp; \u03bb&lt;/b&gt;");
}
END_TEST

static const struct {
    const char *id;
    int32_t version;
    const char *name;
} FILES[] = {
    {"019cb2f4-6d1e-7a40", 2, "order-019cb2f4-6d1e-7a40-v2.pdf"},
    {"../../etc/x", 1, "order-------etc-x-v1.pdf"},
    {"a b\"\r\n", 10, "order-a-b----v10.pdf"},
};

START_TEST(file_name_holds_id_and_version_only)
{
    struct print_order_page page;
    TEXT_AUTO out = {0};

    ck_assert(sample_page("progressive", &page));
    page.order_id = FILES[_i].id;
    page.version = FILES[_i].version;
    print_order_file_name(&page, "pdf", &out);
    ck_assert_str_eq(out.data, FILES[_i].name);
}
END_TEST

static void no_axis(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].axis_deg = PRINT_ABSENT;
}

static void lone_axis(struct print_order_page *p)
{
    p->eye[PRINT_LEFT].cylinder_cd = 0;
}

static void axis_0(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].axis_deg = 0;
}

static void axis_181(struct print_order_page *p)
{
    p->eye[PRINT_LEFT].axis_deg = 181;
}

static void mixed_forms(struct print_order_page *p)
{
    p->eye[PRINT_LEFT].cylinder_cd = 125;
}

static void balance_power(struct print_order_page *p)
{
    p->eye[PRINT_LEFT].lens = PRINT_BALANCE;
}

static void two_up(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].prism.of[0].base = PRINT_DOWN;
}

static void no_amount(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].near_prism.of[0].amount_cd = 0;
}

static void three_prisms(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].prism.n = 3;
}

static void huge_sphere(struct print_order_page *p)
{
    p->eye[PRINT_RIGHT].sphere_cd = INT32_MAX;
}

static void no_id(struct print_order_page *p)
{
    p->order_id = " ";
}

static void version_0(struct print_order_page *p)
{
    p->version = 0;
}

static void page_2_of_1(struct print_order_page *p)
{
    p->page = 2;
}

static void month_13(struct print_order_page *p)
{
    p->signed_on.month = 13;
}

static void index_1(struct print_order_page *p)
{
    p->index_milli = 160;
}

static void long_code(struct print_order_page *p)
{
    static char code[2002];

    memset(code, '7', sizeof(code) - 1);
    p->code = code;
}

static const struct {
    void (*spoil)(struct print_order_page *page);
    const char *pointer;
} FAULTS[] = {{no_axis, "/eye/right/axis_deg"},
    {lone_axis, "/eye/left/axis_deg"}, {axis_0, "/eye/right/axis_deg"},
    {axis_181, "/eye/left/axis_deg"}, {mixed_forms, "/eye/left/cylinder_cd"},
    {balance_power, "/eye/left"}, {two_up, "/eye/right/prism/1"},
    {no_amount, "/eye/right/near_prism/0"}, {three_prisms, "/eye/right/prism"},
    {huge_sphere, "/eye/right/sphere_cd"}, {no_id, "/order_id"},
    {version_0, "/version"}, {page_2_of_1, "/page"}, {month_13, "/signed_on"},
    {index_1, "/index_milli"}, {long_code, "/code"}};

START_TEST(page_that_cannot_be_right_is_refused)
{
    struct print_order_page page;
    struct err err = ERR_INIT(arena);
    TEXT_AUTO out = {0};

    ck_assert(sample_page("progressive", &page));
    ck_assert_int_eq(print_order_check(&page, &err), RC_OK);
    FAULTS[_i].spoil(&page);
    ck_assert_int_eq(print_order_pdf(&page, PRINT_A4, &out, &err), RC_INVALID);
    ck_assert_uint_eq(err.n_faults, 1);
    ck_assert_str_eq(err.faults->pointer, FAULTS[_i].pointer);
    ck_assert_uint_eq(out.len, 0);
    ck_assert_int_eq(print_order_html(&page, &out, &err), RC_INVALID);
    ck_assert_uint_eq(out.len, 0);
}
END_TEST

START_TEST(every_fault_is_named_at_once)
{
    struct print_order_page page;
    struct err err = ERR_INIT(arena);

    ck_assert(sample_page("progressive", &page));
    no_axis(&page);
    two_up(&page);
    version_0(&page);
    ck_assert_int_eq(print_order_check(&page, &err), RC_INVALID);
    ck_assert_uint_eq(err.n_faults, 3);
}
END_TEST

static const struct print_cell *cell_of(
    const struct print_cells *cells, const char *label)
{
    for (size_t i = 0; i < cells->n; i++)
        if (strcmp(cells->of[i].label, label) == 0)
            return &cells->of[i];
    ck_abort_msg("no cell \"%s\"", label);
    return NULL;
}

START_TEST(page_that_nothing_was_written_on_is_empty)
{
    struct print_order_page page;
    struct print_view *view;

    print_order_page_init(&page);
    page.order_id = "x";
    view = print_view_new(arena, &page);
    for (int side = PRINT_RIGHT; side <= PRINT_LEFT; side++) {
        const struct print_eye_view *eye = &view->eye[side];

        same("sphere", eye->sphere.text, NULL);
        same("cylinder", eye->cylinder.text, NULL);
        same("axis", eye->axis.text, NULL);
        same("add", eye->add.text, NULL);
        same("other form", eye->other.label, NULL);
        for (size_t i = 0; i < eye->details.n; i++)
            same(eye->details.of[i].label, eye->details.of[i].text, NULL);
    }
    for (size_t i = 0; i < view->lens.n; i++)
        same(view->lens.of[i].label, view->lens.of[i].text, NULL);
    for (size_t i = 0; i < view->frame.n; i++)
        same(view->frame.of[i].label, view->frame.of[i].text, NULL);
    same("version", view->version, "version 1, page 1 of 1");
    same("replaces", view->replaces, "replaces nothing");
}
END_TEST

static const struct {
    enum print_lens lens;
    const char *words;
} LENSES[] = {{PRINT_BALANCE, "balance lens"}, {PRINT_OCCLUDER, "occluder"},
    {PRINT_PROSTHESIS, "prosthesis"}, {PRINT_NO_LENS, "no lens"}};

START_TEST(lens_without_a_power_is_named_in_words)
{
    struct print_order_page page;
    const struct print_eye_view *eye;

    ck_assert(sample_page("balance", &page));
    page.eye[PRINT_LEFT].lens = LENSES[_i].lens;
    eye = &print_view_new(arena, &page)->eye[PRINT_LEFT];
    same("words", eye->instead, LENSES[_i].words);
    same("sphere", eye->sphere.text, NULL);
    same("PD", cell_of(&eye->details, "PD far")->text, "31.5 mm");
}
END_TEST

START_TEST(eye_that_is_not_ordered_shows_no_figure)
{
    struct print_order_page page;
    const struct print_eye_view *eye;

    ck_assert(sample_page("right-only", &page));
    eye = &print_view_new(arena, &page)->eye[PRINT_LEFT];
    same("words", eye->instead, "not ordered");
    same("sphere", eye->sphere.text, NULL);
    ck_assert_uint_eq(eye->details.n, 0);
    ck_assert_int_eq(eye->axis_deg, PRINT_ABSENT);
}
END_TEST

START_TEST(lens_without_a_cylinder_says_so)
{
    struct print_order_page page;
    const struct print_eye_view *eye;

    ck_assert(sample_page("single-vision", &page));
    eye = &print_view_new(arena, &page)->eye[PRINT_LEFT];
    same("cylinder", eye->cylinder.text, NULL);
    same("axis", eye->axis.text, NULL);
    same("words", eye->other.label,
        "no cylinder: the same lens in plus and in minus cylinder");
}
END_TEST

START_TEST(page_that_is_too_long_is_refused_and_says_so)
{
    struct print_order_page page;
    struct err err = ERR_INIT(arena);
    TEXT_AUTO out = {0};

    ck_assert(sample_page("too-long", &page));
    ck_assert_int_eq(
        print_order_pdf(&page, PRINT_LETTER, &out, &err), RC_TOO_LARGE);
    ck_assert_ptr_nonnull(strstr(err.detail, "on one page"));
    ck_assert_uint_eq(out.len, 0);
}
END_TEST

START_TEST(style_stands_in_the_page_as_it_is_given_out)
{
    struct print_order_page page;
    struct err err = ERR_INIT(arena);
    TEXT_AUTO out = {0};
    const char *style;

    ck_assert(sample_page("markup", &page));
    ck_assert_int_eq(print_order_html(&page, &out, &err), RC_OK);
    style = strstr(out.data, "<style>");
    ck_assert_ptr_nonnull(style);
    style += strlen("<style>");
    ck_assert_int_eq(
        strncmp(style, print_order_style(), strlen(print_order_style())), 0);
    ck_assert_int_eq(strncmp(style + strlen(print_order_style()), "</style>",
                         strlen("</style>")),
        0);
}
END_TEST

static TCase *figure_case(void)
{
    TCase *tc = tcase_create("figures");

    tcase_add_checked_fixture(tc, set_up, tear_down);
    tcase_add_loop_test(
        tc, power_is_written_with_its_sign, 0, ARRAY_LEN(POWERS));
    tcase_add_loop_test(tc, axis_has_three_digits, 0, ARRAY_LEN(AXES));
    tcase_add_loop_test(
        tc, length_has_a_place_and_its_unit, 0, ARRAY_LEN(LENGTHS));
    tcase_add_test(tc, angle_and_index_are_written_in_full);
    tcase_add_test(tc, prism_names_its_base);
    tcase_add_test(tc, date_is_day_month_in_words_and_year);
    tcase_add_loop_test(tc, other_form_is_the_same_lens, 0, ARRAY_LEN(FORMS));
    tcase_add_test(tc, other_form_of_the_other_form_is_the_first);
    tcase_add_loop_test(
        tc, text_is_cleaned_and_kept_whole, 0, ARRAY_LEN(CLEAN));
    tcase_add_test(tc, markup_reads_as_text);
    return tc;
}

static TCase *page_case(void)
{
    TCase *tc = tcase_create("page");

    tcase_add_checked_fixture(tc, set_up, tear_down);
    tcase_add_loop_test(
        tc, file_name_holds_id_and_version_only, 0, ARRAY_LEN(FILES));
    tcase_add_loop_test(
        tc, page_that_cannot_be_right_is_refused, 0, ARRAY_LEN(FAULTS));
    tcase_add_test(tc, every_fault_is_named_at_once);
    tcase_add_test(tc, page_that_nothing_was_written_on_is_empty);
    tcase_add_loop_test(
        tc, lens_without_a_power_is_named_in_words, 0, ARRAY_LEN(LENSES));
    tcase_add_test(tc, eye_that_is_not_ordered_shows_no_figure);
    tcase_add_test(tc, lens_without_a_cylinder_says_so);
    tcase_add_test(tc, page_that_is_too_long_is_refused_and_says_so);
    tcase_add_test(tc, style_stands_in_the_page_as_it_is_given_out);
    return tc;
}

int main(void)
{
    Suite *suite = suite_create("print");
    SRunner *runner = srunner_create(suite);
    int failed;

    suite_add_tcase(suite, figure_case());
    suite_add_tcase(suite, page_case());
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
