/* http/optics_make.c - POST /v1/optics/manufacturability: a lens to be made. */
#include "http/optics_functions.h"

#include <math.h>

#include "base/text.h"
#include "optics/make.h"

#define CAUTION                                                                \
    "An estimate before ordering; the lab's own computation comes first"

static bool has(struct json_in in, enum optics_fault which)
{
    return http_optics_has(in, optics_fault_arg(which));
}

/* Density, as sent or usual for the material; one of both is required. */
static double read_density(struct json_in in, double index)
{
    bool sent = has(in, OPTICS_BAD_DENSITY);
    double g_cm3 = 0;
    int material;

    if (sent == http_optics_has(in, "material")) {
        err_fault(in.err, in.pointer, "must have one of material, %s",
            optics_fault_arg(OPTICS_BAD_DENSITY));
        return 0;
    }
    if (sent)
        return http_optics_arg(in, OPTICS_BAD_DENSITY);
    material = http_optics_word(in, "material", OPTICS_MATERIALS);
    http_optics_right(
        in, optics_density((enum optics_material)material, index, &g_cm3));
    return g_cm3;
}

static struct optics_make read_make(struct json_in in)
{
    static const char *const parts[] = {"base_in", "base_up", NULL};
    struct optics_make lens = {
        .eye = http_optics_eye(in),
        .power = http_optics_power(in),
        .front_power = http_optics_arg(in, OPTICS_BAD_FRONT_POWER),
        .index = http_optics_arg(in, OPTICS_BAD_INDEX),
        .a_mm = http_optics_arg(in, OPTICS_BAD_A_MM),
        .b_mm = http_optics_arg(in, OPTICS_BAD_B_MM),
        .dbl_mm = http_optics_arg(in, OPTICS_BAD_DBL_MM),
        .ed_mm = http_optics_arg(in, OPTICS_BAD_ED_MM),
        .pd_mm = http_optics_arg(in, OPTICS_BAD_PD_MM),
        .min_centre_mm = http_optics_arg(in, OPTICS_BAD_MIN_CENTRE_MM),
        .min_edge_mm = http_optics_arg(in, OPTICS_BAD_MIN_EDGE_MM),
        .allowance_mm = http_optics_arg(in, OPTICS_BAD_ALLOWANCE_MM),
    };

    /* Absent: on the datum line. */
    lens.height_mm = has(in, OPTICS_BAD_HEIGHT_MM)
                         ? http_optics_arg(in, OPTICS_BAD_HEIGHT_MM)
                         : lens.b_mm / 2;
    if (http_optics_has(in, "prism"))
        lens.prism = http_optics_prism(http_optics_object(in, "prism", parts));
    lens.density = read_density(in, lens.index);
    return lens;
}

/* What is asked beside the lens; 0 where it isn't. */
struct more {
    double blank_mm, least_height_mm;
};

static struct more read_more(struct json_in in)
{
    struct more more = {0};

    if (has(in, OPTICS_BAD_BLANK_MM))
        more.blank_mm = http_optics_arg(in, OPTICS_BAD_BLANK_MM);
    if (has(in, OPTICS_BAD_CORRIDOR_MM) || has(in, OPTICS_BAD_NEAR_ZONE_MM)) {
        double corridor_mm = http_optics_arg(in, OPTICS_BAD_CORRIDOR_MM);
        double near_mm = http_optics_arg(in, OPTICS_BAD_NEAR_ZONE_MM);

        http_optics_right(in, optics_least_fitting_height(
                                  corridor_mm, near_mm, &more.least_height_mm));
    }
    return more;
}

static void put_spot(
    struct json_out *o, const char *key, const struct optics_spot *spot)
{
    json_out_object(o, key);
    json_out_exact(o, "mm", spot->mm);
    json_out_exact(o, "x_mm", spot->x_mm);
    json_out_exact(o, "y_mm", spot->y_mm);
    json_out_object_end(o);
}

static void put_shift(
    struct json_out *o, const char *key, struct optics_shift shift)
{
    json_out_object(o, key);
    json_out_exact(o, "in_mm", shift.in_mm);
    json_out_exact(o, "up_mm", shift.up_mm);
    json_out_object_end(o);
}

static void put_made(struct json_out *o, const struct optics_made *m)
{
    put_shift(o, "decentration", m->decentration);
    json_out_exact(o, "least_blank_mm", m->least_blank_mm);
    json_out_exact(o, "shape_blank_mm", m->shape_blank_mm);
    json_out_exact(o, "centre_mm", m->centre_mm);
    json_out_object(o, "edge");
    put_spot(o, "thinnest", &m->thinnest);
    put_spot(o, "thickest", &m->thickest);
    json_out_array(o, "meridians");
    for (int i = 0; i < 4; i++)
        put_spot(o, NULL, &m->meridians[i]);
    json_out_array_end(o);
    json_out_object_end(o);
    put_spot(o, "least", &m->least);
    json_out_exact(o, "volume_mm3", m->volume_mm3);
    json_out_exact(o, "weight_g", m->weight_g);
    http_optics_put_side(o, "prism_at_boxed_centre", m->at_boxed_centre);
    if (!m->by_decentration)
        return;
    json_out_object(o, "prism_by_decentration");
    json_out_exact(o, "in_mm", m->optical_centre.in_mm);
    json_out_exact(o, "up_mm", m->optical_centre.up_mm);
    json_out_exact(o, "blank_mm", m->by_decentration_blank_mm);
    json_out_object_end(o);
}

/* A finding, with what is short of what by mm. */
static void put_finding(struct json_out *o, const char *code, double mm,
    const char *text, const char *proposal)
{
    json_out_object(o, NULL);
    json_out_text(o, "code", code);
    json_out_exact(o, "mm", mm);
    json_out_text(o, "text", text);
    json_out_text(o, "proposal", proposal);
    json_out_object_end(o);
}

/* Thinner than these a lens is at risk in edging and in wear (common practice,
 * figures chosen by us; local rules on strength come first). */
#define LEAST_CENTRE_MM 1.0
#define LEAST_EDGE_MM 0.5

static void put_thin(struct json_out *o, const struct optics_made *m)
{
    static const double meet = 1e-9;
    double centre_mm = fmin(m->centre_mm, fmax(m->least.mm, 0));
    double centre_short_mm = LEAST_CENTRE_MM - centre_mm;
    double edge_short_mm = LEAST_EDGE_MM - m->thinnest.mm;

    if (m->least.mm > m->thinnest.mm - meet)
        centre_short_mm = LEAST_CENTRE_MM - m->centre_mm;
    if (centre_short_mm > meet)
        put_finding(o, "thin-centre", centre_short_mm,
            "the lens would be thinner than 1 mm at or beside its centre",
            "a greater least centre thickness");
    if (edge_short_mm > meet)
        put_finding(o, "thin-edge", edge_short_mm,
            "the edge would be thinner than 0.5 mm",
            "a greater least edge thickness");
}

static void put_findings(struct json_out *o, const struct optics_make *lens,
    const struct optics_made *m, struct more more)
{
    static const double meet = 1e-9;
    double short_mm = m->least_blank_mm - more.blank_mm;
    double low_mm = more.least_height_mm - lens->height_mm;
    double thin_mm = lens->min_centre_mm - m->least.mm;
    bool inside = m->least.mm < m->thinnest.mm - meet;

    json_out_array(o, "findings");
    if (more.blank_mm > 0 && short_mm > meet)
        put_finding(o, "blank-too-small", short_mm,
            "the blank is smaller than the frame and the decentration ask for",
            "a larger blank, or a frame whose ED and twice the decentration "
            "are that much less");
    if (low_mm > meet)
        put_finding(o, "fitting-height-low", low_mm,
            "the fitting height is less than the corridor and the near zone",
            "a shorter corridor, or a deeper frame fitted that much higher");
    if (inside && thin_mm > meet)
        put_finding(o, "thin-beside-centre", thin_mm,
            "prism leaves a place beside the centre thinner than the centre "
            "may be",
            "a centre thicker by that much, or the prism shared between the "
            "eyes");
    put_thin(o, m);
    json_out_array_end(o);
}

void http_optics_manufacturability(struct json_in in, struct json_out *o)
{
    struct optics_make lens = read_make(in);
    struct more more = read_more(in);
    struct optics_made m;

    if (!http_optics_right(in, OPTICS_OK) ||
        !http_optics_right(in, optics_make_lens(&lens, &m)))
        return;
    put_made(o, &m);
    if (more.least_height_mm > 0)
        json_out_exact(o, "least_fitting_height_mm", more.least_height_mm);
    put_findings(o, &lens, &m, more);
    json_out_text(o, "caution", CAUTION);
}
