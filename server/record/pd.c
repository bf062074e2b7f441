#include "record/pd.h"

#include <math.h>

#include "base/num.h"
#include "record/side.h"

static const double EYE_RANGE[] = {12, 48};
static const double BOTH_RANGE[] = {30, 90};

static void read_set(struct json_in in, struct record_pd_set *set)
{
    json_in_scaled(json_in_get(in, "right"), 2, EYE_RANGE, &set->right_mm100);
    json_in_scaled(json_in_get(in, "left"), 2, EYE_RANGE, &set->left_mm100);
    json_in_scaled(
        json_in_get(in, "binocular"), 2, BOTH_RANGE, &set->binocular_mm100);
}

bool record_pd_read(struct json_in in, struct record_pd *ret)
{
    static const char *const names[] = {
        "right", "left", "binocular", "near", NULL};
    struct json_in near_in = json_in_get(in, "near");
    size_t before = in.err->n_faults;

    *ret = (struct record_pd)RECORD_PD_NONE;
    json_in_object(in, names);
    read_set(in, &ret->far);
    if (json_is_number(near_in.value)) {
        json_in_scaled(near_in, 2, BOTH_RANGE, &ret->near.binocular_mm100);
    } else if (json_in_here(near_in)) {
        static const char *const near_names[] = {
            "right", "left", "binocular", NULL};

        json_in_object(near_in, near_names);
        read_set(near_in, &ret->near);
    }
    return in.err->n_faults == before;
}

static bool set_here(const struct record_pd_set *set)
{
    return set->right_mm100 != NUM_ABSENT || set->left_mm100 != NUM_ABSENT ||
           set->binocular_mm100 != NUM_ABSENT;
}

bool record_pd_here(const struct record_pd *pd)
{
    return set_here(&pd->far) || set_here(&pd->near);
}

static void write_mm(struct json_out *o, const char *key, int32_t mm100)
{
    if (mm100 != NUM_ABSENT)
        json_out_number(o, key, mm100 / 100.0, 2);
}

static void write_set(struct json_out *o, const struct record_pd_set *set)
{
    write_mm(o, "right", set->right_mm100);
    write_mm(o, "left", set->left_mm100);
    write_mm(o, "binocular", set->binocular_mm100);
}

void record_pd_write(
    struct json_out *o, const char *key, const struct record_pd *pd)
{
    if (!record_pd_here(pd))
        return;
    json_out_object(o, key);
    write_set(o, &pd->far);
    if (set_here(&pd->near)) {
        json_out_object(o, "near");
        write_set(o, &pd->near);
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

double record_pd_eye_mm(const struct record_pd_set *set, int side)
{
    int32_t own = side == RECORD_RIGHT ? set->right_mm100 : set->left_mm100;

    if (own != NUM_ABSENT)
        return own / 100.0;
    return set->binocular_mm100 == NUM_ABSENT ? NAN
                                              : set->binocular_mm100 / 200.0;
}
