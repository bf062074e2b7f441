#include "http/optics_io.h"

#include "base/num.h"
#include "base/text.h"

static void add_fault(struct json_in at, enum optics_fault fault)
{
    char buf[NUM_TEXT_MAX];

    if (json_is_number(at.value))
        err_fault(at.err, at.pointer, "\"%s\" %s",
            num_shortest(json_number_value(at.value), buf),
            optics_fault_why(fault));
    else
        err_fault(at.err, at.pointer, "%s", optics_fault_why(fault));
}

double http_optics_arg(struct json_in in, enum optics_fault which)
{
    const json_t *v = json_object_get(in.value, optics_fault_arg(which));
    double x = json_number_value(v);
    struct json_in at;

    if (json_is_number(v) && optics_fault_check(which, x) == OPTICS_OK)
        return x;
    /* A place is made, with its pointer, only for a fault. */
    at = json_in_get(in, optics_fault_arg(which));
    if (!json_is_object(in.value) || !json_in_need(at))
        return 0;
    if (json_is_number(v))
        add_fault(at, which);
    else
        err_fault(at.err, at.pointer, "must be a number");
    return 0;
}

void http_optics_blame(struct json_in in, enum optics_fault fault)
{
    if (fault != OPTICS_OK)
        add_fault(json_in_get(in, optics_fault_arg(fault)), fault);
}

bool http_optics_right(struct json_in in, enum optics_fault fault)
{
    if (in.err->n_faults == 0)
        http_optics_blame(in, fault);
    return in.err->n_faults == 0;
}

bool http_optics_has(struct json_in in, const char *name)
{
    const json_t *v = json_object_get(in.value, name);

    return v && !json_is_null(v);
}

struct json_in http_optics_object(
    struct json_in in, const char *name, const char *const names[])
{
    struct json_in at = json_in_get(in, name);

    if (json_is_object(in.value) && json_in_need(at))
        json_in_object(at, names);
    return at;
}

struct optics_power http_optics_power(struct json_in in)
{
    struct optics_power p = {0}, none = {0};
    size_t before = in.err->n_faults;

    p.sph = http_optics_arg(in, OPTICS_BAD_SPHERE);
    if (http_optics_has(in, "cylinder"))
        p.cyl = http_optics_arg(in, OPTICS_BAD_CYLINDER);
    if (http_optics_has(in, "axis")) {
        p.axis = http_optics_arg(in, OPTICS_BAD_AXIS);
        if (p.axis == 0)
            p.axis = 180;
    }
    if (in.err->n_faults > before)
        return none;
    if (optics_power_check(p) == OPTICS_OK)
        return p;
    add_fault(json_in_get(in, "axis"), optics_power_check(p));
    return none;
}

struct optics_power http_optics_lens(struct json_in at)
{
    static const char *const names[] = {"sphere", "cylinder", "axis", NULL};

    if (json_in_need(at))
        json_in_object(at, names);
    return http_optics_power(at);
}

enum optics_eye http_optics_eye(struct json_in in)
{
    static const char *const eyes[] = {"right", "left", NULL};

    return http_optics_word(in, "eye", eyes) == 0 ? OPTICS_RIGHT : OPTICS_LEFT;
}

struct optics_prism http_optics_prism(struct json_in in)
{
    return (struct optics_prism){
        http_optics_arg(in, OPTICS_BAD_BASE_IN),
        http_optics_arg(in, OPTICS_BAD_BASE_UP),
    };
}

int http_optics_word(
    struct json_in in, const char *name, const char *const words[])
{
    struct json_in at = json_in_get(in, name);
    int i = 0;

    if (json_in_need(at))
        json_in_choice(at, words, &i);
    return i;
}

double http_optics_one_of(
    struct json_in in, const enum optics_fault which[], int n, int *ret_i)
{
    TEXT_AUTO list = {0};
    int found = 0;

    *ret_i = 0;
    for (int i = 0; i < n; i++) {
        const char *name = optics_fault_arg(which[i]);

        text_printf(&list, "%s%s", i ? ", " : "", name);
        if (http_optics_has(in, name)) {
            *ret_i = i;
            found++;
        }
    }
    if (found == 1)
        return http_optics_arg(in, which[*ret_i]);
    err_fault(in.err, in.pointer, "must have one of %s", list.data);
    return 0;
}

void http_optics_put_angle(
    struct json_out *o, const char *key, double angle, bool there)
{
    if (there)
        json_out_exact(o, key, angle);
    else
        json_out_null(o, key);
}

void http_optics_put_cylinder(struct json_out *o, struct optics_power p)
{
    json_out_exact(o, "cylinder", p.cyl);
    http_optics_put_angle(o, "axis", p.axis, p.axis != 0);
}

void http_optics_put_power(struct json_out *o, struct optics_power p)
{
    json_out_exact(o, "sphere", p.sph);
    http_optics_put_cylinder(o, p);
}

void http_optics_put_vector(struct json_out *o, struct optics_vector v)
{
    json_out_exact(o, "m", v.m);
    json_out_exact(o, "j0", v.j0);
    json_out_exact(o, "j45", v.j45);
}

void http_optics_put_prism(struct json_out *o, struct optics_prism p)
{
    json_out_exact(o, "base_in", p.base_in);
    json_out_exact(o, "base_up", p.base_up);
}

void http_optics_put_side(
    struct json_out *o, const char *key, struct optics_prism p)
{
    json_out_object(o, key);
    http_optics_put_prism(o, p);
    json_out_object_end(o);
}

void http_optics_put_base(struct json_out *o, struct optics_base b)
{
    json_out_exact(o, "amount", b.amount);
    http_optics_put_angle(o, "angle", b.angle, b.amount != 0);
}
