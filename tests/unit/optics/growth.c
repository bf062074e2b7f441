/* What can only grow or only shrink with something, by physics or by what the
 * figure means: a million pairs for each. */
#include <math.h>

#include "draw.h"
#include "properties.h"

#include "optics/acuity.h"
#include "optics/binocular.h"
#include "optics/blur.h"
#include "optics/cornea.h"
#include "optics/frame.h"
#include "optics/look.h"
#include "optics/magnify.h"
#include "optics/near.h"
#include "optics/noise.h"
#include "optics/vertex.h"
#include "optics/worn.h"

#define OK(call) HOLDS((call) == OPTICS_OK, "%s is refused", #call)
#define TINY 1e-9 /* what rounding may turn round */

/* Two numbers of a range, the lesser first. */
static void draw_two(
    struct random *r, double low, double high, double *ret_a, double *ret_b)
{
    double a = random_in(r, low, high), b = random_in(r, low, high);

    *ret_a = fmin(a, b);
    *ret_b = fmax(a, b);
}

/* More of the same blur never sees better, and a wider pupil never. */
START_TEST(acuity_falls_with_blur)
{
    struct random r = {.state = 201};

    for (int i = 0; i < MILLION; i++) {
        struct optics_vector v = optics_vector_of(draw_power(&r, 10));
        double less, more, a, b, small, wide, best = random_in(&r, -0.3, 1);
        struct optics_vector weak, strong;

        draw_two(&r, 0, 3, &less, &more);
        weak = (struct optics_vector){less * v.m, less * v.j0, less * v.j45};
        strong = (struct optics_vector){more * v.m, more * v.j0, more * v.j45};
        HOLDS(optics_relative_mar(weak) <= optics_relative_mar(strong) + TINY,
            "%g of a blur sees less than %g", less, more);
        HOLDS(optics_predicted_logmar(best, weak) <=
                      optics_predicted_logmar(best, strong) + TINY &&
                  optics_predicted_logmar(best, weak) >= best - TINY,
            "logMAR falls from %g to %g of a blur", less, more);
        draw_two(&r, 1, 8, &small, &wide);
        OK(optics_look_mar(v, small, &a));
        OK(optics_look_mar(v, wide, &b));
        HOLDS(a <= b + TINY && a >= 1, "a pupil of %g mm sees less", small);
    }
}
END_TEST

START_TEST(blur_grows_with_pupil_and_defocus)
{
    struct random r = {.state = 202};

    for (int i = 0; i < MILLION; i++) {
        double small, wide, less, more, a, b;

        draw_two(&r, 0.1, 20, &small, &wide);
        draw_two(&r, 0, 100, &less, &more);
        OK(optics_blur_angle(small, less, &a));
        OK(optics_blur_angle(wide, -more, &b));
        HOLDS(a <= b + TINY, "%g mm and %g D", small, less);
    }
}
END_TEST

/* More accommodation never sees worse. */
START_TEST(accommodation_helps)
{
    struct random r = {.state = 203};

    for (int i = 0; i < MILLION; i++) {
        struct optics_vector v = optics_vector_of(draw_power(&r, 10));
        struct optics_look_eye eye = {random_in(&r, 1, 8), 0, 0}, more = eye;
        struct optics_look a, b;

        draw_two(&r, 0, 30, &eye.accommodation, &more.accommodation);
        OK(optics_look_through(v, eye, &a));
        OK(optics_look_through(v, more, &b));
        HOLDS(b.logmar <= a.logmar + TINY, "%g D see worse than %g",
            more.accommodation, eye.accommodation);
    }
}
END_TEST

/* Nearer to the eye a plus lens has to be stronger and a minus lens weaker:
 * the power can only rise; and a stronger lens stays the stronger one. */
START_TEST(vertex_power_rises_towards_the_eye)
{
    struct random r = {.state = 204};

    for (int i = 0; i < MILLION; i++) {
        double f, g, near, far;
        struct optics_power at_near, at_far, stronger;

        draw_two(&r, -25, 25, &f, &g);
        draw_two(&r, 0, 15, &near, &far);
        OK(optics_vertex_move(
            (struct optics_power){f, 0, 0}, 15, near, &at_near));
        OK(optics_vertex_move(
            (struct optics_power){f, 0, 0}, 15, far, &at_far));
        OK(optics_vertex_move(
            (struct optics_power){g, 0, 0}, 15, near, &stronger));
        HOLDS(at_near.sph >= at_far.sph - TINY && at_far.sph >= f - TINY,
            "%g D at %g and %g mm", f, near, far);
        HOLDS(stronger.sph >= at_near.sph - TINY, "%g and %g D", f, g);
    }
}
END_TEST

START_TEST(cornea_is_weaker_the_longer_its_radius)
{
    struct random r = {.state = 205};

    for (int i = 0; i < MILLION; i++) {
        double low, high, steep, flat;

        draw_two(&r, 3.5, 14, &low, &high);
        OK(optics_cornea_power(low, 1.3375, &steep));
        OK(optics_cornea_power(high, 1.3375, &flat));
        HOLDS(steep >= flat, "%g and %g mm", low, high);
    }
}
END_TEST

START_TEST(letters_and_lines_rank_alike)
{
    static const struct {
        enum optics_scale scale;
        double low, high;
        int way; /* -1: more is better */
    } SCALES[] = {
        {OPTICS_SNELLEN_20FT, 10, 4000, 1},
        {OPTICS_SNELLEN_6M, 3, 1200, 1},
        {OPTICS_DECIMAL, 0.005, 2, -1},
        {OPTICS_LOGMAR, -0.3, 3, 1},
        {OPTICS_LETTERS_85, 0, 100, -1},
        {OPTICS_LETTERS_100, 0, 115, -1},
    };
    struct random r = {.state = 206};

    for (int i = 0; i < MILLION; i++) {
        int k = i % ROWS(SCALES);
        double a, b, of_a, of_b;

        draw_two(&r, SCALES[k].low, SCALES[k].high, &a, &b);
        OK(optics_acuity_logmar(SCALES[k].scale, a, &of_a));
        OK(optics_acuity_logmar(SCALES[k].scale, b, &of_b));
        HOLDS(SCALES[k].way * (of_b - of_a) >= -TINY, "%g and %g on scale %d",
            a, b, (int)SCALES[k].scale);
    }
}
END_TEST

/* Edge and centre of a lens that is otherwise the same. */
START_TEST(thickness_follows_power_and_size)
{
    struct random r = {.state = 207};

    for (int i = 0; i < MILLION / 4; i++) {
        struct optics_blank_lens lens = {0, random_in(&r, 2, 8),
            random_in(&r, 1.5, 1.74), random_in(&r, 30, 44)};
        struct optics_blank_lens other = lens;
        double a, b, back, low, high;

        draw_two(&r, -12, 6, &lens.back_vertex_power, &other.back_vertex_power);
        OK(optics_edge_thickness(lens, 2, &a, &back));
        OK(optics_edge_thickness(other, 2, &b, &back));
        HOLDS(a >= b - TINY, "an edge of %g D is thinner than of %g D",
            lens.back_vertex_power, other.back_vertex_power);
        /* Minus lenses grow towards the edge, plus lenses shrink. */
        other = lens;
        other.diameter_mm = lens.diameter_mm - random_in(&r, 0, 25);
        OK(optics_edge_thickness(other, 2, &b, &back));
        if (lens.back_vertex_power < -1)
            HOLDS(a >= b - TINY, "%g D at %g mm", lens.back_vertex_power,
                lens.diameter_mm);
        draw_two(&r, 0, 3, &low, &high);
        lens.back_vertex_power = random_in(&r, 1, 8);
        lens.front_power = lens.back_vertex_power + random_in(&r, 0.5, 3);
        OK(optics_centre_thickness(lens, low, &a));
        OK(optics_centre_thickness(lens, high, &b));
        HOLDS(b >= a - TINY && a >= low - TINY,
            "an edge of %g mm has a thicker centre than of %g", low, high);
    }
}
END_TEST

START_TEST(sag_grows_with_curvature_and_width)
{
    struct random r = {.state = 208};

    for (int i = 0; i < MILLION; i++) {
        double less, more, near, far;

        draw_two(&r, 0, 0.02, &less, &more);
        draw_two(&r, 0, 49, &near, &far);
        HOLDS(optics_sag_of(less, near) <= optics_sag_of(more, near) + TINY &&
                  optics_sag_of(less, near) <= optics_sag_of(less, far) + TINY,
            "%g and %g per mm at %g and %g mm", less, more, near, far);
        HOLDS(fabs(optics_sag_of(more, far) + optics_sag_of(-more, far)) < TINY,
            "a concave surface of %g per mm is no mirror image", more);
    }
}
END_TEST

START_TEST(image_grows_with_plus_and_distance)
{
    struct random r = {.state = 209};

    for (int i = 0; i < MILLION; i++) {
        struct optics_worn lens = {random_in(&r, 0, 8), 0, 1.5,
            random_in(&r, 1, 5), random_in(&r, 10, 20)};
        struct optics_worn more = lens;
        struct optics_magnification a, b;

        draw_two(&r, -20, 15, &lens.back_vertex_power, &more.back_vertex_power);
        OK(optics_magnify(lens, &a));
        OK(optics_magnify(more, &b));
        HOLDS(b.percent >= a.percent - TINY, "%g D magnify more than %g",
            lens.back_vertex_power, more.back_vertex_power);
    }
}
END_TEST

START_TEST(age_takes_accommodation_and_asks_for_an_add)
{
    struct random r = {.state = 210};

    for (int i = 0; i < MILLION; i++) {
        struct optics_amplitude a, b;
        struct optics_band low, high;
        double young, old, less, more, near, far, x, y;

        draw_two(&r, 10, 75, &young, &old);
        OK(optics_amplitude_hofstetter(young, &a));
        OK(optics_amplitude_hofstetter(old, &b));
        HOLDS(b.average <= a.average + TINY && b.minimum <= a.minimum + TINY &&
                  b.maximum <= a.maximum + TINY && a.minimum <= a.average &&
                  a.average <= a.maximum,
            "at %g and %g years", young, old);
        OK(optics_amplitude_donders(young, &x));
        OK(optics_amplitude_donders(old, &y));
        HOLDS(y <= x + TINY, "Donders at %g and %g years", young, old);
        draw_two(&r, 45, 130, &young, &old);
        OK(optics_add_by_age(young, &low));
        OK(optics_add_by_age(old, &high));
        HOLDS(high.low >= low.low - TINY && high.high >= low.high - TINY,
            "the add of %g years is over that of %g", young, old);
        draw_two(&r, 0, 15, &less, &more);
        draw_two(&r, 10, 100, &near, &far);
        OK(optics_add_from_amplitude(near, less, 0.5, &x));
        OK(optics_add_from_amplitude(near, more, 0.5, &y));
        HOLDS(y <= x + TINY, "%g D need less add than %g", less, more);
        OK(optics_add_from_amplitude(far, less, 0.5, &y));
        HOLDS(y <= x + TINY, "%g cm need less add than %g", near, far);
    }
}
END_TEST

START_TEST(prism_grows_with_phoria_and_shrinks_with_reserve)
{
    struct random r = {.state = 211};

    for (int i = 0; i < MILLION; i++) {
        double low, high, less, more, a, b;

        draw_two(&r, 0, 100, &low, &high);
        draw_two(&r, 0, 100, &less, &more);
        OK(optics_sheard(low, more, &a));
        OK(optics_sheard(high, less, &b));
        HOLDS(a <= b + TINY, "Sheard: %g with %g", low, more);
        OK(optics_one_to_one(low, more, &a));
        OK(optics_one_to_one(high, less, &b));
        HOLDS(a <= b + TINY, "one to one: %g with %g", low, more);
        OK(optics_percival(high, low, &b));
        OK(optics_percival(high, fmin(high, low + 1), &a));
        HOLDS(a <= b + TINY, "Percival: %g and %g", high, low);
    }
}
END_TEST

START_TEST(larger_changes_are_less_likely_to_be_noise)
{
    struct random r = {.state = 212};

    for (int i = 0; i < MILLION; i++) {
        double low, high, a, b;

        draw_two(&r, 0, 300, &low, &high);
        a = optics_chi3_tail(low);
        b = optics_chi3_tail(high);
        HOLDS(b <= a + 1e-15 && b >= 0 && a <= 1, "%g and %g", low, high);
    }
}
END_TEST

START_TEST(tilt_strengthens_a_sphere)
{
    struct random r = {.state = 213};

    for (int i = 0; i < MILLION; i++) {
        double f = random_in(&r, -20, 20), n = random_in(&r, 1.4, 1.9);
        double less, more, along[2], across[2], sph[2], cyl[2];

        draw_two(&r, 0, 60, &less, &more);
        OK(optics_tilt_sphere(f, n, less, &along[0], &across[0]));
        OK(optics_tilt_sphere(f, n, more, &along[1], &across[1]));
        OK(optics_tilt_martin(f, n, less, &sph[0], &cyl[0]));
        OK(optics_tilt_martin(f, n, more, &sph[1], &cyl[1]));
        HOLDS(fabs(along[0]) <= fabs(along[1]) + TINY &&
                  fabs(across[0]) <= fabs(across[1]) + TINY &&
                  fabs(along[0]) <= fabs(across[0]) + TINY,
            "%g D by %g and %g degrees", f, less, more);
        HOLDS(fabs(sph[0]) <= fabs(sph[1]) + TINY &&
                  fabs(cyl[0]) <= fabs(cyl[1]) + TINY,
            "Martin: %g D by %g and %g degrees", f, less, more);
    }
}
END_TEST

Suite *suite_growth(void)
{
    TCase *tc = tcase_create("growth");
    Suite *s = suite_create("growth");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, acuity_falls_with_blur);
    tcase_add_test(tc, blur_grows_with_pupil_and_defocus);
    tcase_add_test(tc, accommodation_helps);
    tcase_add_test(tc, vertex_power_rises_towards_the_eye);
    tcase_add_test(tc, cornea_is_weaker_the_longer_its_radius);
    tcase_add_test(tc, letters_and_lines_rank_alike);
    tcase_add_test(tc, thickness_follows_power_and_size);
    tcase_add_test(tc, sag_grows_with_curvature_and_width);
    tcase_add_test(tc, image_grows_with_plus_and_distance);
    tcase_add_test(tc, age_takes_accommodation_and_asks_for_an_add);
    tcase_add_test(tc, prism_grows_with_phoria_and_shrinks_with_reserve);
    tcase_add_test(tc, larger_changes_are_less_likely_to_be_noise);
    tcase_add_test(tc, tilt_strengthens_a_sphere);
    return s;
}
