/*
 * record/delta.h against published cases.  Expected figures are those of the
 * source named beside each, or a hand sum in the comment.
 */
#include <check.h>
#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "base/text.h"
#include "exam_case.h"

static const struct record_acuity NO_ACUITY[2];

static struct record_delta delta_of(
    const struct record_entry *was, const struct record_entry *is)
{
    struct record_delta d;

    record_delta_compute(was, is, NO_ACUITY, ARENA, &d);
    return d;
}

static void check_power(const char *what, struct optics_power got, double sph,
    double cyl, double axis)
{
    ck_assert_msg(fabs(got.sph - sph) < 0.005 && fabs(got.cyl - cyl) < 0.005 &&
                      fabs(got.axis - axis) < 0.05,
        "%s: got %.4f %.4f x %.2f", what, got.sph, got.cyl, got.axis);
}

static bool doubts(const struct record_delta *d, const char *code, int side)
{
    return record_cautions_have(&d->cautions, code, side);
}

#define SPHERES(r, l) "{'right':{'sphere':" r "},'left':{'sphere':" l "}}"

/* https://reviewofmm.com/case-report-pediatric-unilateral-pathologic-myopia/:
 * OD +0.75 -1.25 x 180, OS -19.00 -4.50 x 165, no vertex; S + C/2 +0.125 and
 * -21.25, so 21.375 D between the eyes. */
START_TEST(one_very_short_sighted_eye)
{
    struct record_entry is = exam_entry("final",
        "{'right':{'sphere':0.75,'cylinder':-1.25,'axis':180},"
        "'left':{'sphere':-19,'cylinder':-4.5,'axis':165}}");
    struct record_delta d = delta_of(&is, &is);

    ck_assert(d.anisometropia.new_here);
    ck_assert_double_eq_tol(d.anisometropia.new_value, 21.375, 1e-9);
    ck_assert(doubts(&d, "vertex-unknown", RECORD_LEFT));
    ck_assert(!doubts(&d, "vertex-unknown", RECORD_RIGHT));
    ck_assert(!d.moved);
    ck_assert(d.eyes[0].within_noise && d.eyes[1].within_noise);
}
END_TEST

/* https://doaj.org/article/0b8504d87eaf4f21afbba14032a38e34: OD -2.25 in 2014,
 * -6.75 -0.50 x 170 in 2018 and 2019; OS plano -0.50 x 10 throughout.  The
 * change is -4.50 -0.50 x 170, -4.75 D of spherical equivalent. */
START_TEST(one_eye_progresses)
{
    struct record_entry y2014 =
        exam_entry("final", "{'right':{'sphere':-2.25},"
                            "'left':{'sphere':0,'cylinder':-0.5,'axis':10}}");
    struct record_entry y2018 = exam_entry("final",
        "{'right':{'sphere':-6.75,'cylinder':-0.5,'axis':170},"
        "'left':{'sphere':0,'cylinder':-0.5,'axis':10}}");
    struct record_delta d = delta_of(&y2014, &y2018);

    check_power("2014 to 2018", d.eyes[0].difference, -4.50, -0.50, 170);
    ck_assert_double_eq_tol(d.eyes[0].vector.m, -4.75, 1e-9);
    ck_assert(!d.eyes[0].within_noise);
    ck_assert(d.eyes[1].within_noise);
    ck_assert(doubts(&d, "large-one-eye-change", RECORD_RIGHT));
    d = delta_of(&y2018, &y2018);
    ck_assert(d.eyes[0].within_noise);
    ck_assert(!doubts(&d, "large-one-eye-change", RECORD_RIGHT));
    ck_assert_str_eq(d.eyes[0].words[0], "The power stays the same.");
}
END_TEST

/* https://www.mdpi.com/2411-5150/6/1/17 (Rutstein and Marsh-Tootle 2001):
 * manifest RE plano, LE -5.00; cycloplegic RE +0.75 -0.25 x 180, LE +0.75
 * -0.50 x 180.  LE +5.75 of sphere, +5.50 of spherical equivalent; RE +0.625,
 * which is no more than usual. */
START_TEST(false_myopia)
{
    struct record_entry dry = exam_entry("autorefraction",
        "{'condition':{'cycloplegic':false},"
        "'right':{'sphere':0},'left':{'sphere':-5}}");
    struct record_entry wet = exam_entry("autorefraction",
        "{'condition':{'cycloplegic':true,'drug':'cyclopentolate'},"
        "'right':{'sphere':0.75,'cylinder':-0.25,'axis':180},"
        "'left':{'sphere':0.75,'cylinder':-0.5,'axis':180}}");
    struct record_delta d = delta_of(&dry, &wet);

    check_power("left", d.eyes[1].difference, 5.75, -0.50, 180);
    ck_assert_double_eq_tol(d.eyes[1].vector.m, 5.50, 1e-9);
    ck_assert_double_eq_tol(d.eyes[1].sphere_change, 5.75, 1e-9);
    ck_assert_double_eq_tol(d.eyes[0].vector.m, 0.625, 1e-9);
    ck_assert(doubts(&d, "cycloplegic-gap", RECORD_LEFT));
    ck_assert(!doubts(&d, "cycloplegic-gap", RECORD_RIGHT));
    ck_assert(doubts(&d, "condition-differs", -1));
    ck_assert(!doubts(&d, "method-differs", -1));
}
END_TEST

#define DAY (86400LL * 1000000)

/* Made to fit the course published in https://bjo.bmj.com/content/84/10/1097:
 * both eyes -1.00 on day 0, +0.50 on day 10. */
START_TEST(both_eyes_move_the_same_way_in_days)
{
    struct record_entry day0 = exam_entry("final", SPHERES("-1", "-1"));
    struct record_entry day10 = exam_entry("final", SPHERES("0.5", "0.5"));
    struct record_delta d;

    day10.at_us = 10 * DAY;
    d = delta_of(&day0, &day10);
    ck_assert_double_eq_tol(d.eyes[0].vector.m, 1.50, 1e-9);
    ck_assert(doubts(&d, "both-eyes-moved", -1));
    ck_assert(!doubts(&d, "large-one-eye-change", 0));
    ck_assert(strstr(d.cautions.first->text, "1.50 D or more, in 10 days"));
    day10.at_us = 400 * DAY;
    d = delta_of(&day0, &day10);
    ck_assert(!doubts(&d, "both-eyes-moved", -1));
    day10.at_us = 10 * DAY;
    day0.glasses = true; /* old glasses say nothing about days */
    d = delta_of(&day0, &day10);
    ck_assert(!doubts(&d, "both-eyes-moved", -1));
}
END_TEST

/* P-14 of the brainscape cards on Prentice's rule (https://brainscape.com/
 * flashcards/prentice-s-rule-and-total-power-in-any-m-14574219/packs/21734278),
 * 10 mm below the centres: (b) published, 3.00 base up before OD; (c) input
 * published: 4.25 base down before OD. */
static const struct {
    const char *lenses;
    double vertical;
} IMBALANCE[] = {
    {"{'right':{'sphere':4.5,'cylinder':0.5,'axis':180,'add':2},"
     "'left':{'sphere':2,'cylinder':0.25,'axis':90,'add':2}}",
        3.00},
    {"{'right':{'sphere':-4.5,'cylinder':-1.5,'axis':180},"
     "'left':{'sphere':-1,'cylinder':-1,'axis':30}}",
        -4.25},
};

START_TEST(imbalance_at_the_reading_level)
{
    struct record_entry is = exam_entry("final", IMBALANCE[_i].lenses);
    struct record_delta d = delta_of(&is, &is);

    ck_assert(d.imbalance.new_here);
    ck_assert_double_eq_tol(
        d.imbalance.new_value, IMBALANCE[_i].vertical, 0.005);
}
END_TEST

/* http://courses.durhamtech.edu/opticianry/oph142/NFOS-12/module_09d.html:
 * OD +5.00 add +3.00, OS +2.00 add +1.00; the segments don't cancel. */
START_TEST(unequal_adds_have_no_imbalance_figure)
{
    struct record_entry is = exam_entry(
        "final", "{'right':{'sphere':5,'add':3},'left':{'sphere':2,'add':1}}");
    struct record_delta d = delta_of(&is, &is);

    ck_assert(!d.imbalance.new_here);
    ck_assert(doubts(&d, "unequal-adds", -1));
}
END_TEST

/* https://www.clspectrum.com/issues/2018/december-2018/pediatric-and-teen-cl-
 * care: OD -16.00 -2.50 x 158, OS -19.00 -1.25 x 142 at 12 mm; 2 mm further out
 * that is -16.53 -2.68 and -19.75 -1.35: F / (1 + 0.002 F) for -16.00, -18.50,
 * -19.00, -20.25. */
START_TEST(old_lenses_come_to_the_new_vertex)
{
    struct record_entry was = exam_entry("lensometry",
        "{'vertex_mm':12,'right':{'sphere':-16,'cylinder':-2.5,'axis':158},"
        "'left':{'sphere':-19,'cylinder':-1.25,'axis':142}}");
    struct record_entry is = exam_entry("final",
        "{'vertex_mm':14,'right':{'sphere':-16.53,'cylinder':-2.68,'axis':158},"
        "'left':{'sphere':-19.75,'cylinder':-1.35,'axis':142}}");
    struct record_delta d = delta_of(&was, &is);

    ck_assert(d.moved);
    check_power("right", d.eyes[0].old_power, -16.53, -2.68, 158);
    check_power("left", d.eyes[1].old_power, -19.75, -1.35, 142);
    ck_assert(d.eyes[0].within_noise && d.eyes[1].within_noise);
    ck_assert(doubts(&d, "vertex-moved", -1));
    ck_assert(!doubts(&d, "vertex-unknown", 0));
    is.figures.vertex_mm100 = NUM_ABSENT;
    d = delta_of(&was, &is);
    ck_assert(!d.moved);
    ck_assert(doubts(&d, "vertex-unknown", 0));
    check_power("as it stands", d.eyes[0].old_power, -16.00, -2.50, 158);
}
END_TEST

/* http://visionmagazineonline.co.za/2019/04/25/residual-astigmatism-with-
 * scleral-lens-fit/: R -3.00 -1.75 x 35 over a trial lens, R -7.00 -3.50 x 77
 * in spectacles; the two are never compared. */
START_TEST(over_refraction_is_refused)
{
    struct record_entry over = exam_entry("over-refraction",
        "{'condition':{'lens_worn':'trial scleral lens'},"
        "'right':{'sphere':-3,'cylinder':-1.75,'axis':35},"
        "'left':{'sphere':-1.5,'cylinder':-1.75,'axis':45}}");

    ck_assert_ptr_nonnull(record_entry_refusal(&over));
    ck_assert(strstr(record_entry_refusal(&over), "over-refraction"));
}
END_TEST

START_TEST(what_has_no_side_or_no_power_is_refused)
{
    struct record_entry e =
        exam_entry("lensometry", "{'unspecified':{'sphere':-1}}");

    ck_assert(strstr(record_entry_refusal(&e), "which eye"));
    e = exam_entry("keratometry", "{'right':{}}");
    ck_assert_ptr_nonnull(record_entry_refusal(&e));
    e = exam_entry("acuity", "{'right':{'acuity':{'notation':'decimal',"
                             "'text':'1.0'}}}");
    ck_assert(strstr(record_entry_refusal(&e), "acuity"));
    e = exam_entry("lensometry", SPHERES("-1", "-1"));
    ck_assert_ptr_null(record_entry_refusal(&e));
}
END_TEST

/* Rosenfield & Chiu 1995 (abstract): under 0.50 D of spherical equivalent is
 * no change; 0.50 is one. */
static const struct {
    const char *why, *was, *is;
    bool within;
} NOISE[] = {
    {"a quarter", "{'right':{'sphere':-2}}", "{'right':{'sphere':-2.25}}",
        true},
    {"at the limit", "{'right':{'sphere':-2}}", "{'right':{'sphere':-2.5}}",
        false},
    {"just below", "{'right':{'sphere':-2}}", "{'right':{'sphere':-2.49}}",
        true},
    /* S + C/2 stays; 2 * 1.00 * sin 10 deg = 0.35 D of cylinder, J 0.17 */
    {"axis of 1 D by 10 degrees",
        "{'right':{'sphere':0,'cylinder':-1,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-1,'axis':100}}", true},
    /* 2 * 6.00 * sin 5 deg = 1.05 D of cylinder, J 0.52 */
    {"axis of 6 D by 5 degrees",
        "{'right':{'sphere':0,'cylinder':-6,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-6,'axis':95}}", false},
};

START_TEST(change_inside_the_noise_is_none)
{
    struct record_entry was = exam_entry("final", NOISE[_i].was);
    struct record_entry is = exam_entry("final", NOISE[_i].is);
    struct record_delta d = delta_of(&was, &is);

    ck_assert_msg(
        d.eyes[0].within_noise == NOISE[_i].within, "%s", NOISE[_i].why);
}
END_TEST

/* MAR grows by 1 + b^2 (Blendowske 2015, abstract): b = 1.00 D doubles it, so
 * 0.00 logMAR becomes log10 2 = 0.3010. */
START_TEST(old_lens_predicts_acuity)
{
    struct record_entry was =
        exam_entry("lensometry", "{'right':{'sphere':-1}}");
    struct record_entry is = exam_entry("final", "{'right':{'sphere':-2}}");
    struct record_acuity best[2] = {
        {.notation = "decimal", .text = "1.0", .has_logmar = true}};
    struct record_delta d;

    record_delta_compute(&was, &is, best, ARENA, &d);
    ck_assert(d.eyes[0].predicted);
    ck_assert_double_eq_tol(d.eyes[0].logmar, 0.3010, 1e-4);
    record_delta_compute(&was, &is, NO_ACUITY, ARENA, &d);
    ck_assert(!d.eyes[0].predicted);
}
END_TEST

/* Each sentence by hand: -1.00 -0.50 x 90 is -1.25, +1.00 more minus. */
START_TEST(words_say_what_changes)
{
    struct record_entry was = exam_entry("lensometry",
        "{'right':{'sphere':-1,'cylinder':-0.5,'axis':90,'add':1.5}}");
    struct record_entry is = exam_entry("final",
        "{'right':{'sphere':-2,'cylinder':-0.5,'axis':90,'add':2,"
        "'prism':[{'amount':1,'base':'in'}]}}");
    struct record_delta d = delta_of(&was, &is);
    const char *const *words = d.eyes[0].words;

    ck_assert_str_eq(words[0],
        "1.00 D more minus: the spherical equivalent goes from -1.25 to -2.25 "
        "D.");
    ck_assert_str_eq(words[1], "The add goes from +1.50 to +2.00 D.");
    ck_assert_str_eq(words[2], "The prism changes by 1.00 base in.");
    ck_assert_ptr_null(words[3]);
}
END_TEST

static const struct {
    const char *was, *is, *word;
} DIRECTION[] = {{"3", "2", "less plus"}, {"0.5", "-0.5", "more minus"},
    {"-3", "-2", "less minus"}, {"-0.5", "0.5", "more plus"}};

START_TEST(words_give_the_direction)
{
    struct record_entry was = exam_entry("final",
        arena_printf(ARENA, "{'right':{'sphere':%s}}", DIRECTION[_i].was));
    struct record_entry is = exam_entry("final",
        arena_printf(ARENA, "{'right':{'sphere':%s}}", DIRECTION[_i].is));
    struct record_delta d = delta_of(&was, &is);

    ck_assert_msg(strstr(d.eyes[0].words[0], DIRECTION[_i].word), "%s",
        d.eyes[0].words[0]);
}
END_TEST

/* One sentence of those for the right eye; figures by hand. */
static const struct {
    const char *was, *is, *sentence;
} SENTENCES[] = {
    {"{'right':{'sphere':-2}}", "{'right':{'sphere':-2,'add':1.5}}",
        "The add of +1.50 D is new."},
    {"{'right':{'sphere':-2,'add':2}}", "{'right':{'sphere':-2}}",
        "The old add of +2.00 D is gone."},
    {"{'right':{'sphere':-2}}",
        "{'right':{'sphere':-2,'prism':[{'amount':2,'base':'down'}]}}",
        "The prism changes by 2.00 base down."},
    {"{'right':{'sphere':-2,'prism':[{'amount':1,'base':'in'}]}}",
        "{'right':{'sphere':-2,'prism':[{'amount':0.5,'base':'out'},"
        "{'amount':1,'base':'up'}]}}",
        "The prism changes by 1.50 base out and 1.00 base up."},
    {"{'right':{'sphere':-2}}",
        "{'right':{'sphere':-2,'cylinder':-1,'axis':10}}",
        "A cylinder of -1.00 D at axis 10 is new."},
    {"{'right':{'sphere':-2,'cylinder':-1,'axis':10}}",
        "{'right':{'sphere':-2}}", "The cylinder of -1.00 D is gone."},
    /* S + C/2 moves by 0.75, the sphere alone by 0.50 */
    {"{'right':{'sphere':-2,'cylinder':-0.5,'axis':10}}",
        "{'right':{'sphere':-2.5,'cylinder':-1,'axis':10}}",
        "The sphere alone changes by -0.50 D."},
    /* the same cylinder turned by 90 degrees: twice its size at axis 180 */
    {"{'right':{'sphere':0,'cylinder':-1,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-1,'axis':180}}",
        "The cylinder stays at -1.00 D, its axis turns by 90 degrees "
        "(90 to 180); together that is 2.00 D of cylinder at axis 180."},
    {"{'right':{'sphere':0,'cylinder':-1,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-1,'axis':180}}",
        "The spherical equivalent stays at -0.50 D."},
    {"{'right':{'sphere':-2}}", "{'right':{'sphere':-2.25}}",
        "Same: what differs (-0.25 D of spherical equivalent, 0.00 D of "
        "cylinder) is inside the noise band."},
    {"{'right':{'sphere':0,'cylinder':-1,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-1.75,'axis':90}}",
        "The cylinder goes from -1.00 to -1.75 D at axis 90; together that is "
        "0.75 D of cylinder at axis 90."},
    /* 2 sqrt(J0^2 + J45^2) of both differences: 1.00 apart and a little */
    {"{'right':{'sphere':0,'cylinder':-1,'axis':90}}",
        "{'right':{'sphere':0,'cylinder':-2,'axis':91}}",
        "The cylinder goes from -1.00 to -2.00 D, its axis turns by 1 degree "
        "(90 to 91); together that is 1.00 D of cylinder at axis 92."},
    /* -0.62 stands for -0.625, and 1.375 is written 1.37 */
    {"{'right':{'sphere':-0.62}}", "{'right':{'sphere':-2.0}}",
        "1.37 D more minus: the spherical equivalent goes from -0.62 to -2.00 "
        "D."},
    /* S + C/2: -2.125 - 0.125 = -2.25 and -3.25 - 0.125 = -3.375 */
    {"{'right':{'sphere':-2.12,'cylinder':-0.25,'axis':10}}",
        "{'right':{'sphere':-3.25,'cylinder':-0.25,'axis':10}}",
        "1.12 D more minus: the spherical equivalent goes from -2.25 to -3.37 "
        "D."},
    {"{'right':{'lens':'prosthesis'}}", "{'right':{'lens':'prosthesis'}}",
        "The lens stays: prosthesis."},
};

START_TEST(sentence_is_said)
{
    struct record_entry was = exam_entry("lensometry", SENTENCES[_i].was);
    struct record_entry is = exam_entry("final", SENTENCES[_i].is);
    struct record_delta d = delta_of(&was, &is);
    bool said = false;

    for (size_t i = 0; d.eyes[0].words[i]; i++)
        said = said || strcmp(d.eyes[0].words[i], SENTENCES[_i].sentence) == 0;
    ck_assert_msg(
        said, "%s; first: %s", SENTENCES[_i].sentence, d.eyes[0].words[0]);
}
END_TEST

static const struct {
    const char *kind, *was, *is, *code;
    int side;
    bool told;
} DOUBTED[] = {
    {"autorefraction", SPHERES("-1", "-1"), SPHERES("-1", "-1"),
        "method-differs", -1, true},
    {"lensometry", SPHERES("-1", "-1"), SPHERES("-1", "-1"), "method-differs",
        -1, false},
    {"lensometry", "{'right':{'sphere':-1}}", SPHERES("-1", "-1"),
        "one-side-only", RECORD_LEFT, true},
    {"lensometry", "{'right':{'sphere':-1},'unspecified':{'sphere':-2}}",
        SPHERES("-1", "-1"), "side-unknown", -1, true},
    {"lensometry",
        "{'vertex_mm':12,'vertex_assumed':true,'right':{'sphere':0}}",
        "{'vertex_mm':12,'right':{'sphere':0}}", "vertex-assumed", -1, true},
    {"lensometry", SPHERES("-1", "-1"), SPHERES("-2.5", "-1"),
        "anisometropia-change", -1, true},
    {"lensometry", SPHERES("-1", "-1"), SPHERES("-1.5", "-1"),
        "anisometropia-change", -1, false},
    {"lensometry", SPHERES("-1", "-1"), SPHERES("-3", "-2.5"),
        "large-one-eye-change", RECORD_RIGHT, false},
};

START_TEST(doubt_is_told)
{
    struct record_entry was = exam_entry(DOUBTED[_i].kind, DOUBTED[_i].was);
    struct record_entry is = exam_entry("final", DOUBTED[_i].is);
    struct record_delta d = delta_of(&was, &is);

    ck_assert_msg(
        doubts(&d, DOUBTED[_i].code, DOUBTED[_i].side) == DOUBTED[_i].told,
        "%s", DOUBTED[_i].code);
}
END_TEST

/* Members of the JSON, by pointer without their first /. */
static const struct {
    const char *was, *is, *at;
    double value;
} FIGURES[] = {
    {"{'right':{'sphere':0,'add':1.5}}", "{'right':{'sphere':0,'add':2}}",
        "right/add_change", 0.5},
    {"{'vertex_mm':12,'right':{'sphere':10}}",
        /* 10 / (1 + 0.002 * 10) = 9.8039: F / (1 - dF), d = -2 mm */
        "{'vertex_mm':14,'right':{'sphere':10}}",
        "right/old_at_new_vertex/sphere", 9.8039},
    {"{'vertex_mm':12,'right':{'sphere':10}}",
        "{'vertex_mm':14,'right':{'sphere':10}}", "vertex_mm/final", 14},
    {"{'right':{'sphere':-1}}",
        "{'right':{'sphere':-2,'acuity':{'notation':"
        "'decimal','text':'1.0'}}}",
        "right/predicted_acuity_with_habitual/decimal", 0.5},
    {SPHERES("0", "0"), SPHERES("1", "0"), "both/anisometropia/change", 1},
    /* 1 / (1 - 0.015 * 1) = 1.015228: 1.52 percent larger (12 + 3 mm) */
    {SPHERES("0", "0"), SPHERES("1", "0"),
        "both/image_size_difference_percent/final", 1.5228},
    {SPHERES("0", "0"), SPHERES("1", "0"),
        "both/vertical_imbalance/final/amount", 1},
};

START_TEST(figure_stands_in_the_answer)
{
    struct record_entry was = exam_entry("lensometry", FIGURES[_i].was);
    struct record_entry is = exam_entry("final", FIGURES[_i].is);
    struct record_acuity best[2] = {is.figures.eyes[0].acuity};
    struct record_delta d;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    json_t *got;
    char *path = arena_strdup(ARENA, FIGURES[_i].at), *rest;

    record_delta_compute(&was, &is, best, ARENA, &d);
    json_out_object(&o, NULL);
    record_delta_write(&o, "habitual", &d);
    json_out_object_end(&o);
    got = exam_json(t.data);
    for (char *name = strtok_r(path, "/", &rest); name;
         name = strtok_r(NULL, "/", &rest))
        got = json_object_get(got, name);
    ck_assert_msg(json_is_number(got), "%s: %s", FIGURES[_i].at, t.data);
    ck_assert_double_eq_tol(json_number_value(got), FIGURES[_i].value, 5e-5);
}
END_TEST

START_TEST(method_is_said_in_words)
{
    struct record_entry e = exam_entry(
        "subjective", "{'condition':{'cycloplegic':true,'drug':'atropine'}}");

    ck_assert_str_eq(record_entry_method(&e, ARENA),
        "subjective, cycloplegic with atropine");
    e = exam_entry("lensometry", "{}");
    ck_assert_str_eq(record_entry_method(&e, ARENA), "lensometry");
}
END_TEST

START_TEST(lens_without_power_is_not_compared)
{
    struct record_entry was = exam_entry("lensometry", SPHERES("-1", "-1"));
    struct record_entry is = exam_entry(
        "final", "{'right':{'lens':'balance'},'left':{'sphere':-1}}");
    struct record_delta d = delta_of(&was, &is);

    ck_assert(!d.eyes[0].compared);
    ck_assert_str_eq(
        d.eyes[0].words[0], "The lens changes from power to balance.");
    ck_assert(!d.anisometropia.new_here && !d.imbalance.new_here);
}
END_TEST

/* What the JSON must hold for a person to check a figure. */
START_TEST(answer_names_its_rules)
{
    struct record_entry was = exam_entry("lensometry", SPHERES("-1", "-1"));
    struct record_entry is = exam_entry("final", SPHERES("-2", "-1"));
    struct record_delta d = delta_of(&was, &is);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    json_t *got, *right;

    json_out_object(&o, NULL);
    record_delta_write(&o, "habitual", &d);
    json_out_object_end(&o);
    got = exam_json(t.data);
    right = json_object_get(got, "right");
    ck_assert_double_eq_tol(
        json_number_value(
            json_object_get(json_object_get(right, "difference"), "sphere")),
        -1, 1e-9);
    ck_assert(json_is_null(
        json_object_get(json_object_get(right, "difference"), "axis")));
    ck_assert(json_is_object(json_object_get(right, "habitual")));
    ck_assert(json_is_object(json_object_get(right, "final")));
    ck_assert(json_is_string(json_object_get(
        json_object_get(json_object_get(got, "computed"), "within_noise"),
        "rule")));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("record delta");
    TCase *tc = tcase_create("delta");
    SRunner *sr;
    int failed;

    tcase_add_checked_fixture(tc, exam_case_begin, exam_case_end);
    tcase_add_test(tc, one_very_short_sighted_eye);
    tcase_add_test(tc, one_eye_progresses);
    tcase_add_test(tc, false_myopia);
    tcase_add_test(tc, both_eyes_move_the_same_way_in_days);
    tcase_add_loop_test(
        tc, imbalance_at_the_reading_level, 0, (int)ARRAY_LEN(IMBALANCE));
    tcase_add_test(tc, unequal_adds_have_no_imbalance_figure);
    tcase_add_test(tc, old_lenses_come_to_the_new_vertex);
    tcase_add_test(tc, over_refraction_is_refused);
    tcase_add_test(tc, what_has_no_side_or_no_power_is_refused);
    tcase_add_loop_test(
        tc, change_inside_the_noise_is_none, 0, (int)ARRAY_LEN(NOISE));
    tcase_add_test(tc, old_lens_predicts_acuity);
    tcase_add_test(tc, words_say_what_changes);
    tcase_add_loop_test(
        tc, words_give_the_direction, 0, (int)ARRAY_LEN(DIRECTION));
    tcase_add_loop_test(tc, sentence_is_said, 0, (int)ARRAY_LEN(SENTENCES));
    tcase_add_loop_test(tc, doubt_is_told, 0, (int)ARRAY_LEN(DOUBTED));
    tcase_add_loop_test(
        tc, figure_stands_in_the_answer, 0, (int)ARRAY_LEN(FIGURES));
    tcase_add_test(tc, method_is_said_in_words);
    tcase_add_test(tc, lens_without_power_is_not_compared);
    tcase_add_test(tc, answer_names_its_rules);
    suite_add_tcase(s, tc);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_ENV);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed != 0;
}
