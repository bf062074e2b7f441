#include "record/near_total.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "record/eye.h"

static json_t *member(json_t *in, const char *section, const char *eye)
{
    return json_object_get(json_object_get(in, section), eye);
}

/* The far sphere that a total of the section near is measured from. */
static bool far_sphere(json_t *merged, const char *eye, int32_t *ret_cd)
{
    static const char *const places[] = {"final", "subjective", "working"};

    for (size_t i = 0; i < ARRAY_LEN(places); i++) {
        json_t *sphere =
            json_object_get(member(merged, places[i], eye), "sphere");

        if (json_is_number(sphere)) {
            *ret_cd = (int32_t)num_round(json_number_value(sphere), 2);
            return true;
        }
    }
    return false;
}

static void settle_near(struct json_in in, json_t *merged, const char *eye)
{
    json_t *to = member(merged, "near", eye);
    struct json_in total = json_in_get(in, "near_total");
    int32_t sphere_cd, add_cd;

    json_object_del(to, "near_total");
    if (!far_sphere(merged, eye, &sphere_cd)) {
        err_fault(total.err, total.pointer,
            "needs a distance power of the eye to make an add");
        return;
    }
    if (!record_add_from_total(
            total, json_in_get(in, "add"), sphere_cd, &add_cd))
        return;
    json_object_set_new(to, "add", json_real(add_cd / 100.0));
    json_object_set_new(to, "add_from", json_string("near_total"));
}

static void settle_eye(
    struct json_in patch, json_t *merged, const char *section, const char *eye)
{
    struct json_in in = json_in_get(json_in_get(patch, section), eye);
    json_t *to = member(merged, section, eye);
    bool total = json_in_here(json_in_get(in, "near_total"));
    bool add = json_object_get(in.value, "add") != NULL;

    if (!json_is_object(in.value) || !json_is_object(to))
        return;
    if (total && !add)
        json_object_del(to, "add"); /* what stood before */
    if (!total && add && !json_object_get(in.value, "add_from"))
        json_object_del(to, "add_from");
    if (total && strcmp(section, "near") == 0)
        settle_near(in, merged, eye);
}

void record_near_totals(struct json_in patch, json_t *merged)
{
    static const char *const sections[] = {"subjective", "final", "near"};

    for (size_t i = 0; i < ARRAY_LEN(sections); i++) {
        settle_eye(patch, merged, sections[i], "right");
        settle_eye(patch, merged, sections[i], "left");
    }
}
