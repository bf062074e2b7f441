/* http/optics_sight.c - POST /v1/optics: sight through another lens, and the
 * picture of its blur. */
#include "http/optics_functions.h"

#include <math.h>

#include "base/arena.h"
#include "optics/look.h"
#include "optics/spread.h"
#include "optics/vertex.h"

/* A lens, at the cornea when both lenses say how far they stand from it. */
static struct optics_power read_lens(
    struct json_in in, const char *name, bool *ret_placed)
{
    static const char *const names[] = {
        "sphere", "cylinder", "axis", "vertex_mm", NULL};
    struct json_in at = http_optics_object(in, name, names);
    struct optics_power p = http_optics_power(at), moved;
    size_t before = in.err->n_faults;
    enum optics_fault fault;
    double vertex_mm;

    *ret_placed = http_optics_has(at, "vertex_mm");
    if (!*ret_placed)
        return p;
    vertex_mm = http_optics_arg(at, OPTICS_BAD_VERTEX_MM);
    if (in.err->n_faults > before)
        return p;
    fault = optics_vertex_move(p, vertex_mm, 0, &moved);
    http_optics_blame(at, fault);
    return fault == OPTICS_OK ? moved : p;
}

static double arg_or_none(struct json_in in, enum optics_fault which)
{
    return http_optics_has(in, optics_fault_arg(which))
               ? http_optics_arg(in, which)
               : 0;
}

static void put_ellipse(struct json_out *o, struct optics_ellipse e)
{
    json_out_exact(o, "major_arcmin", e.major_arcmin);
    json_out_exact(o, "minor_arcmin", e.minor_arcmin);
}

static void put_look(
    struct json_out *o, const struct optics_look *look, bool best_known)
{
    http_optics_put_power(
        o, optics_vector_power(look->residual, OPTICS_MINUS_CYL));
    http_optics_put_vector(o, look->residual);
    json_out_exact(o, "blur", optics_vector_blur(look->residual));
    json_out_exact(o, "accommodated", look->accommodated);
    json_out_exact(o, "relative_mar", look->relative_mar);
    json_out_exact(o, "logmar_loss", log10(look->relative_mar));
    if (best_known) {
        json_out_exact(o, "logmar", look->logmar);
        json_out_exact(
            o, "decimal", optics_acuity_on(OPTICS_DECIMAL, look->logmar));
    }
    put_ellipse(o, look->ellipse);
    http_optics_put_angle(o, "major_axis", look->ellipse.major_axis,
        look->ellipse.major_axis != 0);
}

void http_optics_look_through(struct json_in in, struct json_out *o)
{
    bool placed[2], best_known = http_optics_has(in, "best_logmar");
    struct optics_power needs = read_lens(in, "correction", &placed[0]);
    struct optics_power worn = read_lens(in, "worn", &placed[1]);
    struct optics_look_eye eye = {
        http_optics_arg(in, OPTICS_BAD_PUPIL_MM),
        arg_or_none(in, OPTICS_BAD_BEST_LOGMAR),
        arg_or_none(in, OPTICS_BAD_ACCOMMODATION),
    };
    struct optics_vector missing = optics_vector_difference(
        optics_vector_of(needs), optics_vector_of(worn));
    struct optics_look look;

    if (placed[0] != placed[1])
        http_optics_blame(json_in_get(in, placed[0] ? "worn" : "correction"),
            OPTICS_BAD_ONE_VERTEX);
    if (http_optics_right(in, optics_look_through(missing, eye, &look)))
        put_look(o, &look, best_known);
}

static void put_rows(struct json_out *o, const double *picture, int n)
{
    json_out_array(o, "rows");
    for (int y = 0; y < n; y++) {
        json_out_array(o, NULL);
        for (int x = 0; x < n; x++)
            json_out_exact(o, NULL, picture[y * n + x]);
        json_out_array_end(o);
    }
    json_out_array_end(o);
}

/* n as sent, or the least that holds the blur. */
static enum optics_fault read_n(
    struct json_in in, struct optics_ellipse e, struct optics_spread_grid *grid)
{
    double n;

    if (!http_optics_has(in, "n"))
        return optics_spread_size(e, grid->arcmin_per_pixel, &grid->n);
    n = http_optics_arg(in, OPTICS_BAD_N);
    grid->n = (int)n;
    return grid->n == n ? OPTICS_OK : OPTICS_BAD_N_EVEN;
}

void http_optics_point_spread(struct json_in in, struct json_out *o)
{
    static const char *const sides[] = {"patient", "examiner", NULL};
    struct optics_power p = http_optics_power(in);
    double pupil_mm = http_optics_arg(in, OPTICS_BAD_PUPIL_MM);
    struct optics_spread_grid grid = {
        http_optics_arg(in, OPTICS_BAD_ARCMIN_PER_PIXEL), 1};
    bool patient = !http_optics_has(in, "seen_by") ||
                   http_optics_word(in, "seen_by", sides) == 0;
    struct optics_ellipse e = {0};
    double *picture;

    if (!http_optics_right(in, optics_blur_ellipse(p, pupil_mm, &e)) ||
        !http_optics_right(in, read_n(in, e, &grid)))
        return;
    if (patient)
        e = optics_spread_mirrored(e);
    picture = arena_calloc(
        in.err->arena, (size_t)grid.n * (size_t)grid.n, sizeof(*picture));
    if (!http_optics_right(in, optics_spread_draw(e, grid, picture)))
        return;
    json_out_int(o, "n", grid.n);
    put_ellipse(o, e);
    http_optics_put_angle(o, "drawn_axis", e.major_axis, e.major_axis != 0);
    put_rows(o, picture, grid.n);
}
